"""The current while it flows: its level, its noise, and how fast it goes down.

Rule: a sample that has left its level is never put in here, so that a fall is no part of the level before it.
"""

from __future__ import annotations

import itertools
import math
from collections import deque
from statistics import median

LEVEL_SAMPLES = 15  # how many samples make the level before a fall
NEAREST = 1.0  # s before a sample that say nothing of the level it may have left: a slow fall has begun in them
WINDOW = 3.0  # s before those, which do
NOISE_SAMPLES = 40
RATE_WINDOW = 12.0  # s over which a decline is taken
LEAST_DECLINE = 0.85  # of the current at the beginning of that: pulses of a pack that balances are smaller
FEWEST = 3  # samples; at slow polling from further back
UNKNOWN, UNKNOWN_RATIO = (
    0.05,
    0.05,
)  # A, and of the set current: what no bench file says that a reading can tell from none
LEAST_RATIO = 0.01  # of the set current: less than this is none beside it


def told_from_none(declared: float, set_current: float) -> float:
    """The least current, in A, that a reading can tell from none; ``declared`` is what the bench file says, 0 for nothing."""
    return max(declared or min(UNKNOWN, UNKNOWN_RATIO * set_current), LEAST_RATIO * set_current)


class Levels:
    """Times in s and currents in A, oldest first."""

    def __init__(self) -> None:
        self._all: deque[tuple[float, float]] = deque(maxlen=400)

    def __bool__(self) -> bool:
        return bool(self._all)

    def clear(self, *kept: tuple[float, float]) -> None:
        """Forget everything but these."""
        self._all.clear()
        self._all.extend(kept)

    def add(self, t: float, current: float) -> None:
        """A current that flowed."""
        self._all.append((t, current))

    def now(self) -> float:
        """The level of the last samples, in A: their median."""
        return median(self._last(LEVEL_SAMPLES))

    def before(self, t: float) -> float:
        """The level that a sample at ``t`` is compared with, in A: the median over some seconds, not the very last of them."""
        near = [current for at, current in self._since(t - NEAREST - WINDOW) if at <= t - NEAREST]
        return median(near if len(near) >= 2 else self._last(FEWEST))

    def noise(self) -> float:
        """The standard deviation of the readings, in A, from the distances of neighbours; 0 while too few."""
        values = self._last(NOISE_SAMPLES)
        if len(values) < FEWEST:
            return 0.0
        return 1.4826 * median(abs(b - a) for a, b in itertools.pairwise(values)) / math.sqrt(2)

    def _last(self, count: int) -> list[float]:
        """The last currents, the newest first."""
        return [current for _, current in itertools.islice(reversed(self._all), count)]

    def _since(self, begin: float) -> list[tuple[float, float]]:
        """The samples from a time on."""
        return list(itertools.takewhile(lambda sample: sample[0] >= begin, reversed(self._all)))[::-1]

    def decline(self, least: float) -> float | None:
        """By which share the current goes down, per second; None where that is not sure, or less than ``least``, in A."""
        end = self._all[-1][0]
        recent = [(t, current) for t, current in self._since(end - RATE_WINDOW) if current > 0]
        third = len(recent) // 3
        if third < 2 or recent[-1][0] - recent[0][0] < RATE_WINDOW / 2:
            return None
        first, last = recent[:third], recent[-third:]
        before, now = median(current for _, current in first), median(current for _, current in last)
        if now > LEAST_DECLINE * before or before - now < least:
            return None
        return math.log(before / now) / (median(t for t, _ in last) - median(t for t, _ in first))
