"""What heats and cools a sensor: a pair of hands with a heat gun and an ice pack, or a plate that does it by itself.

Hands look at the thermometer's display once a second and correct. They are careful but not steady: the rate they hold
wanders slowly about the one asked for. A plate goes by a sensor of its own, is steadier, and stops at its set point.
"""

from __future__ import annotations

import math
import random

LOOK_EVERY = 1.0  # s
STRONGEST_HEAT, STRONGEST_COLD = 1.2, -1.0  # K/s
WANDER_TIME = 20.0  # s
CORRECTION = 0.05  # 1/s: how hard a deviation is corrected
FREELY = 8.0 / 60  # K/s
STEADIER = 0.2  # times the wobble of hands that a plate has


class Hands:
    """What they were told, and what they do about it. ``drive`` is heat (+) or cold (−) in K/s."""

    def __init__(self, ambient: float, loss_time: float, wobble: float, dice: random.Random) -> None:
        self.sensor = ""
        self.action = "still"
        self.rate = 0.0
        self.drive = 0.0
        self._ambient, self._loss_time, self._wobble, self._dice = ambient, loss_time, wobble, dice
        self._wander = 0.0
        self.goal: float | None = None  # °C at which a plate stays
        self._line: tuple[float, float] | None = None  # where the ramp began: time, temperature
        self._feel = dice.uniform(0.85, 1.15)  # how well they know the gun

    def told(self, action: str, sensor: str, rate: float) -> None:
        """From now on: heat, cool, hold or still, at a rate in K/s (0: as fast as is sensible)."""
        action = "still" if action == "hold" else action  # a person takes the gun away in either case
        self.action, self.sensor = action, sensor or self.sensor
        self.rate = 0.0 if action == "still" else (rate or FREELY) * (1.0 if action == "heat" else -1.0)
        self.goal = self._line = None

    def told_by_set_point(self, sensor: str, goal: float, rate: float, now: float) -> None:
        """A plate goes from ``now`` to ``goal``, in °C, at a rate in K/s, and stays there."""
        self.told("heat" if goal >= now else "cool", sensor, rate)
        self.goal = goal

    @property
    def is_plate(self) -> bool:
        """Whether a plate heats and cools, by a sensor of its own."""
        return self.goal is not None

    def look(self, t: float, displayed: float) -> None:
        """A look at the temperature that is to be brought somewhere, once a second."""
        if self.action == "still":
            self.drive = 0.0
            return
        if self._line is None:
            self._line = (t, displayed)
        if self.goal is not None and (displayed - self.goal) * (1.0 if self.rate >= 0 else -1.0) >= 0:
            self.rate, self._line = 0.0, (t, self.goal)
        keep = math.exp(-LOOK_EVERY / WANDER_TIME)
        wobble = self._wobble * (STEADIER if self.is_plate else 1.0)
        self._wander = keep * self._wander + math.sqrt(1 - keep * keep) * self._dice.gauss(0.0, wobble * abs(self.rate))
        began, start = self._line
        behind = start + self.rate * (t - began) - displayed
        needed = (
            self.rate + self._wander + self._feel * (displayed - self._ambient) / self._loss_time + CORRECTION * behind
        )
        self.drive = max(STRONGEST_COLD, min(STRONGEST_HEAT, needed))
