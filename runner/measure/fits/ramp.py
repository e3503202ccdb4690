"""The reference temperature and its rate at an instant, from a straight line through the readings before it.

The window begins as long as WINDOW and is shortened while a parabola fits significantly better: a line through a bent
ramp gives a wrong temperature and a wrong rate at its end. Readings after the instant are not used, because the operator
reacts to the trip.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from runner.measure.budget import MANY, chi_square_limit
from runner.measure.recording import Series

WINDOW = 60.0  # s
SHORTEST = 15.0  # s
FEWEST = 8  # readings
SHRINK = 0.75
# readings by hand, one a degree: earlier ones would see the ramp begin, and another wandering
FEWEST_TAPS, MOST_TAPS = 3, 4
SIGNIFICANT = 4.0  # standard deviations of the parabola's coefficient
CHANCE = 1.645  # standard deviations, one-sided: 5 %
SETTLING = 30.0  # s after the beginning of the ramp, for sensor and probe to follow (lags of 4 to 12 s: common practice, no source)


@dataclass(frozen=True)
class Ramp:
    """The line at the instant: temperature °C, rate K/s, their standard uncertainties, residual scatter, window in s.

    ``scatter`` is the standard deviation of the readings about the line, K, and ``wander`` what of it is not noise from one
    reading to the next; ``straight`` is False if the shortest window was still bent. ``steady`` is the rate over the whole WINDOW,
    which a draft of some seconds just before the instant hardly moves.
    """

    temperature: float
    rate: float
    temperature_uncertainty: float
    rate_uncertainty: float
    scatter: float
    wander: float
    dof: float
    begin: float
    end: float
    straight: bool
    steady: float = 0.0


def fit_ramp(temperature: Series, instant: float, not_before: float, resolution: float) -> Ramp | None:
    """Fit the line that ends at ``instant`` and begins not before ``not_before``; None if there is too little to fit.

    ``resolution`` (K) floors the scatter: readings that all fall on one step know no better than the step.
    """
    window = min(WINDOW, instant - not_before)
    ramp: Ramp | None = None
    steady: float | None = None
    while window >= SHORTEST:
        part = temperature.between(instant - window, instant)
        if len(part.t) < FEWEST:
            break
        ramp, bent = _line(part, instant, resolution)
        steady = ramp.rate if steady is None else steady
        ramp = replace(ramp, steady=steady)
        if not bent:
            return ramp
        window *= SHRINK
    return ramp


def fit_taps(taps: Series, instant: float, not_before: float, reaction: tuple[float, float]) -> Ramp | None:
    """The same from readings by hand, a key a degree: the last MOST_TAPS since ``not_before``; None for fewer than three.

    A key comes ``reaction`` (mean and standard deviation, s) after its degree. Taps that scatter about the line no more than
    keys do (χ², 5 %) are known as well as the keys are; what they scatter beyond that, the temperature has wandered.
    """
    mean, deviation = reaction
    moved = Series(taps.t - mean, taps.value).between(not_before - mean, instant)
    part = Series(moved.t[-MOST_TAPS:], moved.value[-MOST_TAPS:])
    if len(part) < FEWEST_TAPS:
        return None
    ramp, _ = _line(part, instant, 0.0, curved=False)
    ramp = replace(ramp, steady=ramp.rate)
    keys = max(abs(ramp.rate) * deviation, 1e-9)
    if (ramp.scatter / keys) ** 2 <= chi_square_limit(ramp.dof):
        part_of_it = keys / ramp.scatter
        return replace(
            ramp,
            temperature_uncertainty=ramp.temperature_uncertainty * part_of_it,
            rate_uncertainty=ramp.rate_uncertainty * part_of_it,
            scatter=keys,
            wander=0.0,
            dof=MANY,
        )
    return replace(ramp, wander=(ramp.scatter**2 - keys**2) ** 0.5)


def _line(part: Series, instant: float, resolution: float, *, curved: bool = True) -> tuple[Ramp, bool]:
    """Ordinary least squares about the instant, and whether a parabola would be significantly better (``curved``)."""
    x, y = part.t - instant, part.value
    design = np.column_stack([np.ones_like(x), x])
    (value, rate), covariance, scatter = _least_squares(design, y, resolution)
    bent = False
    if curved:
        parabola = np.column_stack([design, x * x])
        (_, _, bend), bent_covariance, _ = _least_squares(parabola, y, resolution)
        bent = bool(abs(bend) > SIGNIFICANT * bent_covariance[2, 2] ** 0.5)
    return Ramp(
        float(value),
        float(rate),
        float(covariance[0, 0] ** 0.5),
        float(covariance[1, 1] ** 0.5),
        scatter,
        wander(y - design @ (value, rate), scatter),
        float(len(x) - 2),
        float(part.t[0]),
        instant,
        not bent,
    ), bent


def wander(residuals: np.ndarray, scatter: float) -> float:
    """The standard deviation of what changes slowly in residuals of a scatter, in their unit.

    Half the mean square of successive differences is the variance of noise that is new with every reading (von Neumann 1941,
    from memory), and hardly sees what moves slowly: what it leaves of the scatter has really moved. For n readings of nothing
    but noise the ratio of the two varies by 1/√n; what that explains in nineteen of twenty cases is not taken for a movement.
    """
    if len(residuals) < 2:
        return scatter
    slow = scatter**2 - float(np.mean(np.diff(residuals) ** 2)) / 2
    return float(slow**0.5) if slow > CHANCE / len(residuals) ** 0.5 * scatter**2 else 0.0


def _least_squares(design: np.ndarray, y: np.ndarray, resolution: float) -> tuple[np.ndarray, np.ndarray, float]:
    """Coefficients, their covariance, and the residual scatter, floored at resolution/√12."""
    coefficients, *_ = np.linalg.lstsq(design, y, rcond=None)
    residuals = y - design @ coefficients
    freedom = max(len(y) - design.shape[1], 1)
    scatter = max(float(residuals @ residuals / freedom) ** 0.5, resolution / 12.0**0.5, 1e-9)
    covariance = scatter**2 * np.linalg.inv(design.T @ design)
    return coefficients, covariance, scatter


@dataclass(frozen=True)
class Bend:
    """A parabola about an instant: ``coefficients`` of 1, x, x² with x in s from it, their covariance, scatter and wander.

    ``wander`` is what of the scatter is not noise from one reading to the next: by so much the values are no parabola.
    """

    coefficients: np.ndarray
    covariance: np.ndarray
    scatter: float
    wander: float
    dof: float

    def at(self, x: float) -> tuple[float, float, float]:
        """(value, its standard uncertainty, slope per s) at ``x`` seconds from the instant."""
        basis = np.array([1.0, x, x * x])
        slope = float(self.coefficients[1] + 2 * self.coefficients[2] * x)
        return float(basis @ self.coefficients), float(basis @ self.covariance @ basis) ** 0.5, slope


def fit_bend(values: Series, instant: float, begin: float, end: float, resolution: float) -> Bend | None:
    """A parabola through the readings with begin ≤ t ≤ end; None if there are fewer than five of them."""
    part = values.between(begin, end)
    if len(part) < 5:
        return None
    x = part.t - instant
    design = np.column_stack([np.ones_like(x), x, x * x])
    coefficients, covariance, scatter = _least_squares(design, part.value, resolution)
    slow = wander(part.value - design @ coefficients, scatter)
    return Bend(coefficients, covariance, scatter, slow, float(len(x) - 3))
