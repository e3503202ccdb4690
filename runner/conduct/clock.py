"""The clocks: real or scaled (a bench whose time runs by itself), and virtual (a rehearsal in this process)."""

from __future__ import annotations

import datetime
import math
import threading
import time
from collections.abc import Callable, Mapping


def _clocks() -> tuple[int, int] | None:
    """A clock that goes on while the machine is suspended, and one that stands still then: Linux and macOS name them so."""
    for running_on, standing in (("CLOCK_BOOTTIME", "CLOCK_MONOTONIC"), ("CLOCK_MONOTONIC", "CLOCK_UPTIME_RAW")):
        if hasattr(time, running_on) and hasattr(time, standing):
            return getattr(time, running_on), getattr(time, standing)
    return None


_BOOT_AND_RUNNING = _clocks()


def _iso(moment: datetime.datetime) -> str:
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


class ScaledClock:
    """Real time, run faster by a factor; factor 1 is real time."""

    runs_by_itself = True

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

    def aside(self, job: Callable[[], None]) -> None:
        """Do something that takes time beside whoever asks, in a thread that keeps no program from ending."""
        threading.Thread(target=job, name="aside", daemon=True).start()

    def suspended(self) -> float:
        """The machine's boot clock against its monotonic one; 0 where it has no such pair."""
        pair = _BOOT_AND_RUNNING
        return time.clock_gettime(pair[0]) - time.clock_gettime(pair[1]) if pair else 0.0

    def together(self, jobs: Mapping[str, Callable[[], None]], seconds: float) -> None:
        """Do all jobs at once, each in a thread of its own; back when all are done or ``seconds`` of real time are over."""
        until = time.monotonic() + seconds
        threads = [threading.Thread(target=job, name=name, daemon=True) for name, job in jobs.items()]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(max(0.0, until - time.monotonic()))


class VirtualClock:
    """Time that only passes when somebody sleeps. ``utc`` goes on from the moment of its making.

    With a finite ``speed`` a sleep takes its share of real time, so a person can watch; what the computer itself takes
    is no part of the time either way, and the same seed gives the same run.
    """

    runs_by_itself = False

    def __init__(self, speed: float = math.inf) -> None:
        self.speed = speed
        self._now = 0.0
        self._began = datetime.datetime.now(datetime.UTC)

    def now(self) -> float:
        return self._now

    def sleep(self, seconds: float) -> None:
        if seconds <= 0:
            return
        if not math.isinf(self.speed):
            time.sleep(seconds / self.speed)
        self._now += seconds

    def aside(self, job: Callable[[], None]) -> None:
        """At once: what the computer itself takes is no part of this time."""
        job()

    def suspended(self) -> float:
        """This time stands still while nobody sleeps."""
        return 0.0

    def together(self, jobs: Mapping[str, Callable[[], None]], seconds: float) -> None:
        """One after the other: this time passes only while somebody sleeps, and two who sleep at once would make it twice."""
        for job in jobs.values():
            job()

    def utc(self) -> str:
        return _iso(self._began + datetime.timedelta(seconds=self._now))
