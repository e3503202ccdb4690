"""How a pack's charge path opens and closes: not every one is a switch. Ranges are common practice, no source.

``limit`` is the largest charge current that gets through, in A; infinite while nothing limits it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

KEEPS, PRE_CHARGES = 0.06, 0.10  # A left when open; of the set current before it is closed
DERATES = (
    (1.5, 0.25),
    (3.0, 0.5),
)  # K before the trip, and the share of the set current that is let through from there on
SLOPES_TO = 0.25  # of the set current, at the trip


@dataclass(frozen=True)
class PathTruth:
    """What kind of path it is. Times in s, currents in A; 0 stands for none."""

    soft_off: float = 0.0  # how long a turn-off takes
    keeps: float = 0.0  # what is left when it is open
    derates: bool = False  # lets less and less through before a temperature trips
    slope: float = 0.0  # and so evenly, over so many K, down to SLOPES_TO
    retries: tuple[float, float] = (0.0, 0.0)  # every so often, for so long, while it is open
    pre_charge: float = 0.0  # how long a little flows before it closes


class ChargePath:
    """Follows the management system; asked before each step of the simulated time."""

    def __init__(self, truth: PathTruth) -> None:
        self.truth = truth
        self._open = False
        self._changed = -math.inf

    def limit(self, t: float, full: float, kelvins: float, *, is_open: bool) -> float:
        """A at time ``t`` where ``full`` is the set current, ``kelvins`` how far the nearest sensor is from its trip."""
        if is_open != self._open:
            self._open, self._changed = is_open, t
        since = t - self._changed
        if is_open:
            return self._while_open(since, full)
        if since < self.truth.pre_charge:
            return PRE_CHARGES * full
        if self.truth.slope:
            share = SLOPES_TO + (1 - SLOPES_TO) * kelvins / self.truth.slope
            return share * full if share < 1 else math.inf
        if self.truth.derates:
            return next((share * full for within, share in DERATES if kelvins < within), math.inf)
        return math.inf

    def _while_open(self, since: float, full: float) -> float:
        every, lasts = self.truth.retries
        if every and since >= every and since % every < lasts:
            return full
        if since < self.truth.soft_off:
            return max(full * (1 - since / self.truth.soft_off), self.truth.keeps)
        return self.truth.keeps
