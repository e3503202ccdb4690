"""The integral of a current that was sampled, and what is not known of it between the samples and beneath the last digit.

Rule 1: a part is counted from a reading without current to a reading without current, by the stamps of one instrument: stamps
        that are all late by the same, and means over a window, move both ends alike and leave the integral as it is.
Rule 2: between two readings the current may have changed at any time: their difference × interval / √12 (JCGM 100:2008,
        4.3.7), independent from interval to interval. The two ends of a part are such changes, the largest.
Rule 3: what a display hides beneath its last digit is one error for all the time that it shows the same digits. Readings
        that vary by more than a digit from one to the next average to between the digits, and hide little.
Rule 4: where nothing was read for longer than usual, the current flowed on or it did not: half of it is counted.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from runner.measure.recording import Array, Series

LONGEST_LINE = 15.0  # s between two readings that a line may span where only the order of a charge matters
USUAL, OF_THEM, LEAST_GAP = 1.5, 0.9, 5.0  # times what nine of ten intervals are at most, and s: a longer one is a gap
FLOWS, NOTHING = 0.1, 0.02  # of the level: less is no current, and none at all
TAIL = 10.0  # s after the first reading that shows the end, in which the rest of it may come
BLOCK = 50  # readings over which it is judged whether they vary enough to see between the digits
OFTEN = 0.6  # of the readings: when more differ from the one before, it is noise or ripple and not steps of the current
DITHER = 0.5  # of the resolution, one sigma: readings that vary less hide what they hide (common practice, no source)
# what a current that swings by σ/resolution = s still hides, of 1/√12: 0.21/√s. The mean of rounded a·sin(φ) + x is off by at most
# |J0(2πa)|/π of a digit (first term of the Fourier series of rounding), J0 at most √(2/(π·2πa)), and σ is a/√2
SWINGS = 0.21
LEVELS = 4  # digits shown whose errors are told apart; the errors of the others together are normal
AROUND = 3.0  # times a gap: from so far around it is taken how unsteady the current was
ROOT12 = 12.0**0.5
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Flow:
    """One part: readings ``current`` in A at ``t`` in s; ``weight`` in s makes the charge, ``weight @ current``.

    ``blank`` are the seconds of each interval in which nothing was seen, between two readings with current.
    ``limit`` is the longest interval that is no gap, ``beyond`` how long it may have gone on unseen after the last reading, in s.
    """

    t: Array
    current: Array
    weight: Array
    blank: Array
    limit: float
    beyond: float = 0.0

    @property
    def steps(self) -> Array:
        """The intervals, in s."""
        return np.diff(self.t)

    @cached_property
    def charge(self) -> float:
        """A·s; half of what is in the blanks."""
        return float(self.weight @ self.current)

    def missing(self, y: Array) -> float:
        """What there would have been of ``y`` in the blanks, had it gone on there."""
        return float((self.blank * (y[:-1] + y[1:]) / 2).sum())

    @property
    def gaps(self) -> int:
        """How many intervals have blanks."""
        return int(np.count_nonzero(self.blank))

    @property
    def long_gaps(self) -> int:
        """How many intervals are gaps, seen through or not."""
        return int(np.count_nonzero(self.steps > self.limit))

    @property
    def unseen_ends(self) -> float:
        """A·s that may or may not have flowed in a gap at the beginning or the end."""
        ends = (self.steps > self.limit) & (self._flowing[:-1] != self._flowing[1:])
        return float((self.steps * np.maximum(self.current[:-1], self.current[1:]))[ends].sum())

    @cached_property
    def _flowing(self) -> Bools:
        return flowing(self.current)

    @cached_property
    def inside(self) -> npt.NDArray[np.intp]:
        """The indices of the readings with current."""
        return np.flatnonzero(self._flowing)

    @property
    def span(self) -> tuple[float, float]:
        """The times of the first and the last reading with current."""
        return float(self.t[self.inside[0]]), float(self.t[self.inside[-1]])

    def wander(self, y: Array) -> float:
        """How wrong the line over its gaps may be, as a standard uncertainty: as unsteady as it was around them, all the time."""
        found = 0.0
        for index in np.flatnonzero(self.steps > self.limit):
            begin, end = self.t[index], self.t[index + 1]
            near = (self.t >= begin - AROUND * (end - begin)) & (self.t <= end + AROUND * (end - begin))
            part = y[near & self._flowing]
            if len(part) > 2 and self._flowing[index] and self._flowing[index + 1]:
                found += (float(np.std(part)) * (end - begin)) ** 2
        return float(found**0.5)


def integrate(series: Series, begin: float, end: float, rest: float = 0.0) -> float:
    """∫ from ``begin`` to ``end`` (s) without its uncertainty: trapezoids, the first and last reading held, long gaps left out.

    Readings of at most ``rest`` count as nothing.
    """
    part = series.between(begin, end)
    if len(part) == 0:
        return 0.0
    t = np.concatenate([[begin], part.t, [end]])
    y = np.concatenate([part.value[:1], part.value, part.value[-1:]])
    y = np.where(np.abs(y) > rest, y, 0.0)
    steps = np.diff(t)
    return float(((y[:-1] + y[1:]) / 2 * steps)[steps <= LONGEST_LINE].sum())


def flowing(current: Array) -> Bools:
    """Which readings have a current: a tenth of what they mostly show, or more."""
    level = float(np.median(current[current > FLOWS * current.max()])) if len(current) else 0.0
    return current >= max(FLOWS * level, 1e-12)


def count(
    series: Series,
    begin: float,
    end: float,
    *,
    opens: bool,
    beyond: float = 0.0,
    rest: float = 0.0,
    seen: Array | None = None,
) -> Flow | None:
    """The part from ``begin``, when nothing flowed, to ``end`` in s; None if no current was read.

    ``opens``: nothing flows from about ``end`` on; else it may have flowed for ``beyond`` s more. ``rest``: A that are shown
    with nothing flowing, at most. ``seen``: times at which something else showed that the current flowed.
    """
    part = series.between(begin, end + TAIL if opens else end)
    if len(part) == 0 or part.value.max() <= max(rest, 0.0):
        return None
    t, y = part.t, part.value
    if opens:
        last = _end(part, end, rest)
        t, y = t[: last + 1], y[: last + 1]
    elif t[-1] < end - 1e-6:
        t, y = np.append(t, end), np.append(y, y[-1])
    if t[0] > begin + 1e-6:
        t, y = np.insert(t, 0, begin), np.insert(y, 0, 0.0)
    if len(t) < 2:
        return None
    steps, flows = np.diff(t), flowing(y)
    limit = max(USUAL * float(np.quantile(steps, OF_THEM)), LEAST_GAP)
    blank = np.zeros(len(steps))
    for index in np.flatnonzero((steps > limit) & flows[:-1] & flows[1:]):
        blank[index] = _unseen(t[index], t[index + 1], limit, np.empty(0) if seen is None else seen)
    counted = (steps - blank / 2) / 2
    weight = np.concatenate([[0.0], counted]) + np.concatenate([counted, [0.0]])
    return Flow(t, y, weight, blank, limit, beyond)


def _end(part: Series, end: float, rest: float) -> int:
    """The index of the first reading without current after the end was seen."""
    level = float(np.median(part.value[part.value > FLOWS * part.value.max()]))
    begin = min(int(np.searchsorted(part.t, end - 1e-6)), len(part) - 1)
    for least in (max(NOTHING * level, rest), FLOWS * level):
        found = np.flatnonzero(part.value[begin:] <= least)
        if len(found):
            return begin + int(found[0])
    return len(part) - 1


def _unseen(begin: float, end: float, limit: float, seen: Array) -> float:
    """The seconds of a gap in which nothing was seen for longer than ``limit``."""
    parts = np.diff(np.concatenate([[begin], seen[(seen > begin) & (seen < end)], [end]]))
    return float(parts[parts > limit].sum())


def changes(t: Array, y: Array) -> Array:
    """Standard uncertainty of ∫ y dt in each interval, from the readings at its two ends (rule 2)."""
    return np.asarray(np.abs(np.diff(y)) * np.diff(t) / ROOT12)


def largest_first(parts: Sequence[float] | Array, number: int) -> tuple[list[float], float]:
    """The largest parts, and the root of the sum of squares of all others."""
    ordered = np.sort(np.asarray(parts, float))[::-1]
    return ordered[:number].tolist(), float((ordered[number:] ** 2).sum() ** 0.5)


def noise(y: Array) -> float:
    """The standard deviation of readings about the line between their neighbours, few jumps left out."""
    return 1.4826 * float(np.median(np.abs(_bends(y)))) / 1.5**0.5 if len(y) > 2 else 0.0


def hidden(value: Array, weight: Array, resolution: float) -> Iterator[float]:
    """Standard uncertainty of the weighted sum of readings from the digits they hide, for each level shown (rule 3)."""
    if resolution <= 0 or len(value) == 0:
        return
    level, share = value, np.ones(len(value))
    if len(value) > 2:
        block = np.minimum(np.arange(len(value)) // BLOCK, (len(value) - 1) // BLOCK)
        number = np.bincount(block)
        changed = np.bincount(block[1:], np.diff(value) != 0) / number
        squares = np.bincount(block[1:-1], np.minimum(np.abs(_bends(value)), 3.0 * resolution) ** 2, len(number))
        spread = (squares / 1.5 / number) ** 0.5 / resolution
        moves = (changed >= OFTEN) & (spread >= DITHER)
        share = np.where(moves, SWINGS / np.maximum(spread, DITHER) ** 0.5, 1.0)[block]
        level = np.where(moves[block], (np.bincount(block, value) / number)[block], value)
    _, which = np.unique(np.round(level / resolution).astype(np.int64), return_inverse=True)
    yield from (np.bincount(which, np.abs(weight) * share) * resolution / ROOT12).tolist()


def _bends(y: Array) -> Array:
    return np.asarray(y[1:-1] - (y[:-2] + y[2:]) / 2)
