"""What an evaluation is given: arrays, what was attempted, and what was declared beforehand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Series:
    """Valid readings of one channel: times in s since the start, rising; values in SI or °C. Same length."""

    t: Array
    value: Array

    def between(self, begin: float, end: float) -> Series:
        """The readings with begin ≤ t ≤ end."""
        inside = (self.t >= begin) & (self.t <= end)
        return Series(self.t[inside], self.value[inside])


@dataclass(frozen=True)
class Attempt:
    """One heating, cooling or charging and how the engine saw it end. Times in s, ``rate`` in K/s signed, ``limit`` in °C.

    ``at`` is the time of the first sample after the change; ``ramp_began`` is None if it never came to the ramp.
    """

    kind: str
    sensor: str
    cycle: int
    rate: float
    began: float
    ramp_began: float | None
    at: float
    outcome: str
    why: str
    limit: float | None = None


@dataclass(frozen=True)
class Recording:
    """A run as the evaluation sees it. ``ended_early`` is the reason why, or empty."""

    current: Series
    temperature: Series
    attempts: tuple[Attempt, ...]
    ended_early: str = ""


@dataclass(frozen=True)
class Declared:
    """What sheet and bench file say: limits in °C, times in s, standard uncertainties in K.

    ``sensor_lag`` and ``probe_lag`` are (value, standard uncertainty) in s, or None where nobody knows.
    """

    protection: str
    trip: float
    trip_limits: tuple[float, float]
    release: float | None
    release_limits: tuple[float, float] | None
    delay: float
    delay_uncertainty: float
    polling: float
    calibration: tuple[float, str]
    resolution: float
    coupling: float
    probe_lag: tuple[float, float] | None
    sensor_lag: Mapping[str, tuple[float, float]]
    sensors: tuple[str, ...]
    wanted: tuple[str, ...]
    rule: str
    coverage: float
