"""The threshold, free of trip delay and sensor lag.

At a ramp rate r the reference reads T(τ) = θ + r·L when the path opens: L is the pack's delay, up to a polling period until
it looks and up to one more until a delay that is counted in looks is over, and the lag of its sensor beyond that of the
probe. From ramps at different rates, θ and L follow by generalised least squares, T_i = θ + L·r_i; the intercept needs no
knowledge of L at all. From one rate only, L has to be put in: θ = T(τ) − r·L, with an uncertainty that says how little is
known of it.

The uncertainty that each ramp has for itself (fit, instant, polling) makes the weights; what all ramps share (the probe's
calibration, its coupling to the sensor) is added afterwards, and averages out in no number of ramps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from runner.measure.budget import Inputs, Quantity, chi_square_limit
from runner.measure.fits.edge import Edge
from runner.measure.fits.ramp import Ramp
from runner.measure.recording import Attempt, Specification
from runner.vocabulary import BudgetSource, Outcome

CHANGES: dict[str, str] = {Outcome.STOPPED: "trip", Outcome.RETURNED: "release"}
DISTINCT = 1.4  # least ratio of fastest to slowest ramp for extrapolation to no rate
POSSIBLE_LAG = (-10.0, 90.0)  # s: outside of this the changes did not follow the temperature
UNKNOWN_LAG = (0.0, 15.0)  # s: what a taped-on thermistor may lag, where nobody knows (common practice, no source)


@dataclass(frozen=True)
class Crossing:
    """One ramp with its edge: everything that is known about one trip or release."""

    attempt: Attempt
    edge: Edge
    ramp: Ramp


@dataclass(frozen=True)
class Threshold:
    """The threshold in °C and, where it was found, L in s; ``fit`` says in words how well the ramps agree.

    ``impossible`` says why the changes cannot have come from the temperature, where the ramps show that.
    """

    value: Quantity
    delay_and_lag: Quantity | None
    fit: str
    caveats: tuple[str, ...]
    impossible: str = ""


@dataclass(frozen=True)
class Shared:
    """What all ramps of an evaluation share, in K: one object each, so that differences lose it."""

    calibration: Quantity
    resolution: Quantity
    coupling: Quantity


def shared(inputs: Inputs, declared: Specification, sensor: str) -> Shared:
    """The shared input quantities of one sensor."""
    u, distribution = declared.calibration
    return Shared(
        inputs.add(BudgetSource.PROBE_CALIBRATION, 0.0, u, distribution),
        inputs.add(BudgetSource.PROBE_RESOLUTION, 0.0, declared.resolution / 12.0**0.5, "rectangular"),
        inputs.add(BudgetSource.COUPLING.of(sensor), 0.0, declared.coupling),
    )


def find_threshold(crossings: Sequence[Crossing], declared: Specification, common: Shared, inputs: Inputs) -> Threshold:
    """The threshold from one or more crossings of one sensor in one direction. ``crossings`` must not be empty."""
    own = [_own(crossing, declared, inputs) for crossing in crossings]
    rates = np.array([crossing.ramp.rate for crossing in crossings])
    speeds = np.abs(rates)
    caveats = [
        f"ramp {crossing.attempt.cycle} was not straight before the {CHANGES[crossing.attempt.outcome]}"
        for crossing in crossings
        if not crossing.ramp.straight
    ]
    common_error = common.calibration + common.resolution + common.coupling
    if len(crossings) >= 2 and speeds.max() / max(speeds.min(), 1e-9) >= DISTINCT and np.all(rates * rates[0] > 0):
        theta, lag, fit = _extrapolated(own, rates, inputs)
        return Threshold(theta + common_error, lag, fit, tuple(caveats), _impossible(lag))
    why = "only one ramp" if len(crossings) == 1 else "the rates are too similar"
    caveats.append(f"not extrapolated to zero rate ({why}); declared delay and lag were used")
    theta = _put_in(own, rates, crossings[0].attempt.sensor, declared, inputs, caveats)
    return Threshold(theta + common_error, None, why, tuple(caveats))


def _own(crossing: Crossing, declared: Specification, inputs: Inputs) -> Quantity:
    """The temperature at the instant with the uncertainty this ramp has for itself."""
    ramp, edge = crossing.ramp, crossing.edge
    return (
        inputs.add(BudgetSource.RAMP_FIT, ramp.temperature, ramp.temperature_uncertainty, "normal", ramp.dof)
        # a hand-held ramp really is where it has wandered to: that counts whole, not divided by √n as the probe's noise is
        + inputs.add(BudgetSource.RAMP_WANDER, 0.0, ramp.wander, "normal", ramp.dof)
        + inputs.add(BudgetSource.EDGE_INSTANTS, 0.0, abs(ramp.rate) * edge.uncertainty, edge.distribution)
        + inputs.add(BudgetSource.POLLING, 0.0, abs(ramp.rate) * declared.polling / 12.0**0.5, "rectangular")
    )


def _extrapolated(own: list[Quantity], rates: np.ndarray, inputs: Inputs) -> tuple[Quantity, Quantity, str]:
    """Generalised least squares of T = θ + L·r, and a test of the fit by χ², as is usual for results that are combined.

    If the ramps disagree as they would by chance in less than one of twenty cases, their uncertainties are widened by Birge's
    ratio. Below that they are left alone: every third pair of honest lines has a ratio above 1.
    """
    values = np.array([float(quantity.x) for quantity in own])
    weights = np.diag([1.0 / float(quantity.u) ** 2 for quantity in own])
    design = np.column_stack([np.ones_like(rates), rates])
    covariance = np.linalg.inv(design.T @ weights @ design)
    solve = covariance @ design.T @ weights
    theta = sum(float(weight) * quantity for weight, quantity in zip(solve[0], own, strict=True))
    lag = sum(float(weight) * quantity for weight, quantity in zip(solve[1], own, strict=True))
    freedom = len(own) - 2
    if freedom < 1:
        return theta, lag, "only two rates: the fit cannot be checked"
    residuals = values - design @ (solve @ values)
    birge = float((residuals @ weights @ residuals / freedom) ** 0.5)
    if birge**2 <= chi_square_limit(freedom):
        how = "within their uncertainties" if birge <= 1.0 else "within statistical scatter"
        return theta, lag, f"the ramps agree {how} (Birge ratio {birge:.2f})"
    more = (birge**2 - 1.0) ** 0.5
    theta = theta + inputs.add(BudgetSource.DISAGREEMENT, 0.0, float(covariance[0, 0]) ** 0.5 * more, "normal", freedom)
    lag = lag + inputs.add(BudgetSource.DISAGREEMENT, 0.0, float(covariance[1, 1]) ** 0.5 * more, "normal", freedom)
    return (
        theta,
        lag,
        f"the ramps scatter more than their uncertainties (Birge ratio {birge:.2f}); uncertainty increased by this factor",
    )


def _impossible(lag: Quantity) -> str:
    low, high = POSSIBLE_LAG
    if low - 3 * float(lag.u) <= float(lag.x) <= high + 3 * float(lag.u):
        return ""
    return (
        f"the current changes do not match the temperature (a lag of {float(lag.x):.0f} s would be needed); "
        "another cause switched the current"
    )


def _put_in(
    own: list[Quantity], rates: np.ndarray, sensor: str, declared: Specification, inputs: Inputs, caveats: list[str]
) -> Quantity:
    """θ = T − r·L for each ramp with declared delay and lag, then their mean.

    The lags of sensor and probe and the pack's delay are the same for trip and release: in their difference, where the rates
    have opposite signs, what is not known of them counts twice.
    """
    mean, u, distribution = declared.delay_in_looks
    delay = inputs.shared(BudgetSource.DELAY, mean + declared.polling / 2, u, distribution)
    probe = declared.probe_lag or (0.0, 0.0)
    if sensor in declared.sensor_lag:
        value, uncertainty = declared.sensor_lag[sensor]
        lag = inputs.shared(BudgetSource.SENSOR_LAG, value, uncertainty) - inputs.shared(BudgetSource.PROBE_LAG, *probe)
    else:
        low, high = UNKNOWN_LAG
        lag = inputs.shared(
            BudgetSource.SENSOR_LAG, (low + high) / 2, (high - low) / 12.0**0.5, "rectangular"
        ) - inputs.shared(BudgetSource.PROBE_LAG, *probe)
        caveats.append(f"lag of sensor {sensor} not declared; assumed between {low:g} and {high:g} s")
    each = [quantity - float(rate) * (delay + lag) for quantity, rate in zip(own, rates, strict=True)]
    return sum(each) / len(each)
