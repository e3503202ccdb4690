"""How long a pack will yet need to come up to its release: a forecast from the voltage of its rest so far.

Two laws bracket how such cells relax: one exponential, which levels off too soon, and a straight line over the logarithm
of the time, which never does. Each is fitted to the later half of the readings; the interval spans both forecasts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

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


@dataclass(frozen=True)
class Relaxation:
    """y = final + Σ amplitude·exp(−rate·x), or for one ``from_zero`` y = final·(1 − exp(−rate·x)); rates per unit of x."""

    final: float
    amplitudes: tuple[float, ...]
    rates: tuple[float, ...]
    residual: float  # sum of squares


def fit_relaxation(x: np.ndarray, y: np.ndarray, rates: tuple[float, ...], *, from_zero: bool = False) -> Relaxation:
    """Least squares from starting ``rates``; what enters linearly is solved for at every step (variable projection)."""

    def design(logs: np.ndarray) -> np.ndarray:
        falls = [np.exp(-np.exp(log) * x) for log in logs]
        return np.column_stack([1.0 - fall for fall in falls] if from_zero else [np.ones_like(x), *falls])

    def solved(logs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        columns = design(logs)
        coefficients, *_ = np.linalg.lstsq(columns, y, rcond=None)
        return coefficients, columns @ coefficients - y

    scale = max(float(np.abs(y).max()), 1e-12)

    def residuals_of(logs: np.ndarray) -> np.ndarray:
        return solved(logs)[1] / scale

    from scipy import optimize  # slow to import: the start of the program does not wait for it

    best = optimize.least_squares(residuals_of, np.log(rates), method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15)
    coefficients, residuals = solved(best.x)
    final, amplitudes = (coefficients[0], -coefficients[:1]) if from_zero else (coefficients[0], coefficients[1:])
    found = tuple(float(rate) for rate in np.exp(best.x))
    return Relaxation(float(final), tuple(float(a) for a in amplitudes), found, float(residuals @ residuals))


def _exponential(x: np.ndarray, y: np.ndarray, release: float) -> float:
    since = x - x[0]
    with np.errstate(over="ignore", under="ignore"):
        fits = [fit_relaxation(since, y, (start / since[-1],)) for start in (0.5, 2.0, 8.0)]
    fit = min(fits, key=lambda each: each.residual)
    amplitude = -fit.amplitudes[0]
    if fit.final <= release or amplitude <= 0:
        return float(np.inf)
    return float(x[0] + np.log(amplitude / (fit.final - release)) / fit.rates[0])
