"""A current that flows again after it had stopped: a return, one of the pack's own tries, or a limited one before the return.

Rule 1: a return stays. What goes away again within some seconds was a try of the pack's own.
Rule 2: pauses shorter than APART belong to one rise: contacts bounce.
Rule 3: what comes and goes and does neither has returned, in pieces, if it flows most of the time; else these are tries.
Rule 4: the instant is that of the first sample of the rise, also where the pack at first lets through only a little.
"""

from __future__ import annotations

from runner.events import Sampled

CONFIRM = 3  # samples in a row
APART = 1.2  # s without current between two rises: a shorter pause is a bounce
STAYS = 3.5  # s: longer than a pack's own try, with a meter that shows the mean of a second
LIMITED_FOR = 7.0  # s of little current: longer than a pre-charge
IN_PIECES = 14.0  # s of a current that comes and goes and neither stays nor ends: by then it is one or the other
BACK_RATIO = 0.5  # of the level before: more than this is the whole current
FEWEST_LIMITED, LIMITED_SEEN = 3, 0.4  # samples and s of a little current that are worth telling


class Rise:
    """``level`` is the current before the stop, in A; more than ``something`` is a current."""

    def __init__(self, level: float, something: float) -> None:
        self._level, self._something = level, something
        self._samples: list[tuple[float, float]] = []

    def add(self, sample: Sampled, current: float) -> None:
        """A sample since the first with a current."""
        self._samples.append((sample.t, current))

    @property
    def first(self) -> float:
        """When the first sample had a current, in s."""
        return self._samples[0][0]

    @property
    def seen(self) -> int:
        """How many samples had one."""
        return sum(current > self._something for _, current in self._samples)

    @property
    def over(self) -> bool:
        """Whether it has gone away again."""
        last = max(t for t, current in self._samples if current > self._something)
        without = [t for t, _ in self._samples if t > last]
        gone = len(without) >= 2 and without[-1] - without[0] >= APART - 1e-9
        return gone or (self._in_pieces and 2 * self.seen <= len(self._samples))

    @property
    def whole(self) -> bool:
        """Whether the whole current flows, and stays."""
        return self._stays(BACK_RATIO * self._level, STAYS)

    @property
    def whole_so_far(self) -> bool:
        """Whether the whole current flows now, however long it may stay."""
        return self._stays(BACK_RATIO * self._level, 0.0)

    @property
    def limited(self) -> bool:
        """Whether a little current stays for longer than before a return, or a current has come in pieces for so long."""
        return self._in_pieces or self._stays(self._something, LIMITED_FOR)

    @property
    def begins_limited(self) -> bool:
        """Whether so far only a little flows, for long enough to be told."""
        some = [t for t, current in self._samples if current > self._something]
        little = all(current <= BACK_RATIO * self._level for _, current in self._samples)
        return little and len(some) >= FEWEST_LIMITED and some[-1] - some[0] >= LIMITED_SEEN

    @property
    def _in_pieces(self) -> bool:
        """Whether it flows now, after it has come and gone for long."""
        last, current = self._samples[-1]
        return current > self._something and last - self.first >= IN_PIECES

    def _stays(self, above: float, seconds: float) -> bool:
        """Whether the last CONFIRM samples are above, and the rise is so old; pauses meanwhile are bounces."""
        recent = [current for _, current in self._samples[-CONFIRM:]]
        old = self._samples[-1][0] - self.first
        return len(recent) == CONFIRM and min(recent) > above and old >= seconds
