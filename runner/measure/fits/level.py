"""Which readings of a voltage stand on its level beside a fall or a rise, and between which the change began.

A meter that averages, a path that opens or closes slowly, and a stamp that comes late all put readings between the two
levels. One of them would draw a fit by volts. So a parabola goes through readings that are clear of the change, and the next
one belongs to the level for as long as it is where the parabola leads, by what such readings scatter; the first that is not
ends it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from runner.measure.fits.ramp import fit_bend
from runner.measure.recording import Series

CLEAR_BEFORE = 1.5  # s before a fall: stamps come late by tenths of a second (common practice, no source)
CLEAR_AFTER = 3.5  # s after a rise began to be seen: 2 s of a soft one, 1 s of a window, and half a second of a stamp
WINDOW = 15.0  # s of readings by which the level is known
MOST_SCATTER = 6.0  # standard deviations
LEAST_STEP = 0.0005  # of the level: less is no change
FEWEST = 6  # readings that are clear; with fewer all are taken for the level
LEAST_CHANGE = 0.02  # of the step: less has not begun
SEEN_BEFORE, SEEN_AFTER = 1.5, 4.0  # s about a change by one meter in which another has to show it
BASE = (10.0, 3.0)  # s before it is through: the readings that are the level before


def before_fall(series: Series, begin: float, end: float) -> Series:
    """The readings from ``begin`` to ``end`` (s) that stand on the level which a fall near ``end`` ends."""
    part = series.between(begin, end)
    return part.first(_standing(part.t - end, part.value, CLEAR_BEFORE))


def after_rise(series: Series, rise: Change, end: float) -> Series:
    """The readings from a rise to ``end`` (s) that stand on the level to which it led."""
    part = series.between(rise.first, end)
    back = Series(part.t[::-1], part.value[::-1])
    standing = _standing(rise.first - back.t, back.value, CLEAR_AFTER)
    return series.between(float(back.t[standing - 1]), end) if standing else part


def _standing(x: np.ndarray, values: np.ndarray, clear: float) -> int:
    """How many of the readings, the last of which is next to the change at x = 0, stand on the level; ``x`` rises to 0."""
    sure = int(np.searchsorted(x, -clear, "right"))
    if sure < FEWEST:
        return len(x)
    near = Series(x, values)
    for index in range(sure, len(x)):
        bend = fit_bend(near, 0.0, float(x[index]) - WINDOW, float(x[index - 1]), 0.0)
        if bend is None:
            return len(x)
        expected, deviation, _ = bend.at(float(x[index]))
        most = max(MOST_SCATTER * float(np.hypot(bend.scatter, deviation)), LEAST_STEP * abs(expected))
        if abs(values[index] - expected) > most:
            return index
    return len(x)


@dataclass(frozen=True)
class Change:
    """Times in s: of the ``last`` reading before a change that shows nothing of it, and of the ``first`` that does."""

    last: float
    first: float

    @property
    def gap(self) -> float:
        """s between the two."""
        return self.first - self.last

    @property
    def middle(self) -> float:
        """The time half way between, in s."""
        return (self.first + self.last) / 2


def find_change(series: Series, at: float) -> Change | None:
    """Where a voltage began to change that is past the middle in the reading at ``at`` (s); None if there is no change."""
    before, after = series.between(at - BASE[0], at - 1e-6), series.between(at, at + 2 * CLEAR_AFTER)
    if not len(before) or not len(after):
        return None
    calm = before.value[before.t <= at - BASE[1]]
    calm = calm if len(calm) else before.value[:1]
    settled = after.value[after.t >= at + CLEAR_AFTER]
    base, level = float(np.median(calm)), float(np.median(settled if len(settled) else after.value[-1:]))
    noise = 1.4826 * float(np.median(np.abs(calm - base)))
    least = max(LEAST_CHANGE * abs(level - base), MOST_SCATTER * noise)
    without = np.flatnonzero(np.abs(before.value - base) <= least)
    if abs(level - base) <= 2 * least or not len(without):
        return None
    here = int(without[-1])
    return Change(float(before.t[here]), float(before.t[here + 1]) if here + 1 < len(before) else float(after.t[0]))


def opened(current: Change, voltages: Sequence[Series]) -> Change:
    """Between which readings a path began to open: by the current, and by the voltages that fell to less than half with it."""
    falls = [
        _through(part, series, part.value < 0.5 * part.value[0])
        for series in voltages
        if len(part := series.between(current.last - SEEN_BEFORE, current.first + SEEN_AFTER))
    ]
    return _soonest([current, *falls])


def came_back(terminals: Series, other: Series, at: float) -> Change:
    """Between which readings terminals came back that were seen to be back at ``at`` (s), by another voltmeter on them as well."""
    before = terminals.t[terminals.t < at - 1e-6]
    seen = find_change(terminals, at) or Change(float(before[-1]) if len(before) else at, at)
    part = other.between(at - SEEN_BEFORE, at + SEEN_AFTER)
    return _soonest([seen, _through(part, other, part.value > 0.5 * part.value.max(initial=0.0))])


def _through(part: Series, series: Series, past: np.ndarray) -> Change | None:
    """The change of a series that is past its middle where it says so of a part of it."""
    return find_change(series, float(part.t[past][0])) if past.any() else None


def _soonest(changes: Sequence[Change | None]) -> Change:
    """What several meters say of one change.

    A reading may be old, or stamped late, but is never of what is yet to come: the one that shows the change first counts.
    That another one does not show it yet says nothing.
    """
    return min((each for each in changes if each is not None), key=lambda each: each.first)
