"""The simulated bench: a pack, its management system, instruments and a pair of hands, served as SCPI over TCP.

in: commands over TCP, and a clock · out: replies, and the truth · never: imports what it is there to test

It shares no code with the rest of the program on purpose: an error that both had would cancel itself. All parameters
are invented. Units inside are SI and °C; current is positive when it charges.
"""
