"""A pair of hands with a heat gun and an ice pack: they look at the thermometer's display once a second and correct.

They are careful but not steady: the rate they hold wanders slowly about the one asked for.
"""

from __future__ import annotations

import math
import random

LOOK_EVERY = 1.0  # s
STRONGEST_HEAT, STRONGEST_COLD = 1.2, -1.0  # K/s
WANDER_TIME = 20.0  # s
CORRECTION = 0.05  # 1/s: how hard a deviation is corrected
FREELY = 8.0 / 60  # K/s


class Hands:
    """What they were told, and what they do about it. ``drive`` is heat (+) or cold (−) in K/s."""

    def __init__(self, ambient: float, loss_time: float, wobble: float, dice: random.Random) -> None:
        self.sensor = ""
        self.action = "still"
        self.rate = 0.0
        self.drive = 0.0
        self._ambient, self._loss_time, self._wobble, self._dice = ambient, loss_time, wobble, dice
        self._wander = 0.0
        self._line: tuple[float, float] | None = None  # where the ramp began: time, temperature
        self._feel = dice.uniform(0.85, 1.15)  # how well they know the gun

    def told(self, action: str, sensor: str, rate: float) -> None:
        """From now on: heat, cool, hold or still, at a rate in K/s (0: as fast as is sensible)."""
        action = "still" if action == "hold" else action  # a person takes the gun away in either case
        self.action, self.sensor = action, sensor or self.sensor
        self.rate = 0.0 if action == "still" else (rate or FREELY) * (1.0 if action == "heat" else -1.0)
        self._line = None

    def look(self, t: float, displayed: float) -> None:
        """A glance at the thermometer, once a second."""
        if self.action == "still":
            self.drive = 0.0
            return
        if self._line is None:
            self._line = (t, displayed)
        keep = math.exp(-LOOK_EVERY / WANDER_TIME)
        self._wander = keep * self._wander + math.sqrt(1 - keep * keep) * self._dice.gauss(
            0.0, self._wobble * abs(self.rate)
        )
        began, start = self._line
        behind = start + self.rate * (t - began) - displayed
        needed = (
            self.rate + self._wander + self._feel * (displayed - self._ambient) / self._loss_time + CORRECTION * behind
        )
        self.drive = max(STRONGEST_COLD, min(STRONGEST_HEAT, needed))
