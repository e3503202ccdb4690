"""The procedure: the steps, what they need, their cautions, the ceilings, and which findings come out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Literal, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from runner.notation.fields import (
    AS_IT_WAS,
    NAMES,
    CurrentExpression,
    Ratio,
    Sheet,
    TemperatureExpression,
    Time,
    TimeExpression,
    VoltageExpression,
)
from runner.notation.problems import checked
from runner.notation.source import Source, normal_key, read
from runner.notation.wrong import Wrong
from runner.sheets.hold_steps import Text
from runner.sheets.instruments import ROLES
from runner.sheets.pack import PACK_NAMES, PackSheet
from runner.sheets.parts.protections import KINDS, Protection
from runner.sheets.steps import StepItem
from runner.sheets.tolerances import UNDER_VOLTAGE, implied_cut_off
from runner.vocabulary import Observed, Role, Until

FINDINGS: Mapping[str, frozenset[str]] = {  # finding -> the dimensions of the protection that it makes sense for
    "trip": frozenset({"temperature", "voltage", "current"}),
    "release": frozenset({"temperature", "voltage"}),
    "hysteresis": frozenset({"temperature"}),
    "delay_and_lag": frozenset({"temperature"}),
    "delay": frozenset({"temperature", "current"}),
    "recovery_time": frozenset({"voltage", "current"}),
    "wake_charge": frozenset({"voltage"}),
    "capacity": frozenset({"voltage", ""}),
    "energy": frozenset({"voltage", ""}),
    "charge_put_in": frozenset({"", "voltage"}),
    "leads": frozenset({""}),
    "meters": frozenset({""}),
}


class CeilingsSpec(Sheet):
    """Limits that end the run at once: temperature by the probe where the bench has one, voltage and current by the
    instrument whose path is on, time from the start."""

    temperature: TemperatureExpression | None = None
    voltage: VoltageExpression
    current: CurrentExpression
    time: TimeExpression


class StateOfCharge(Sheet):
    """Between which states of charge the procedure makes sense, as ratios of the rated capacity."""

    lowest: Ratio
    highest: Ratio

    @model_validator(mode="after")
    def _in_order(self, info: ValidationInfo) -> Self:
        if self.lowest > self.highest and not (info.context or {}).get(AS_IT_WAS):
            raise Wrong("lowest is more than highest", "swap them")
        return self


class Procedure(Sheet):
    """A trip-test procedure."""

    kind: Literal["procedure"]
    name: str
    title: str
    purpose: str
    protection: Literal[tuple(KINDS)] | None = None  # type: ignore[valid-type]
    needs: tuple[Literal[ROLES], ...]  # type: ignore[valid-type]
    state_of_charge: StateOfCharge | None = None
    ends: Literal["as it began", "full", "half", "empty"] = "as it began"
    duration: Time | None = None
    cautions: tuple[Text, ...] = Field(min_length=1)
    prepare: tuple[Text, ...] = ()
    ceilings: CeilingsSpec
    steps: tuple[StepItem, ...] = Field(min_length=1)
    findings: tuple[Literal[tuple(FINDINGS)], ...] = ()  # type: ignore[valid-type]

    def looks_at_condition(self) -> bool:
        """Whether it records the condition in which the pack came: that is done before anything else."""
        return any(getattr(step, "as_", "") == Observed.CONDITION for _, step in _flat(self.steps))

    def tested(self, pack: PackSheet) -> Protection | None:
        """The protection that it tests, as the pack sheet declares it.

        A capacity goes down to where the pack cuts off, whether or not the sheet says more of it than its cut-off voltage.
        """
        declared = pack.protection(self.protection or "")
        if declared is None and self.protection == UNDER_VOLTAGE and {"capacity", "energy"} & set(self.findings):
            return implied_cut_off(pack)
        return declared

    def wired(self, *, clamp: bool = False) -> frozenset[str]:
        """The roles that this procedure needs on a cable, because a person is too slow for what it does with them.

        ``clamp``: a person has a clamp to read the current of a load that they switch.
        """
        found = {"meter"} & set(self.needs)
        for kind, step in _flat(self.steps):
            if kind == "drain" and step.until != "stopped" and not clamp:
                found.add("load")
            if getattr(step, "path", "") == "discharge" or getattr(step, "drain", None) is not None:
                found.add("load")
        return frozenset(found)

    def only_by_supply(self) -> str:
        """Why a charger that a person switches cannot take the place of a supply, in words, or nothing."""
        for kind, step in _flat(self.steps):
            if kind == "charge" and step.until == Until.STOPPED:
                return "charges beyond full, which needs a supply with an address: a charger's voltage cannot be set"
            if kind in ("stage", "try") and step.path == "charge":
                return (
                    "sets the charge current, which needs a supply with an address: a charger's current cannot be set"
                )
        return ""

    @field_validator("steps")
    @classmethod
    def _needs_what_it_uses(cls, steps: tuple[StepItem, ...], info: ValidationInfo) -> tuple[StepItem, ...]:
        if "needs" not in info.data or (info.context or {}).get(AS_IT_WAS):
            return steps
        for kind, step in _flat(steps):
            if (kind in ("heat", "cool") or getattr(step, "above", None)) and Role.PROBE not in info.data["needs"]:
                raise Wrong(
                    "needs has no probe", "whoever heats or cools something needs a thermometer, so add it to needs"
                )
            missing = [role for role in _used(kind, step) if role not in info.data["needs"]]
            if missing:
                raise Wrong(f"needs has no {missing[0]}, which {kind} uses", "add it to needs")
        return steps

    @field_validator("ceilings")
    @classmethod
    def _heat_has_a_ceiling(cls, ceilings: CeilingsSpec, info: ValidationInfo) -> CeilingsSpec:
        if Role.PROBE in info.data.get("needs", ()) and ceilings.temperature is None:
            raise Wrong("temperature is missing", "whoever heats something needs a ceiling for it, such as trip + 12 K")
        return ceilings

    @model_validator(mode="before")
    @classmethod
    def _words(cls, data: Any) -> Any:
        """Names of kinds and findings may be written with spaces or hyphens, as in the text of a report."""
        if isinstance(data, dict):
            data = dict(data)
            if isinstance(data.get("protection"), str):
                data["protection"] = normal_key(data["protection"])
            if isinstance(data.get("findings"), list):
                data["findings"] = [normal_key(str(name)) for name in data["findings"]]
        return data

    @model_validator(mode="after")
    def _findings_fit(self) -> Self:
        dimension = KINDS.get(self.protection or "", "")
        for name in self.findings:
            if dimension not in FINDINGS[name]:
                what = f"a protection by {dimension}" if dimension else "a procedure without protection"
                raise Wrong(f"{name.replace('_', ' ')} is not a finding of {what}", "remove it from findings")
        return self


def _flat(items: Sequence[StepItem]) -> Iterator[tuple[str, Any]]:
    """Every step with its kind, those inside repeats too."""
    for item in items:
        kind, step = item.step()
        if kind in ("repeat", "offer"):
            yield from _flat(step.steps)
        else:
            yield kind, step


def _used(kind: str, step: Any) -> Iterator[Role]:
    """The roles that a step cannot do without, but for a thermometer."""
    path = getattr(step, "path", "")
    if kind in ("charge", "wake") or path == "charge":
        yield Role.SUPPLY
    if kind == "drain" or path == "discharge" or getattr(step, "drain", None) is not None:
        yield Role.LOAD
    if kind == "substitute":
        yield Role.BOX


def names_for(kind: str | None) -> dict[str, str]:
    """The dimension of every name an expression of a procedure for this protection (or none) may use."""
    dimension = KINDS.get(kind or "")
    if dimension is None:
        return dict(PACK_NAMES)
    of_protection = dict.fromkeys(("trip", "lowest_trip", "highest_trip", "release"), dimension)
    return {**PACK_NAMES, **of_protection, "delay": "time", "polling": "time"}


def parse_procedure(text: str, file: str, *, as_it_was: bool = False) -> Procedure:
    """A procedure from its text, dimensions checked; ``as_it_was``: also one that was run before it would have been refused.

    Raises SheetError with all that is wrong.
    """
    return parse_procedure_source(read(text, file), as_it_was=as_it_was)


def parse_procedure_source(source: Source, *, as_it_was: bool = False) -> Procedure:
    """The same, for a caller who needs the places of things later."""
    raw = source.values.get("protection") if isinstance(source.values, dict) else None
    names = names_for(normal_key(str(raw)) if raw is not None else None)
    return checked(source, Procedure, {NAMES: names, AS_IT_WAS: as_it_was})
