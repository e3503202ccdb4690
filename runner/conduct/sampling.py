"""Who is polled when: the current of the path that is watched fast, the slow channels in between.

Rule: what is behind is skipped, never made up for; two readings of one instant are worth no more than one.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from runner.bench.assembly import Readings
from runner.conduct.interfaces import BenchPort, Clock
from runner.events import CHARGE, DISCHARGE, Sampled
from runner.orders import Pace


class Sampler:
    """Polls the bench at the pace it was given. Times are the run's own, in s since ``start``."""

    def __init__(self, bench: BenchPort, clock: Clock, start: float) -> None:
        self._bench, self._clock, self._start = bench, clock, start
        self._fast = self._slow = 1.0
        self._path = CHARGE
        self._next_fast = self._next_slow = clock.now() - start

    def pace(self, order: Pace) -> None:
        """Poll at these intervals from now on."""
        now = self._clock.now() - self._start
        self._fast, self._slow = order.interval, order.slow
        self._path = DISCHARGE if order.path == DISCHARGE else CHARGE
        self._next_fast, self._next_slow = (
            min(self._next_fast, now + self._fast),
            min(self._next_slow, now + self._slow),
        )

    def due(self) -> float:
        """Seconds until something has to be polled; 0 or less: now."""
        return min(self._next_fast, self._next_slow) - (self._clock.now() - self._start)

    def take(self) -> list[Sampled]:
        """What is due, each stamped with the middle of its own poll."""
        found: list[Sampled] = []
        now = self._clock.now() - self._start
        if now >= self._next_fast - 1e-9:
            found.append(self._poll(partial(self._bench.poll_path, self._path)))
            self._next_fast = _after(self._next_fast, self._fast, now)
        if now >= self._next_slow - 1e-9:
            found.append(self._poll(self._bench.poll_slow))
            self._next_slow = _after(self._next_slow, self._slow, now)
        return found

    def _poll(self, poll: Callable[[Readings], None]) -> Sampled:
        readings = Readings()
        began = self._clock.now() - self._start
        poll(readings)
        ended = self._clock.now() - self._start
        return Sampled((began + ended) / 2, readings.values, readings.lost, readings.mode, readings.output)


def _after(last: float, interval: float, now: float) -> float:
    return last + interval if last + interval > now else now + interval
