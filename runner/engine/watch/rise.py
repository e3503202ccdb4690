"""A current that flows again after it had stopped: a return, one of the pack's own tries, or a limited one before the return.

Rule 1: a return stays. What goes away again within some seconds was a try of the pack's own.
Rule 2: pauses shorter than APART belong to one rise: contacts bounce.
Rule 3: what comes and goes and does neither has returned, in pieces, if it flows most of the time; else these are tries.
Rule 4: the instant is that of the first sample of the rise, also where the pack at first lets through only a little.
"""

from __future__ import annotations

import itertools

from runner.events import Sampled

CONFIRM = 3  # samples in a row
APART = 1.2  # s without current between two rises: a shorter pause is a bounce
STAYS = 3.5  # s: longer than a pack's own try, with a meter that shows the mean of a second
LIMITED_FOR = 7.0  # s of little current: longer than a pre-charge
IN_PIECES = 14.0  # s of a current that comes and goes and neither stays nor ends: by then it is one or the other
BACK_RATIO = 0.5  # of the level before: more than this is the whole current
DUE, DUE_RATIO = 1.0, 0.05  # s, and of the interval, about which a try comes early or late
FEWEST_LIMITED, LIMITED_SEEN = 3, 0.4  # samples and s of a little current that are worth telling


class Rise:
    """``level`` is the current before the stop, in A; more than ``something`` is a current.

    ``longest_try`` is how long a try of the pack's own may last, in s, 0 where its sheet says nothing; ``due``: it began when one
    was due.
    """

    def __init__(self, level: float, something: float, longest_try: float = 0.0, *, due: bool = False) -> None:
        self._level, self._something = level, something
        self._longest_try, self._due = longest_try, due
        self._samples: list[tuple[float, float]] = []

    def add(self, sample: Sampled, current: float) -> None:
        """A sample since the first with a current."""
        self._samples.append((sample.t, current))

    @property
    def first(self) -> float:
        """When the first sample had a current, in s; after a try that was due and has ended, the first since."""
        began = self._samples[0][0]
        if not self._due:
            return began
        for (_, before), (t, current) in itertools.pairwise(self._samples):
            began = t if before <= self._something < current else began
        return began

    @property
    def out_of_a_try(self) -> bool:
        """Whether it began when a try was due, without a pause since: where the try ended and the return began cannot be told."""
        return self._due and self.first == self._samples[0][0]

    @property
    def last(self) -> float:
        """When the last sample with a current was, in s."""
        return max(t for t, current in self._samples if current > self._something)

    @property
    def seen(self) -> int:
        """How many samples had one."""
        return sum(current > self._something for _, current in self._samples)

    @property
    def over(self) -> bool:
        """Whether it has gone away again."""
        without = [t for t, _ in self._samples if t > self.last]
        gone = len(without) >= 2 and without[-1] - without[0] >= APART - 1e-9
        return gone or (self._in_pieces and 2 * self.seen <= len(self._samples))

    @property
    def whole(self) -> bool:
        """Whether the whole current flows, and stays."""
        return self._stays(BACK_RATIO * self._level, max(STAYS, self._longest_try))

    @property
    def whole_so_far(self) -> bool:
        """Whether the whole current flows now, however long it may stay."""
        return self._stays(BACK_RATIO * self._level, self._longest_try if self._due else 0.0)

    @property
    def limited(self) -> bool:
        """Whether a little current stays for longer than before a return, or a current has come in pieces for so long."""
        return self._in_pieces or self._stays(self._something, max(LIMITED_FOR, self._longest_try))

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
        return current > self._something and last - self._samples[0][0] >= max(IN_PIECES, self._longest_try)

    def _stays(self, above: float, seconds: float) -> bool:
        """Whether the last CONFIRM samples are above, and the rise is so old; pauses meanwhile are bounces."""
        recent = [current for _, current in self._samples[-CONFIRM:]]
        old = self._samples[-1][0] - self.first
        return len(recent) == CONFIRM and min(recent) > above and old >= seconds


class Tries:
    """The pack's own tries since its path opened. ``every`` is how often they come, in s, by its sheet; 0 if that says nothing."""

    def __init__(self, every: float) -> None:
        self._every, self._since = every, list[float]()
        self.count = 0

    def opened(self, t: float) -> None:
        """The path has opened."""
        self._since = [t]

    def ended(self, first: float, last: float) -> None:
        """A try has ended; packs count the time to the next from its beginning or from its end."""
        self.count += 1
        self._since = [*self._since[:1], first, last]

    def due(self, t: float) -> bool:
        """Whether a try is due at ``t``."""
        if not self._every:
            return False
        after = [(t - since) / self._every for since in self._since]
        return any(round(each) >= 1 and abs(each - round(each)) * self._every <= self._late for each in after)

    @property
    def _late(self) -> float:
        return DUE + DUE_RATIO * self._every
