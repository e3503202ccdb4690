"""The run as a machine that is told what happened and says what to do next.

in: events · out: orders · never: waits, reads a clock, draws, speaks to an instrument
"""
