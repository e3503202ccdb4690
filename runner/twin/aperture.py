"""What a meter shows that reports the mean of the time just past, as supplies do."""

from __future__ import annotations

from bisect import bisect_right

KEPT = 1.5  # s: longer than any aperture here


class Mean:
    """A value that changes with time; ``over`` gives its mean. Times in s, never backwards."""

    def __init__(self) -> None:
        self._times: list[float] = []
        self._sums: list[float] = []  # integral up to each of the times

    def add(self, t: float, value: float, dt: float) -> None:
        """It was ``value`` for the ``dt`` seconds up to ``t``."""
        if not self._times:
            self._times, self._sums = [t - dt], [0.0]
        self._times.append(t)
        self._sums.append(self._sums[-1] + value * dt)
        if len(self._times) > 200 and self._times[100] < t - KEPT:
            del self._times[:100], self._sums[:100]

    def over(self, seconds: float) -> float | None:
        """The mean of the last ``seconds``, or None if nothing is known of them."""
        if len(self._times) < 2 or seconds <= 0:
            return None
        begin = max(self._times[-1] - seconds, self._times[0])
        index = min(max(bisect_right(self._times, begin), 1), len(self._times) - 1)
        (t0, t1), (s0, s1) = self._times[index - 1 : index + 1], self._sums[index - 1 : index + 1]
        part = (begin - t0) / (t1 - t0) if t1 > t0 else 0.0
        return (self._sums[-1] - (s0 + part * (s1 - s0))) / (self._times[-1] - begin)
