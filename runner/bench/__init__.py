"""The instruments, through PyVISA.

in: settings and questions · out: readings, read-backs, faults · never: guesses a reading
"""
