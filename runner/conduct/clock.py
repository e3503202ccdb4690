"""The three clocks: real, scaled (a rehearsal a person watches) and virtual (tests and unattended rehearsals)."""

from __future__ import annotations

import datetime
import time


def _iso(moment: datetime.datetime) -> str:
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


class ScaledClock:
    """Real time, run faster by a factor; factor 1 is real time."""

    def __init__(self, speed: float = 1.0) -> None:
        self.speed = speed
        self._began = time.monotonic()

    def now(self) -> float:
        return (time.monotonic() - self._began) * self.speed

    def sleep(self, seconds: float) -> None:
        if seconds > 0:
            time.sleep(seconds / self.speed)

    def utc(self) -> str:
        return _iso(datetime.datetime.now(datetime.UTC))


class VirtualClock:
    """Time that only passes when somebody sleeps. ``utc`` goes on from the moment of its making."""

    speed = float("inf")

    def __init__(self) -> None:
        self._now = 0.0
        self._began = datetime.datetime.now(datetime.UTC)

    def now(self) -> float:
        return self._now

    def sleep(self, seconds: float) -> None:
        self._now += max(0.0, seconds)

    def utc(self) -> str:
        return _iso(self._began + datetime.timedelta(seconds=self._now))
