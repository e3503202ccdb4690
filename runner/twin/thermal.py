"""Heat: the wrapped spot that is warmed or cooled, the pack's sensor in it, and the reference probe beside it."""

from __future__ import annotations

import math


class Spot:
    """One sensor in its wrap. Temperatures in °C; the sensor follows the spot with a first-order lag."""

    def __init__(self, ambient: float, lag: float, loss_time: float) -> None:
        self.spot = self.sensor = ambient
        self._ambient, self._lag, self._loss_time = ambient, lag, loss_time

    def pass_time(self, drive: float, dt: float) -> None:
        """``drive`` is what the hands do, in K/s; heat is lost to the room all the while."""
        before = self.spot
        if not drive and before == self.sensor == self._ambient:
            return
        self.spot += (drive - (self.spot - self._ambient) / self._loss_time) * dt
        self.sensor = follow(self.sensor, before, self.spot, self._lag, dt)


def follow(value: float, before: float, after: float, lag: float, dt: float) -> float:
    """A first-order lag behind an input that moves in a straight line from ``before`` to ``after`` within dt: exact."""
    slope = (after - before) / dt
    return after - slope * lag + (value - before + slope * lag) * math.exp(-dt / lag)
