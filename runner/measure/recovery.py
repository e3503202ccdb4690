"""How long a pack will yet need to come up to its release: a forecast from the voltage of its rest so far.

Two laws bracket how such cells relax: one exponential, which levels off too soon, and a straight line over the logarithm
of the time, which never does. Each is fitted to the later half of the readings; the interval spans both forecasts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize

from runner.measure.recording import Series

FEWEST = 5  # readings
LONGEST = 24 * 3600.0  # s: later than this is never


@dataclass(frozen=True)
class Forecast:
    """Seconds since the load went off at which the voltage is expected to reach the release; ``high`` may be infinite."""

    expected: float
    low: float
    high: float


def forecast(voltage: Series, off_at: float, release: float) -> Forecast | None:
    """From the readings of a rest that began at ``off_at`` (s); ``release`` in V. None while there is too little to say."""
    t = voltage.t - off_at
    if (t > 1.0).sum() < FEWEST:
        return None
    later = (t > 1.0) & (t >= min(t[-1] / 2, t[-FEWEST]))
    x, y = t[later], voltage.value[later]
    if y[-1] >= release:
        passed = np.flatnonzero(voltage.value >= release)[0]
        at = float(t[passed])
        return Forecast(at, at, at)
    times = sorted((_exponential(x, y, release), _logarithmic(x, y, release)))
    finite = [time for time in times if np.isfinite(time)]
    if not finite:
        return Forecast(np.inf, float(x[-1]), np.inf)
    return Forecast(float(np.mean(finite)), max(times[0] * 0.9, float(x[-1])), times[1] * 1.1)


def _logarithmic(x: np.ndarray, y: np.ndarray, release: float) -> float:
    slope, start = np.polyfit(np.log(x), y, 1)
    if slope <= 0:
        return float(np.inf)
    exponent = (release - start) / slope
    return float(np.exp(exponent)) if exponent < np.log(LONGEST) else float(np.inf)


def _exponential(x: np.ndarray, y: np.ndarray, release: float) -> float:
    """V = V∞ − A·exp(−t/T): V∞ and A by least squares for each T, and the T that fits best."""

    def fitted(time: float) -> tuple[float, float, float]:
        design = np.column_stack([np.ones_like(x), -np.exp(-(x - x[0]) / time)])
        (final, amplitude), *_ = np.linalg.lstsq(design, y, rcond=None)
        return float(((design @ (final, amplitude) - y) ** 2).sum()), float(final), float(amplitude)

    span = float(x[-1] - x[0])
    best = optimize.minimize_scalar(
        lambda log: fitted(np.exp(log))[0], bounds=(np.log(span / 20), np.log(span * 20)), method="bounded"
    )
    time = float(np.exp(best.x))
    _, final, amplitude = fitted(time)
    if final <= release or amplitude <= 0:
        return float(np.inf)
    return float(x[0] + time * np.log(amplitude / (final - release)))
