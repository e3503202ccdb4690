"""A little current that is left at once when a path opens. It is a trip if it stays, or when it stops as well."""

from __future__ import annotations

from runner.engine.watch.fall import CONFIRM, QUIET

KEEP_RATIO = 0.15  # of the level: more that is left is a pack that lets less through
KEEP_MOST = 0.5  # A: what packs keep for themselves or pre-charge with (common practice, no source)
KEEP_WAIT = 20.0  # s after which what is left is taken to stay
NONE_RATIO = 0.3  # of what was left: less than that is none of it


class KeptAlive:
    """``left`` is the current in A, ``smallest`` what can be told from none; it fell at ``first``, in s."""

    def __init__(self, left: float, smallest: float, first: float) -> None:
        self.left, self.first = left, first
        self._none = max(NONE_RATIO * left, smallest)
        self._told = left > 2 * smallest  # from none, on every reading
        self._without: list[float] = []  # when it was not there, in s

    @staticmethod
    def so(level: float, left: float) -> bool:
        """Whether so much of a level is what a pack keeps alive, in A."""
        return left <= min(KEEP_RATIO * level, KEEP_MOST)

    def trip(self, t: float, current: float) -> float | None:
        """When the path has opened, as soon as that is sure: in s; ``left`` is 0 if nothing is left now."""
        self._without = [*self._without, t] if current < self._none else []
        if len(self._without) >= CONFIRM and t - self._without[0] >= QUIET:
            self.left = 0.0
            return self._without[0] if self._told else self.first
        return self.first if t - self.first >= KEEP_WAIT else None
