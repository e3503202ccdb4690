"""The threshold, free of trip delay and sensor lag.

At a ramp rate r the reference reads T(τ) = θ + r·L when the path opens: L is the pack's delay, up to a polling period until
it looks and up to one more until a delay that is counted in looks is over, and the lag of its sensor beyond that of the
probe. From ramps at different rates, θ and L follow by generalised least squares, T_i = θ + L·r_i; the intercept needs no
knowledge of L at all. From one rate only, L has to be put in: θ = T(τ) − r·L, with an uncertainty that says how little is
known of it.

The uncertainty that each ramp has for itself (fit, instant, polling, and how far the pack repeats: fits/repeatability.py) makes the
weights; what all ramps share (the probe's calibration, its coupling to the sensor) is added afterwards, and averages out in no
number of ramps.

Coupling has three parts. One is the same for all ramps of a sensor (contact, paste, distance). One grows with the difference to
the room, because heat flows along the probe's stem and out of the spot. One changes its sign with the direction, because the heat
comes from one side: it doubles in the hysteresis, where the others nearly cancel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from runner.measure.budget import Inputs, Quantity, chi_square_limit
from runner.measure.fits.cells import KEPT
from runner.measure.fits.edge import Edge
from runner.measure.fits.ramp import Ramp
from runner.measure.fits.repeatability import Group, Repeatability
from runner.measure.recording import Attempt, Specification
from runner.vocabulary import BudgetSource, Outcome

CHANGES: dict[str, str] = {Outcome.STOPPED: "trip", Outcome.RETURNED: "release"}
DISTINCT = 1.4  # least ratio of fastest to slowest ramp for extrapolation to no rate
POSSIBLE_LAG = (-10.0, 90.0)  # s: outside of this the changes did not follow the temperature
# where the files do not say (common practice, no source), in s: mean and deviation of the lag of a taped-on thermistor, two lags in
# a row of 3 to 40 and 0.5 to 4 s; the most that it may be; mean and deviation of what the pack's filter takes: none, a mean of
# 4 to 16 looks, or first order with 1 to 10 s, so anything from nothing to 10 s
UNKNOWN_LAG = (16.0, 13.0)
SLOWEST_SENSOR = 45.0
UNKNOWN_FILTER = (5.0, 10.0 / 12.0**0.5)
# likewise, standard uncertainties
GROWTH = 0.0025  # of the difference to the room: half of all probes none, the others 0.2 to 1 % of it
DIRECTION = 0.22 / 3.0**0.5  # K, rectangular
EARLY = 1.0  # of a pack's scatter from ramp to ramp: how early its noise makes it act
AGREE = "the ramps agree"


@dataclass(frozen=True)
class Crossing:
    """One ramp with its edge: everything that is known about one trip or release."""

    attempt: Attempt
    edge: Edge
    ramp: Ramp
    second: Ramp | None = None  # of a second probe at the sensor


@dataclass(frozen=True)
class Threshold:
    """The threshold in °C and, where it was found, L in s; ``fit`` says in words how well the ramps agree.

    ``impossible`` says why the changes cannot have come from the temperature, where the ramps show that. ``quick``: at one rate
    only, and nobody has said how far the sensor lags.
    """

    value: Quantity
    delay_and_lag: Quantity | None
    fit: str
    caveats: tuple[str, ...]
    impossible: str = ""
    quick: bool = False


@dataclass(frozen=True)
class Shared:
    """What all ramps of an evaluation share: one object each, so that differences lose what is common.

    ``calibration``, ``resolution``, ``coupling`` and ``direction`` in K; ``growth`` a share of the difference to ``ambient`` (°C).
    """

    calibration: Quantity
    resolution: Quantity
    coupling: Quantity
    growth: Quantity
    direction: Quantity
    ambient: float

    def error(self, temperature: float, rate: float) -> Quantity:
        """The probe's error in K at a temperature (°C) that rises or falls (K/s, its sign)."""
        whole = self.calibration + self.resolution + self.coupling + (temperature - self.ambient) * self.growth
        return whole + self.direction if rate > 0 else whole - self.direction


def shared(
    inputs: Inputs,
    declared: Specification,
    sensor: str,
    ambient: float,
    contact: tuple[float, str] | None = None,
    direction: tuple[float, str] | None = None,
) -> Shared:
    """The shared input quantities of one sensor; ``ambient`` in °C.

    ``contact`` and ``direction`` are (standard uncertainty, distribution) where more is known of them than is declared.
    """
    u, distribution = declared.calibration
    growth = GROWTH if declared.coupling_growth is None else declared.coupling_growth
    add = inputs.add
    return Shared(
        add(BudgetSource.PROBE_CALIBRATION, 0.0, u, distribution),
        add(BudgetSource.PROBE_RESOLUTION, 0.0, declared.resolution / 12.0**0.5, "rectangular"),
        add(BudgetSource.COUPLING.of(sensor), 0.0, *(contact or (declared.coupling, "normal"))),
        add(BudgetSource.COUPLING_GROWTH, 0.0, growth),
        add(BudgetSource.COUPLING_DIRECTION, 0.0, *(direction or (direction_of(declared), "rectangular"))),
        ambient,
    )


def direction_of(declared: Specification) -> float:
    """The standard uncertainty (K) of what changes its sign between heating and cooling."""
    return DIRECTION if declared.coupling_direction is None else declared.coupling_direction


def find_threshold(
    crossings: Sequence[Crossing], declared: Specification, common: Shared, repeats: Repeatability, inputs: Inputs
) -> Threshold:
    """The threshold from one or more crossings of one sensor in one direction. ``crossings`` must not be empty."""
    rates = rates_of(crossings)
    own = [own_part(crossing, float(rate), declared, inputs) for crossing, rate in zip(crossings, rates, strict=True)]
    caveats = [
        f"ramp {crossing.attempt.cycle} was not straight before the {CHANGES[crossing.attempt.outcome]}"
        for crossing in crossings
        if not crossing.ramp.straight
    ]
    here = float(np.mean([float(quantity.x) for quantity in own]))
    error = common.error(here, float(rates[0])) + _early(float(rates[0]), repeats, inputs)
    if distinct(rates):
        theta, lag, fit = _extrapolated(own, rates, repeats, inputs)
        return Threshold(theta + error, lag, fit, tuple(caveats), _impossible(lag))
    why = "only one ramp" if len(crossings) == 1 else "the rates are too similar"
    delays = "lag and delay as below" if declared.delay_assumed else "declared delay and lag"
    caveats.append(f"not extrapolated to zero rate ({why}); {delays} were used")
    if declared.about_delay:
        caveats.append(declared.about_delay)
    sensor = crossings[0].attempt.sensor
    behind = _behind(sensor, declared, inputs)
    if sensor not in declared.sensor_lag:
        caveats.append(f"lag of sensor {sensor} not declared; 0 to {SLOWEST_SENSOR:g} s assumed")
    each = [quantity - float(rate) * behind for quantity, rate in zip(own, rates, strict=True)]
    alike = group_of(crossings, declared)
    if differ := _differ(alike.values - alike.values.mean(), alike.variances, len(own) - 1, repeats):
        caveats.append(differ)
    theta = sum(each) / len(each) + repeats.of_mean(len(own), inputs)
    return Threshold(theta + error, None, why, tuple(caveats), quick=sensor not in declared.sensor_lag)


def group_of(crossings: Sequence[Crossing], declared: Specification) -> Group:
    """The changes of one direction with what ``find_threshold`` fits to them, for how far the pack repeats.

    A line over distinct rates; else the mean of what is left without delay and lag, of which the part that is not known moves
    ramps of unequal rates apart.
    """
    rates = rates_of(crossings)
    own = [own_part(each, float(rate), declared, Inputs()) for each, rate in zip(crossings, rates, strict=True)]
    values = np.array([float(quantity.x) for quantity in own])
    variances = np.array([float(quantity.u) ** 2 for quantity in own])
    ones = np.ones(len(own))
    if distinct(rates):
        return Group(values, variances, np.column_stack([ones, rates]))
    behind = _behind(crossings[0].attempt.sensor, declared, Inputs())
    apart = (rates - rates.mean()) * float(behind.u)
    return Group(values - rates * float(behind.x), variances + apart**2, np.column_stack([ones]))


def _early(rate: float, repeats: Repeatability, inputs: Inputs) -> Quantity:
    """By how many K a noisy pack's change at this rate (K/s) may lie before its threshold: up while it warms, down while it cools.

    The first of many noisy polls that is past the limit comes early, both ways, so that it counts twice in the hysteresis. It is
    early by about as much as the pack scatters, and that is all that is known of it.
    """
    early = inputs.shared(BudgetSource.PACK_NOISE, 0.0, EARLY * repeats.deviation, "normal", repeats.dof)
    return early if rate > 0 else -early


def rates_of(crossings: Sequence[Crossing]) -> np.ndarray:
    """The rates in K/s that count: those just before each instant, or those over the whole window.

    A draft of some seconds bends the last part of a ramp: the three rates that a hand kept look alike, or the slow ramp looks
    like the fast one. Where that is so, the line goes through the rates over the window.
    """
    last, steady = (np.array([getattr(each.ramp, name) for each in crossings]) for name in ("rate", "steady"))
    if not distinct(steady):
        return last
    return last if distinct(last) and np.corrcoef(last, steady)[0, 1] > 0 else steady


def distinct(rates: np.ndarray) -> bool:
    """Whether ramps at these rates (K/s) can be extrapolated to no rate."""
    speeds = np.abs(rates)
    return len(rates) >= 2 and speeds.max() / max(speeds.min(), 1e-9) >= DISTINCT and bool(np.all(rates * rates[0] > 0))


def own_part(crossing: Crossing, rate: float, declared: Specification, inputs: Inputs) -> Quantity:
    """The temperature at the instant with the uncertainty this ramp has for itself, where ``rate`` (K/s) is the one that counts."""
    ramp, edge = crossing.ramp, crossing.edge
    # what the sensor lags behind was at this rate, or at the one just before the instant: as likely anywhere between
    lag, _ = declared.sensor_lag.get(crossing.attempt.sensor, UNKNOWN_LAG)
    changed = abs(rate - ramp.rate) * lag / 3.0**0.5
    return (
        inputs.add(BudgetSource.RAMP_FIT, ramp.temperature, ramp.temperature_uncertainty, "normal", ramp.dof)
        # a hand-held ramp really is where it has wandered to: that counts whole, not divided by √n as the probe's noise is
        + inputs.add(BudgetSource.RAMP_WANDER, 0.0, float(np.hypot(ramp.wander, changed)), "normal", ramp.dof)
        + _of_instant(edge, abs(ramp.rate), inputs)
        + inputs.add(BudgetSource.POLLING, 0.0, abs(ramp.rate) * declared.polling / 12.0**0.5, "rectangular")
    )


def _of_instant(edge: Edge, rate: float, inputs: Inputs) -> Quantity:
    """What is not known of the instant, in K at a rate (K/s): of an instrument's readings, or of a person's key and the clamp."""
    if edge.marked is None:
        return inputs.add(BudgetSource.EDGE_INSTANTS, 0.0, rate * edge.uncertainty, edge.distribution)
    key, display = edge.marked
    return inputs.add(BudgetSource.MARKS, 0.0, rate * key) + inputs.add(
        BudgetSource.CLAMP_REFRESH, 0.0, rate * display, "rectangular"
    )


def _extrapolated(
    own: list[Quantity], rates: np.ndarray, repeats: Repeatability, inputs: Inputs
) -> tuple[Quantity, Quantity, str]:
    """Generalised least squares of T = θ + L·r, and in words how well the ramps agree with what each knows of itself (χ², 5 %)."""
    values = np.array([float(quantity.x) for quantity in own])
    variances = np.array([float(quantity.u) ** 2 for quantity in own])
    design = np.column_stack([np.ones_like(rates), rates])
    weights = np.diag(1.0 / (variances + repeats.deviation**2))
    solve = np.linalg.inv(design.T @ weights @ design) @ design.T @ weights
    theta, lag = (
        sum(float(weight) * quantity for weight, quantity in zip(row, own, strict=True)) + repeats.of_sum(row, inputs)
        for row in solve
    )
    freedom = len(own) - 2
    if freedom < 1:
        return theta, lag, "only two rates: the fit cannot be checked"
    return theta, lag, _differ(values - design @ (solve @ values), variances, freedom, repeats) or AGREE


def _differ(residuals: np.ndarray, variances: np.ndarray, freedom: int, repeats: Repeatability) -> str:
    """That the ramps differ by more than each knows of itself (χ² of the residuals in K, 5 %), else nothing."""
    if freedom < 1 or float(residuals**2 @ (1.0 / variances)) / freedom <= chi_square_limit(freedom):
        return ""
    scatter = f"the ramps differ by about {repeats.deviation:.2f} K, more than the instruments explain"
    return f"{scatter}; this is included in the uncertainty"


def _impossible(lag: Quantity) -> str:
    low, high = POSSIBLE_LAG
    if low - 3 * float(lag.u) <= float(lag.x) <= high + 3 * float(lag.u):
        return ""
    return (
        f"the current changes do not match the temperature (a lag of {float(lag.x):.0f} s would be needed); "
        "another cause switched the current"
    )


def _behind(sensor: str, declared: Specification, inputs: Inputs) -> Quantity:
    """By how many s the pack is behind the probe, L in θ = T − r·L, from what is declared of delay, lags and filter.

    What the pack compares is as old as its filter makes it (fits/cells.py).

    The lags of sensor and probe and the pack's delay are the same for trip and release: in their difference, where the rates
    have opposite signs, what is not known of them counts twice.
    """
    mean, u, distribution = declared.delay_in_looks
    delay = inputs.shared(BudgetSource.DELAY, mean + declared.polling / 2, u, distribution)
    probe = inputs.shared(BudgetSource.PROBE_LAG, *(declared.probe_lag or (0.0, 0.0)))
    lag = inputs.shared(BudgetSource.SENSOR_LAG, *declared.sensor_lag.get(sensor, UNKNOWN_LAG)) - probe
    known = declared.filter_lag
    value, uncertainty = UNKNOWN_FILTER if known is None else (known, KEPT * known / 3.0**0.5)
    return delay + lag + inputs.shared(BudgetSource.PACK_FILTER, value, uncertainty, "rectangular")
