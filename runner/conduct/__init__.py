"""Where the pure rooms meet the world: the one place that waits, times out and survives exceptions.

in: a program, a bench, an operator, a clock, a run folder · out: an outcome · never: decides
"""
