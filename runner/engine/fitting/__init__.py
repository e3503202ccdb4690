"""In: the three files and the steps of a program. Out: what fits, and how long it takes. Never: switches anything."""
