"""Marks that a person sets at each whole degree, looked at before a line is put through them: is the count what they think it is?

Rule 1: a degree that is marked again, or passed backwards, was wrong before: what a later mark contradicts does not count.
Rule 2: a mark much sooner than the others were is a key pressed twice, one much later a degree that was missed. From there on every
        mark may be a whole degree wrong, and nothing in them says which: such a ramp is not used, and it is said.
"""

from __future__ import annotations

import numpy as np

from runner.measure.recording import Series

SOONER, LATER = 0.4, 1.75  # of the usual time for a degree: a missed one takes two (common practice, no source)
ENOUGH = 3  # times between marks whose median is the usual one; with fewer it is that of the rate that was asked for


def counted(marks: Series, rate: float) -> tuple[Series, str]:
    """(the marks that hold, what is doubtful about their count or nothing).

    ``marks`` are those of one ramp (s, °C), ``rate`` in K/s with its sign is what was asked for.
    """
    keep = []
    beyond = np.inf
    for index in range(len(marks) - 1, -1, -1):
        along = float(marks.value[index]) * (1.0 if rate > 0 else -1.0)
        if along < beyond:
            keep.append(index)
            beyond = along
    held = Series(marks.t[keep[::-1]], marks.value[keep[::-1]])
    if len(held) < 2:
        return held, ""
    degrees = np.abs(np.diff(held.value))
    each = np.diff(held.t) / degrees
    usual = float(np.median(each)) if len(each) >= ENOUGH else 1.0 / abs(rate)
    for index in map(int, np.flatnonzero((each < SOONER * usual) | (each > LATER * usual))):
        first, second = held.value[index : index + 2]
        apart = f"marks at {first:.4g} °C and {second:.4g} °C are {each[index]:.0f} s a degree apart, usual here {usual:.0f} s"
        what = "a degree may have been missed" if each[index] > usual else "a degree may have been marked twice"
        return held, f"{apart}: {what}"
    return held, ""
