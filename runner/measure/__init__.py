"""From samples and events to findings with uncertainty.

in: samples and events as arrays · out: findings · never: reads a file or today's date
"""
