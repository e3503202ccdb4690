"""A current that has left its level: every sample since, and what became of it.

Rule 1: it has stopped when nothing flows for CONFIRM samples and QUIET seconds in a row; longer after pauses (a supply's hiccup,
        a pack that chops).
Rule 2: it has come to a lower level when it stands still for STILL seconds, well above nothing.
Rule 3: the instant is that of the first sample that had left the last level at which it stood still: a slow fall, a tail or the
        mean of a meter are one fall.
"""

from __future__ import annotations

from collections import deque
from statistics import median

from runner.events import Sampled

CONFIRM = 3  # samples in a row
QUIET = 0.45  # s without current: longer than the hiccup of a supply
QUIET_AFTER_PAUSES = 2.5  # s
STILL, STILL_SAMPLES = 1.5, 4  # s and samples of a level
STILL_RATIO = 0.05  # of the level before: within that a current stands still
NOISES = 6.0  # standard deviations of the readings that are no change
LEFT_RATIO = 0.12  # of the level: less than that below it, a current has not left it
OFF_RATIO = 0.01  # of the level before: less than this is no current
PAUSES, PAUSES_IN = 4, 20.0  # so many falls that come back within so many s are a pack that chops
AFTER_PAUSE = 5.0  # s for which one is remembered
TOLD, TOLD_NOISES = (
    2.0,
    3.0,
)  # times what is no current, and standard deviations: a rest that is less has no level to leave
UNSETTLED = 5.0  # s of a fall that neither ends nor comes to a level: longer than any soft turn-off


class Fall:
    """``level`` is the current before, in A, ``noise`` its standard deviation, ``smallest`` what can be told from none.

    ``residual`` is what flows through an open path, by the pack's sheet, in A.
    """

    def __init__(
        self, level: float, noise: float, smallest: float, *, after_pauses: bool, residual: float = 0.0
    ) -> None:
        self.level, self.noise = level, noise
        self.low = max(OFF_RATIO * level, smallest + residual)
        self._band = max(STILL_RATIO * level, NOISES * noise, smallest / 2)
        self._quiet = QUIET_AFTER_PAUSES if after_pauses else QUIET
        self._samples: list[tuple[Sampled, float]] = []

    @staticmethod
    def left(
        current: float, level: float, noise: float, smallest: float, pulses: float = 0.0, residual: float = 0.0
    ) -> bool:
        """Whether a current has left its level downwards; ``pulses``: so much comes and goes by itself, in A."""
        nothing = max(OFF_RATIO * level, smallest + residual)
        return current < max(level - max(LEFT_RATIO * level, NOISES * noise, smallest, pulses), nothing)

    def add(self, sample: Sampled, current: float) -> None:
        """A sample of the fall."""
        self._samples.append((sample, current))

    @property
    def first(self) -> float:
        """When the first sample had left the level, in s."""
        return self._samples[0][0].t

    @property
    def last(self) -> Sampled:
        return self._samples[-1][0]

    @property
    def count(self) -> int:
        return len(self._samples)

    @property
    def nothing_since(self) -> float | None:
        """Since when nothing has flowed without a break, in s; None while it flows."""
        since = None
        for sample, current in reversed(self._samples):
            if current >= self.low:
                break
            since = sample.t
        return since

    @property
    def stopped(self) -> bool:
        """Whether nothing has flowed for long enough."""
        since = self.nothing_since
        lows = sum(sample.t >= since for sample, _ in self._samples) if since is not None else 0
        return since is not None and lows >= CONFIRM and self.last.t - since >= self._quiet

    @property
    def nothing_so_far(self) -> bool:
        """Whether nothing flows now, for CONFIRM samples, however long it may last."""
        since = self.nothing_since
        return since is not None and sum(sample.t >= since for sample, _ in self._samples) >= CONFIRM

    @property
    def deep(self) -> bool:
        """Whether less than half has flowed at any time."""
        return any(current < self.level / 2 for _, current in self._samples)

    @property
    def rest(self) -> float:
        """What is left of the current, in A: the median of the last samples."""
        return median(current for _, current in self._samples[-CONFIRM:])

    @property
    def unsettled(self) -> list[tuple[float, float]]:
        """The last samples, (s, A), of a current that has left its level and does not come to rest; none before that is sure."""
        early = (
            self.last.t - self.first < UNSETTLED or self.count <= STILL_SAMPLES
        )  # at slow polling a level takes longer
        if early or self.nothing_since is not None:
            return []
        return [(sample.t, current) for sample, current in self._samples if sample.t >= self.last.t - UNSETTLED / 2]

    def settled(self) -> float | None:
        """The lower level to which the current has come, in A, or None."""
        recent = [current for sample, current in self._samples if sample.t >= self.last.t - STILL - 1e-9]
        if len(recent) < STILL_SAMPLES:
            recent = [current for _, current in self._samples[-STILL_SAMPLES:]]
        if len(recent) < STILL_SAMPLES or self.last.t - self.first < STILL:
            return None
        half = len(recent) // 2  # a slow slope is no level, however little it falls in a second
        moved = abs(median(recent[:half]) - median(recent[-half:]))
        if max(recent) - min(recent) > self._band or moved > self._band / 2 or min(recent) < self.low:
            return None
        return median(recent)

    def instant(self) -> float:
        """When the first sample had left the last level at which the current stood still, in s."""
        end = self.nothing_since
        flowing = [(sample.t, current) for sample, current in self._samples if end is None or sample.t < end]
        for index in range(len(flowing) - 1, 1, -1):
            near = [(t, current) for t, current in flowing[: index + 1] if t >= flowing[index][0] - 1.0]
            near = near if len(near) >= CONFIRM else flowing[max(index - CONFIRM + 1, 0) : index + 1]
            values = [current for _, current in near]
            stands = max(values) - min(values) <= self._band and near[-1][0] - near[0][0] >= 0.75
            if stands and values[-1] > max(TOLD * self.low, TOLD_NOISES * self.noise):
                return flowing[index + 1][0] if index + 1 < len(flowing) else (end or flowing[-1][0])
        return self.first


class Pauses:
    """Falls that came back, each by the instant of its first sample, in s."""

    def __init__(self) -> None:
        self._all: deque[float] = deque(maxlen=PAUSES)

    def add(self, first: float) -> None:
        """One more."""
        self._all.append(first)

    def recent(self, t: float, count: int = 1) -> bool:
        """Whether there have been so many of late."""
        return len(self._all) >= count and t - self._all[-count] < AFTER_PAUSE

    def chop(self, t: float) -> float | None:
        """Since when the current comes in pieces, in s, if it does."""
        chops = len(self._all) == PAUSES and t - self._all[0] < PAUSES_IN
        return self._all[0] if chops else None
