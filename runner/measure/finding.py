"""One finding: a measured quantity with its uncertainty, its limits and the statement of conformity.

A number without its budget does not leave this room, and neither does one that the evidence does not carry: then the
finding says why it was not measured.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from runner.events import CHARGE, CURRENT_OF, DISCHARGE, METER_VOLTAGE
from runner.measure.budget import MANY, BudgetRow, Inputs, Quantity, coverage_factor
from runner.measure.conformity import FAIL, NOT_MEASURED, PASS, Decision, inside, probability
from runner.measure.distribution import Distribution
from runner.measure.fits.averaging import INSTANT, Averaging
from runner.measure.fits.edge import Edge, find_edge
from runner.measure.fits.marks import marked_edge
from runner.measure.recording import Attempt, Recording, Specification
from runner.measure.threshold import Crossing
from runner.vocabulary import Outcome, Role

Limits = tuple[float | None, float | None]
WORTH_SAYING = 0.05  # s that a meter averages over
METER_OF = {CHARGE: Role.SUPPLY, DISCHARGE: Role.LOAD}  # path -> whose current readings show the change
PASSED_OUTSIDE = "outside the limits, but not far enough to be rejected by the decision rule"
EVEN = 0.5  # a chance: an interval that is wider says nothing of a pack, whatever its value
TOO_UNCERTAIN = "too uncertain to be judged by limits that are {:.3g} {} apart"
NO_VOLTMETER = "no voltmeter on the pack: a lead that came off would have looked like a trip"
NOT_REACHED = "not reached, the run ended early"  # of a sensor: why, the end of the run says once


@dataclass(frozen=True)
class Finding:
    """The contract's finding. ``value`` None means it was not measured, or that it did not happen: ``reason`` says which.

    A value that is *not measured* all the same is one whose interval is too wide for its limits.

    ``conformity`` is None where the sheet declares no limits: then no statement is made. ``functional`` says that it was seen
    to happen and in the right direction, but not measured slowly enough for more than a wide interval. ``one_more`` is the share by
    which one more repeat would make the interval smaller, where it is near a limit; else 0. ``risk`` is the one that the rule
    limits, as ``Decision.risk`` has it. ``advice`` is for who runs the bench, not for the certificate.
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
    functional: bool = False
    one_more: float = 0.0
    risk: float | None = None  # None in findings of before it was recorded
    plots: tuple[Crossing, ...] = field(default=(), compare=False)
    advice: str = ""

    @property
    def decision(self) -> Decision:
        """The rule that the statement was made by, with its numbers."""
        return Decision(self.rule, self.coverage, self.risk)

    def as_json(self) -> dict[str, Any]:
        """The finding as findings.json has it; infinite degrees of freedom become null."""
        content = asdict(self)
        del content["plots"]
        for row in content["budget"]:
            row["dof"] = _finite(row["dof"])
        content["dof"] = _finite(content["dof"])
        return content

    @classmethod
    def from_json(cls, content: dict[str, Any]) -> Finding:
        """The finding that ``as_json`` wrote. Raises KeyError or TypeError if it is none; fields of later versions are left."""
        known = {name: content[name] for name in cls.__dataclass_fields__ if name in content}
        known["dof"] = _infinite(known.get("dof"), known["value"])
        known["budget"] = tuple(BudgetRow(**{**row, "dof": _infinite(row["dof"], 0.0)}) for row in content["budget"])
        known["repeats"], known["caveats"] = tuple(content["repeats"]), tuple(content["caveats"])
        return cls(**known)


def _too_wide(value: float, spread: Distribution, expanded: float, lower: float, upper: float) -> bool:
    """Whether value ± ``expanded`` reaches between the limits, and from their middle would be outside more likely than inside."""
    reaches = value - expanded <= upper and value + expanded >= lower
    return reaches and probability((lower + upper) / 2, spread, lower, upper) < EVEN


def _finite(value: float | None) -> float | None:
    return None if value is None or math.isinf(value) else value


def _infinite(dof: float | None, value: float | None) -> float | None:
    """What became null because JSON has no infinity; a finding without a value has none."""
    return math.inf if dof is None and value is not None else dof


class Evaluator:
    """Makes the findings of one sensor, or of the pack (``sensor`` None), from one set of input quantities."""

    def __init__(self, recording: Recording, declared: Specification, sensor: str | None = None) -> None:
        self.recording, self.declared, self.sensor = recording, declared, sensor
        self.inputs = Inputs()
        self.attempts = [attempt for attempt in recording.attempts if attempt.sensor == (sensor or "")]

    def edge(self, attempt: Attempt, *, begin: float = -math.inf) -> Edge | None:
        """The instant at which an attempt's current stopped or returned, on the path of the protection."""
        if attempt.by_hand:
            return marked_edge(attempt, self.recording, self.declared)
        path = self.declared.path
        return find_edge(
            self.recording.of(CURRENT_OF[path]),
            attempt.at,
            rising=attempt.outcome == Outcome.RETURNED,
            meter=self.meter,
            begin=begin,
        )

    @property
    def meter(self) -> Averaging:
        """What is known of the window of the current readings on the path of the protection."""
        return self.declared.averaging.get(self.declared.path, INSTANT)

    def with_averaging(self, finding: Finding) -> Finding:
        """A finding that says what was found of a meter whose window nobody has declared, where it is long enough to matter."""
        meter = self.meter
        if meter.declared or not meter.found or meter.mean < WORTH_SAYING:
            return finding
        role, seconds = METER_OF[self.declared.path], f"{meter.mean:.2g} s"
        said = f"the {role}'s current readings are means over about {seconds}; this was allowed for"
        stops = f"{meter.found} stop{'s' if meter.found > 1 else ''}"
        advice = f"{role}: if its manual agrees, write averages: {seconds} in the bench file (found from {stops})"
        return replace(finding, caveats=(*finding.caveats, said), advice=advice)

    def ended(self, kind: str, outcome: str) -> list[Attempt]:
        """The attempts of a kind that ended so."""
        return [attempt for attempt in self.attempts if attempt.kind == kind and attempt.outcome == outcome]

    def measured(
        self,
        name: str,
        unit: str,
        quantity: Quantity,
        *,
        expected: float | None = None,
        limits: Limits | None = None,
        caveats: tuple[str, ...] = (),
        fit: str = "",
        repeats: tuple[float, ...] = (),
        plots: tuple[Crossing, ...] = (),
        functional: bool = False,
        one_more: float = 0.0,
    ) -> Finding:
        """A finding with a value. ``limits``: (lowest, highest), None for no limit on that side."""
        decision = self.declared.decision
        value, u = float(quantity.x), float(quantity.u)
        spread = self.inputs.distribution(quantity)
        expanded = spread.half_width(decision.coverage)
        lower, upper = limits if limits else (None, None)
        caveats = self._with_assumption(name, caveats)
        word = decision.statement(value, spread, lower, upper) if limits else None
        reason = ""
        if word == PASS and not inside(value, lower, upper):
            caveats = (*caveats, PASSED_OUTSIDE)
        elif lower is not None and upper is not None and _too_wide(value, spread, expanded, lower, upper):
            word, reason = NOT_MEASURED, TOO_UNCERTAIN.format(upper - lower, unit.replace("°C", "K"))
            caveats = (*caveats, reason)
        return Finding(
            name,
            self.declared.protection,
            self.sensor,
            value,
            unit,
            expanded,
            expanded / u if u > 0 else coverage_factor(MANY, decision.coverage),
            decision.coverage,
            float(quantity.df),
            expected,
            lower,
            upper,
            word,
            probability(value, spread, lower, upper) if limits else None,
            decision.rule,
            repeats,
            self.inputs.rows(quantity),
            caveats,
            reason,
            fit,
            functional,
            one_more,
            decision.risk,
            plots,
        )

    def missing(
        self,
        name: str,
        unit: str,
        reason: str,
        *,
        expected: float | None = None,
        limits: Limits | None = None,
        failed: bool = False,
        caveats: tuple[str, ...] = (),
    ) -> Finding:
        """A finding without a value: it was not measured, or (``failed``) what should have happened did not."""
        lower, upper = limits if limits else (None, None)
        caveats = self._with_assumption(name, caveats)
        return Finding(
            name,
            self.declared.protection,
            self.sensor,
            None,
            unit,
            None,
            None,
            self.declared.decision.coverage,
            None,
            expected,
            lower,
            upper,
            FAIL if failed else NOT_MEASURED,
            0.0 if failed else None,
            self.declared.decision.rule,
            caveats=caveats,
            reason=reason,
            risk=self.declared.decision.risk,
        )

    @property
    def about_leads(self) -> tuple[str, ...]:
        """That nothing on this bench tells a lead that came off from a pack that opened its path."""
        return () if len(self.recording.of(METER_VOLTAGE)) else (NO_VOLTMETER,)

    def _with_assumption(self, name: str, caveats: tuple[str, ...]) -> tuple[str, ...]:
        assumed = self.declared.assumed
        return (assumed, *caveats) if assumed and name in ("trip", "release") else caveats

    def reason(self, *kinds: str) -> str:
        """Why there is nothing: the first thing that went wrong here, or for the whole run."""
        good = (Outcome.STOPPED, Outcome.RETURNED, Outcome.FULL, Outcome.DONE)
        spoiled = [
            attempt
            for attempt in self.recording.attempts
            if attempt.outcome not in good and attempt.sensor in (self.sensor or "", "")
        ]
        if spoiled:
            return spoiled[0].why
        if self.recording.ended_early:
            begun = not self.sensor or any(attempt.sensor == self.sensor for attempt in self.recording.attempts)
            return f"the run ended early: {self.recording.ended_early}" if begun else NOT_REACHED
        others = [attempt for attempt in self.recording.attempts if attempt.outcome in (Outcome.TAPERING, Outcome.FULL)]
        if others and self.sensor:
            return others[0].why
        if any(attempt.kind in kinds for attempt in self.attempts):
            return "too few samples around the change"
        return "this step was not reached"
