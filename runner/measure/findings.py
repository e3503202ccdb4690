"""Findings: one measured quantity each, with its uncertainty, its limits and the statement of conformity.

``findings(recording, declared)`` is the list of what to work out, in order. A number without its budget does not leave
this room, and neither does one that the evidence does not carry: then the finding says why it was not measured.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from runner.measure.budget import BudgetRow, Inputs, Quantity, coverage_factor
from runner.measure.conformity import FAIL, NOT_MEASURED, probability, statement
from runner.measure.edge import find_edge
from runner.measure.ramp import SETTLING, fit_ramp
from runner.measure.recording import Attempt, Declared, Recording
from runner.measure.threshold import Crossing, Threshold, find_threshold, shared

SLOWEST_LAG = 20.0  # s: by how much sensor, delay and polling may be behind the probe when a heating is given up


@dataclass(frozen=True)
class Finding:
    """The contract's finding. ``value`` None means it was not measured, or that it did not happen: ``reason`` says which.

    ``conformity`` is None where the sheet declares no limits: then no statement is made.
    """

    name: str
    protection: str
    sensor: str | None
    value: float | None
    unit: str
    expanded_uncertainty: float | None
    coverage_factor: float | None
    coverage: float
    dof: float | None
    expected: float | None
    lower: float | None
    upper: float | None
    conformity: str | None
    probability: float | None
    rule: str
    repeats: tuple[float, ...] = ()
    budget: tuple[BudgetRow, ...] = ()
    caveats: tuple[str, ...] = ()
    reason: str = ""
    fit: str = ""
    plots: tuple[Crossing, ...] = field(default=(), compare=False)

    def as_json(self) -> dict[str, Any]:
        """The finding as findings.json has it; infinite degrees of freedom become null."""
        content = asdict(self)
        del content["plots"]
        for row in content["budget"]:
            row["dof"] = _finite(row["dof"])
        content["dof"] = _finite(content["dof"])
        return content


def _finite(value: float | None) -> float | None:
    return None if value is None or math.isinf(value) else value


def findings(recording: Recording, declared: Declared) -> list[Finding]:
    """Everything the procedure wants, sensor by sensor."""
    found: list[Finding] = []
    for sensor in declared.sensors:
        found += _Sensor(recording, declared, sensor).findings()
    return found


class _Sensor:
    """The findings of one sensor: trip, release, hysteresis, delay and lag."""

    def __init__(self, recording: Recording, declared: Declared, sensor: str) -> None:
        self.recording, self.declared, self.sensor = recording, declared, sensor
        self.inputs = Inputs()
        self.common = shared(self.inputs, declared, sensor)
        self.attempts = [attempt for attempt in recording.attempts if attempt.sensor == sensor]

    def findings(self) -> list[Finding]:
        rising = "over" in self.declared.protection
        trip, trip_crossings = self._threshold("heat" if rising else "cool", "stopped")
        release, release_crossings = self._threshold("cool" if rising else "heat", "returned")
        declared = self.declared
        found = {
            "trip": lambda: self._finding(
                "trip", trip, trip_crossings, declared.trip, declared.trip_limits, "heat" if rising else "cool"
            ),
            "release": lambda: self._finding(
                "release",
                release,
                release_crossings,
                declared.release,
                declared.release_limits,
                "cool" if rising else "heat",
            ),
            "hysteresis": lambda: self._hysteresis(trip, release),
            "delay_and_lag": lambda: self._delay_and_lag(trip, trip_crossings),
        }
        return [found[name]() for name in declared.wanted]

    # ---- from attempts to thresholds -------------------------------------------------------------------------

    def _threshold(self, kind: str, wanted: str) -> tuple[Threshold | None, list[Crossing]]:
        crossings = [
            crossing
            for attempt in self.attempts
            if attempt.kind == kind and attempt.outcome == wanted
            for crossing in [self._crossing(attempt, rising=wanted == "returned")]
            if crossing is not None
        ]
        if not crossings:
            return None, []
        return find_threshold(crossings, self.declared, self.common, self.inputs), crossings

    def _crossing(self, attempt: Attempt, *, rising: bool) -> Crossing | None:
        edge = find_edge(self.recording.current, attempt.at, rising=rising)
        if edge is None:
            return None
        settled = attempt.began if attempt.ramp_began is None else attempt.ramp_began + SETTLING
        not_before = min(settled, max(edge.instant - 20.0, attempt.began))
        ramp = fit_ramp(self.recording.temperature, edge.instant, not_before, self.declared.resolution)
        return None if ramp is None else Crossing(attempt, edge, ramp)

    # ---- from thresholds to findings -------------------------------------------------------------------------

    def _finding(
        self,
        name: str,
        threshold: Threshold | None,
        crossings: Sequence[Crossing],
        expected: float | None,
        limits: tuple[float, float] | None,
        kind: str,
    ) -> Finding:
        given_up = [attempt for attempt in self.attempts if attempt.kind == kind and attempt.outcome == "gave up"]
        if given_up:
            return self._did_not(name, given_up[0], expected, limits, crossings)
        if threshold is None:
            return self._not_measured(name, "°C", self._reason(name, kind), expected, limits)
        if threshold.impossible:
            return self._not_measured(name, "°C", threshold.impossible, expected, limits)
        caveats = list(threshold.caveats)
        early = [crossing for crossing in crossings if crossing.attempt.ramp_began is None]
        if early:
            caveats.append(
                f"{len(early)} of {len(crossings)} changes came before the slow ramp began: functional, not measured slowly"
            )
        return self._measured(
            name,
            "°C",
            threshold.value,
            expected,
            limits,
            tuple(caveats),
            threshold.fit,
            tuple(crossing.ramp.temperature for crossing in crossings),
            tuple(crossings),
        )

    def _hysteresis(self, trip: Threshold | None, release: Threshold | None) -> Finding:
        if trip is None or release is None or trip.impossible or release.impossible:
            missing = "trip" if trip is None or trip.impossible else "release"
            return self._not_measured("hysteresis", "K", f"the {missing} was not measured")
        return self._measured(
            "hysteresis",
            "K",
            trip.value - release.value,
            None,
            None,
            ("the probe's error is taken to be the same at both temperatures",),
            "",
            (),
            (),
        )

    def _delay_and_lag(self, trip: Threshold | None, crossings: Sequence[Crossing]) -> Finding:
        if trip is None or trip.delay_and_lag is None or trip.impossible:
            why = (
                "the trip was not measured"
                if trip is None or trip.impossible
                else f"needs ramps at two distinct rates: {trip.fit}"
            )
            return self._not_measured("delay and lag", "s", why)
        return self._measured(
            "delay and lag",
            "s",
            trip.delay_and_lag,
            None,
            None,
            ("the pack's trip delay, half its polling period, and the lag of its sensor beyond the probe's",),
            trip.fit,
            (),
            (),
        )

    def _measured(
        self,
        name: str,
        unit: str,
        quantity: Quantity,
        expected: float | None,
        limits: tuple[float, float] | None,
        caveats: tuple[str, ...],
        fit: str,
        repeats: tuple[float, ...],
        plots: tuple[Crossing, ...],
    ) -> Finding:
        declared = self.declared
        value, u, dof = float(quantity.x), float(quantity.u), float(quantity.df)
        k = coverage_factor(dof, declared.coverage)
        lower, upper = limits if limits else (None, None)
        word = statement(value, k * u, lower, upper, declared.rule) if limits else None
        chance = probability(value, u, dof, lower, upper) if limits else None
        return Finding(
            name,
            declared.protection,
            self.sensor,
            value,
            unit,
            k * u,
            k,
            declared.coverage,
            dof,
            expected,
            lower,
            upper,
            word,
            chance,
            declared.rule,
            repeats,
            self.inputs.rows(quantity),
            caveats,
            "",
            fit,
            plots,
        )

    def _did_not(
        self,
        name: str,
        attempt: Attempt,
        expected: float | None,
        limits: tuple[float, float] | None,
        crossings: Sequence[Crossing],
    ) -> Finding:
        """It did not trip (or release) by the temperature at which it was given up. Is that enough to fail it?"""
        assert attempt.limit is not None
        declared = self.declared
        lower, upper = limits if limits else (None, None)
        margin = abs(attempt.rate) * SLOWEST_LAG + 2 * (declared.calibration[0] ** 2 + declared.coupling**2) ** 0.5
        beyond = (
            upper is not None
            and lower is not None
            and (attempt.limit - margin > upper if attempt.rate > 0 else attempt.limit + margin < lower)
        )
        word = FAIL if beyond else NOT_MEASURED
        caveats = (f"it did {len(crossings)} time(s) before",) if crossings else ()
        reason = attempt.why if beyond else f"{attempt.why}, which is too near to the limits to say more"
        return Finding(
            name,
            declared.protection,
            self.sensor,
            None,
            "°C",
            None,
            None,
            declared.coverage,
            None,
            expected,
            lower,
            upper,
            word,
            0.0 if beyond else None,
            declared.rule,
            caveats=caveats,
            reason=reason,
        )

    def _not_measured(
        self,
        name: str,
        unit: str,
        reason: str,
        expected: float | None = None,
        limits: tuple[float, float] | None = None,
    ) -> Finding:
        lower, upper = limits if limits else (None, None)
        return Finding(
            name,
            self.declared.protection,
            self.sensor,
            None,
            unit,
            None,
            None,
            self.declared.coverage,
            None,
            expected,
            lower,
            upper,
            NOT_MEASURED,
            None,
            self.declared.rule,
            reason=reason,
        )

    def _reason(self, name: str, kind: str) -> str:
        """Why there is nothing: the first thing that went wrong for this sensor, or for the whole run."""
        spoiled = [
            attempt
            for attempt in self.recording.attempts
            if attempt.outcome not in ("stopped", "returned") and attempt.sensor in (self.sensor, "")
        ]
        if spoiled:
            return spoiled[0].why
        if self.recording.ended_early:
            return f"the run ended early: {self.recording.ended_early}"
        others = [attempt for attempt in self.recording.attempts if attempt.outcome in ("tapering", "full")]
        if others:
            return others[0].why
        if any(attempt.kind == kind for attempt in self.attempts):
            return "the samples around the change are too few to evaluate"
        return "the procedure never came to it"
