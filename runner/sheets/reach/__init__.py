"""How an instrument is reached and spoken to, as files say it.

in: blocks of bench and dialect files · out: frozen objects · never: opens anything
"""
