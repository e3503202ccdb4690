"""Sessions with instruments: one for each address, whoever uses it, and those that only listen.

in: bytes of a transport · out: whole messages, the newest line · never: two who speak at once
"""
