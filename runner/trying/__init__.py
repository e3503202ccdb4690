"""Before a run: an instrument tried line by line, and a look for what is there.

in: a bench file and lines that are typed; a range of addresses · out: bytes, times, what was understood; addresses · never: leaves
anything on, broadcasts
"""
