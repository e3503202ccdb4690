"""The ways to an instrument: how each kind of interface is opened, written to and read.

in: an address and how its line is set · out: bytes · never: decides what a reply means
"""
