"""Findings where a person reads voltmeter and clamp and marks the moments with a key."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from runner.events import METER_VOLTAGE
from runner.measure.finding import Evaluator, Finding
from runner.measure.fits.cells import about_cells, early, lag_of_filter
from runner.measure.fits.marks import charged_between
from runner.measure.readings import gap_before, reading_error, terminals
from runner.measure.recording import Accuracy, Attempt
from runner.vocabulary import BudgetSource, Observed

# At up to two capacities an hour the slope at the end of a discharge doubles in this many s at most; the evidence is in
# tests/outside/test_end_of_discharge.py.
STEEPENS = 100.0
SEEN = (
    5 / 48
) ** 0.5  # of a refresh: deviation of how late a sight is, at once as often as on a display that shows it later
GLANCE = 0.5  # s: how old what a person saw last may be; a display shows something new about twice a second


def trip_by_hand(maker: Evaluator, attempt: Attempt) -> Finding:
    """The voltage that a person saw last before the load stopped, carried back over delay, polling and a glance.

    The voltage falls ever faster towards the end, so its slope there is only known to be between the mean since the
    reading before and what that grows to: twice in STEEPENS, three times in two of them.
    """
    declared, limits = maker.declared, maker.declared.trip_limits
    last = maker.recording.read(Observed.LAST_VOLTAGE, attempt.began, attempt.at + 3600.0)
    if not last:
        why = "voltage not read before the cut-off"
        return maker.missing("trip", "V", why, expected=declared.trip, limits=limits)
    value = last[-1].value
    before = maker.recording.read(Observed.LOADED_VOLTAGE, attempt.began, attempt.at)
    if not before:
        why = "the voltage was read only once, so its slope is not known"
        return maker.missing("trip", "V", why, expected=declared.trip, limits=limits)
    span = max(attempt.at - before[-1].t, 1.0)
    low, high = sorted(slopes_at_the_end((value - before[-1].value) / span, span))
    lag, u_lag = lag_of_filter(declared)
    delay, u_delay, distribution = declared.delay_in_looks
    behind = delay + declared.polling / 2 + lag - GLANCE / 2
    add, mean_slope = maker.inputs.add, abs(low + high) / 2
    slope = add(BudgetSource.VOLTAGE_SLOPE, (low + high) / 2, (high - low) / 12.0**0.5, "rectangular")
    theta = (
        add(BudgetSource.LAST_SEEN, value, 0.0)
        - slope * behind
        + add(BudgetSource.GLANCE, 0.0, mean_slope * GLANCE / 12.0**0.5, "rectangular")
        + add(BudgetSource.TRIP_DELAY, 0.0, mean_slope * u_delay, distribution)
        + add(BudgetSource.POLLING, 0.0, mean_slope * declared.polling / 12.0**0.5, "rectangular")
        + add(BudgetSource.PACK_FILTER, 0.0, mean_slope * u_lag, "rectangular")
        - early(declared, maker.inputs)
        + add(BudgetSource.DISPLAY_DIGITS, 0.0, 0.01 / 12.0**0.5, "rectangular")
        + reading_error(maker.inputs, declared.accuracy.get(METER_VOLTAGE, Accuracy()), value, "voltmeter")
    )
    about = tuple(each for each in (declared.about_delay,) if each)
    caveats = ("read by hand: last voltage seen before the load stopped", *about, *about_cells(declared))
    return maker.measured("trip", "V", theta, expected=declared.trip, limits=limits, caveats=caveats)


def charge_by_hand(maker: Evaluator, name: str, attempts: Sequence[Attempt]) -> Finding:
    """The charge of a charger whose current was read on a clamp, ∫I dt between its switching on and off, in A·s.

    Between two readings the current may have changed at once, at the beginning or at the end: so much is not known, and a taper
    bends the same way all along, so that all of it is one quantity.
    """
    parts = [part for attempt in attempts for part in charged_between(attempt, maker.recording)]
    if not parts:
        return maker.missing(name, "A·s", "the current was not read on a clamp between switching on and off")
    value = sum(float(np.trapezoid(amps, t)) for t, amps in parts)
    unsure = sum(float(np.abs(np.diff(amps)) @ np.diff(t)) / 2 for t, amps in parts)
    seconds, reaction = sum(float(t[-1] - t[0]) for t, _ in parts), maker.declared.reaction[1]
    accuracy = Accuracy() if maker.declared.clamp is None else maker.declared.clamp[0]
    add = maker.inputs.add
    switched = sum(float(amps[0] ** 2 + amps[-1] ** 2) for _, amps in parts) ** 0.5 * reaction
    digits = accuracy.resolution / 12.0**0.5 * seconds / sum(len(t) for t, _ in parts) ** 0.5
    quantity = (
        add(BudgetSource.CHARGE_COUNTED, value, 0.0)
        + add(BudgetSource.READINGS, 0.0, unsure / 3.0**0.5, "rectangular")
        + add(BudgetSource.GAIN.of("clamp"), 0.0, accuracy.gain * value / 3.0**0.5, "rectangular")
        + add(BudgetSource.OFFSET.of("clamp"), 0.0, accuracy.offset * seconds / 3.0**0.5, "rectangular")
        + add(BudgetSource.RESOLUTION.of("clamp"), 0.0, digits)
        + add(BudgetSource.KEY, 0.0, switched)
    )
    readings = sum(len(t) - 2 for t, _ in parts)
    caveats = (
        f"from {readings} reading{'' if readings == 1 else 's'} of a clamp, between switching on and off by hand",
    )
    return maker.measured(name, "A·s", quantity, caveats=caveats)


def slopes_at_the_end(mean: float, span: float) -> tuple[float, float]:
    """The least and the greatest slope that a discharge may end with, of a mean slope over its last ``span`` seconds."""
    return mean, (1.0 + span / STEEPENS) * mean


def recovery_by_hand(maker: Evaluator, stopped: Attempt, returned: Attempt) -> Finding:
    """From the key at the cut-off, a reaction late, to the return: a key again, or between two readings of a voltmeter.

    A cut-off is seen at the load itself, or half a refresh later on a display: nobody says on which.
    """
    reaction, deviation = maker.declared.reaction
    add = maker.inputs.add
    cut_off = add(BudgetSource.REACTION.of("cut-off"), stopped.at - reaction, deviation) - add(
        BudgetSource.REFRESH.of("cut-off"), GLANCE / 4, SEEN * GLANCE, "rectangular"
    )
    if returned.by_hand:
        back = add(BudgetSource.REACTION.of("return"), returned.at - reaction, deviation) - add(
            BudgetSource.REFRESH, GLANCE / 2, GLANCE / 12.0**0.5, "rectangular"
        )
    else:
        gap = gap_before(maker.recording.of(terminals(maker.recording)), returned.at)
        back = add(BudgetSource.READINGS, returned.at - gap / 2, gap / 12.0**0.5, "rectangular")
    return maker.measured("recovery time", "s", back - cut_off, caveats=("marked by the operator",))
