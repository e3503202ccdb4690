"""The steps a procedure may have, each a model here and a class in engine/steps. See procedures/README.md for their use.

Rule: every value is an expression whose dimension is checked when the file is read; every wait has an end (``give_up``).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal, Self

from pydantic import Field, ValidationInfo, ValidatorFunctionWrapHandler, model_validator

from runner.notation.fields import (
    NAMES,
    AnyExpression,
    CurrentExpression,
    RampExpression,
    Sheet,
    TemperatureExpression,
    TimeExpression,
    VoltageExpression,
    dimension_of,
)
from runner.notation.source import normal_key
from runner.notation.wrong import Wrong
from runner.sheets.hold_steps import CellsSpec, ConfirmSpec, InspectSpec, ReadSpec, Text


class ChargeSpec(Sheet):
    """Switch the supply on and charge until ``until``.

    ``steady``: the current has been at its set point for ``steady``. ``full``: it has tapered to ``end_current``.
    ``stopped``: the pack's own protection has opened the path. ``for``: a time has passed. ``beyond: voltage`` lets an
    over-voltage test set more than the sheet's full charge voltage. ``at_least``, here and in other steps: where sheet, supply or
    leads do not allow ``current``, the largest that they allow is taken, but not less than this.
    """

    voltage: VoltageExpression
    current: CurrentExpression
    at_least: CurrentExpression | None = None
    until: Literal["steady", "full", "stopped", "time"] = "steady"
    steady: TimeExpression | None = None
    end_current: CurrentExpression | None = None
    for_: TimeExpression | None = Field(default=None, alias="for")
    give_up: TimeExpression | None = None
    beyond: Literal["", "voltage"] = ""
    say: Text = ""

    @model_validator(mode="after")
    def _complete(self) -> Self:
        needed = {"steady": "steady", "full": "end_current", "time": "for_", "stopped": "give_up"}[self.until]
        if getattr(self, needed) is None:
            raise Wrong(f"charging until {self.until} needs {needed.rstrip('_')}", "add it")
        if self.until == "full" and self.give_up is None:
            raise Wrong("charging until full has no give_up", "add for example give_up: 12 h")
        return self


class DrainSpec(Sheet):
    """Switch the load on and discharge until ``until``: steady (for ``steady``), stopped by the pack, or a time (``for``).

    ``floor`` is the pack voltage under load at which a pack that does not protect itself is given up.
    """

    current: CurrentExpression
    at_least: CurrentExpression | None = None
    until: Literal["steady", "stopped", "time"] = "stopped"
    floor: VoltageExpression
    steady: TimeExpression | None = None
    for_: TimeExpression | None = Field(default=None, alias="for")
    give_up: TimeExpression | None = None
    say: Text = ""

    @model_validator(mode="after")
    def _complete(self) -> Self:
        needed = {"steady": "steady", "time": "for_", "stopped": "give_up"}[self.until]
        if getattr(self, needed) is None:
            raise Wrong(f"draining until {self.until} needs {needed.rstrip('_')}", "add it")
        return self


class StageSpec(Sheet):
    """Raise the current of a path step by step, ``dwell`` at each level, until the pack stops it (or to the end: ``done``).

    ``path`` is charge or discharge; a charge needs the supply's ``voltage``, a discharge the ``floor`` of the pack's.
    ``beyond: current`` lets an over-current test set more than the sheet's maximum.
    """

    path: Literal["charge", "discharge"]
    from_: CurrentExpression = Field(alias="from")
    to: CurrentExpression
    at_least: CurrentExpression | None = None
    step: CurrentExpression
    dwell: TimeExpression
    until: Literal["stopped", "done"] = "stopped"
    voltage: VoltageExpression | None = None
    floor: VoltageExpression | None = None
    beyond: Literal["", "current"] = ""
    say: Text = ""

    @model_validator(mode="after")
    def _complete(self) -> Self:
        needed = "voltage" if self.path == "charge" else "floor"
        if getattr(self, needed) is None:
            raise Wrong(f"stages of {self.path} need {needed}", "add it")
        return self


class RecoverSpec(Sheet):
    """Everything off; wait until the pack's terminals carry voltage again by themselves, or ``give_up`` has passed."""

    give_up: TimeExpression
    say: Text = ""


class WakeSpec(Sheet):
    """Charge gently until the pack's terminals stay up by themselves; the charge put in is counted and named.

    Passed over where the pack has come back already.
    """

    voltage: VoltageExpression
    current: CurrentExpression
    at_least: CurrentExpression | None = None
    for_: TimeExpression = Field(alias="for")
    give_up: TimeExpression
    say: Text = ""


class TrySpec(Sheet):
    """After an over-voltage or over-current trip: look again and again whether the pack takes (or gives) current.

    At each look ``path`` is switched on for ``look``; between looks the pack rests for ``pause``, or is drained with
    ``drain`` (A) for as long, so that its voltage comes down.
    """

    path: Literal["charge", "discharge"]
    current: CurrentExpression
    at_least: CurrentExpression | None = None
    voltage: VoltageExpression | None = None
    look: TimeExpression
    pause: TimeExpression
    drain: CurrentExpression | None = None
    floor: VoltageExpression
    give_up: TimeExpression
    say: Text = ""

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if self.path == "charge" and self.voltage is None:
            raise Wrong("a try to charge needs voltage", "add it")
        return self


class SubstituteSpec(Sheet):
    """A decade box in the sensor's place: set it to the resistances of ``from`` … ``to`` in steps of ``step``, ``dwell`` at
    each, until the current has stopped or returned. A single large step measures the delay alone.
    """

    from_: TemperatureExpression = Field(alias="from")
    to: TemperatureExpression
    step: AnyExpression
    dwell: TimeExpression
    until: Literal["stopped", "returned"]
    say: Text = ""

    @model_validator(mode="after")
    def _step_is_a_difference(self) -> Self:
        if self.step.dimension != "temperature difference":
            raise Wrong(f"step is a {self.step.dimension}", "write it in K, for example 0.5 K")
        return self


class _Ramp(Sheet):
    say: Text
    rate: RampExpression
    approach: TemperatureExpression
    give_up: TemperatureExpression


class HeatSpec(_Ramp):
    """Heat the sensor: freely up to ``approach``, then at ``rate``, until the current has stopped (or returned).

    At ``give_up`` it ends without.
    """

    until: Literal["stopped", "returned"] = "stopped"


class CoolSpec(_Ramp):
    """Cool the sensor: freely down to ``approach``, then at ``rate``, until the current has returned (or stopped).

    At ``give_up`` it ends without.
    """

    until: Literal["stopped", "returned"] = "returned"


class RestSpec(Sheet):
    """Everything off for a time."""

    for_: TimeExpression = Field(alias="for")
    say: Text = ""


class WaitSpec(Sheet):
    """Leave the outputs as they are, for a time or until the probe is below or above a temperature."""

    for_: TimeExpression | None = Field(default=None, alias="for")
    below: TemperatureExpression | None = None
    above: TemperatureExpression | None = None
    give_up: TimeExpression | None = None
    say: Text = ""

    @model_validator(mode="after")
    def _one_condition(self) -> Self:
        given = [item for item in (self.for_, self.below, self.above) if item is not None]
        if len(given) != 1:
            raise Wrong("wait needs exactly one of for, below, above", "for example for: 30 s")
        if self.for_ is None and self.give_up is None:
            raise Wrong("a wait for a temperature has no give_up", "add for example give_up: 20 min")
        return self


class OffSpec(Sheet):
    """Supply and load off, read back."""

    say: Text = ""


class RepeatSpec(Sheet):
    """Steps several times: for each sensor of the protection, for each of some values, or a number of times."""

    each: str = ""
    values: tuple[Any, ...] = ()
    times: int = Field(default=0, ge=0, le=50)
    steps: tuple[StepItem, ...] = Field(min_length=1)

    @model_validator(mode="wrap")
    @classmethod
    def _scope(cls, data: Any, handler: ValidatorFunctionWrapHandler, info: ValidationInfo) -> Self:
        """The loop's own name is known inside its steps and nowhere else."""
        names = (info.context or {}).get(NAMES, {})
        each = normal_key(str(data.get("each", ""))).lower() if isinstance(data, dict) else ""
        if not each or each == "sensor":
            return handler(data)  # type: ignore[no-any-return]
        if each in names:
            raise Wrong(f"{each!r} already has a meaning", "call the loop something else")
        values = data.get("values")
        dimension = dimension_of(values[0], names) if isinstance(values, list) and values else "ratio"
        names[each] = dimension
        try:
            return handler(data)  # type: ignore[no-any-return]
        finally:
            del names[each]

    @model_validator(mode="after")
    def _one_way(self, info: ValidationInfo) -> Self:
        if bool(self.each) == bool(self.times):
            raise Wrong("repeat needs either each or times", "for example times: 3")
        if self.each and self.each != "sensor" and not self.values:
            raise Wrong(f"repeat each {self.each} has no values", "add values: [1 K/min, 2 K/min]")
        if self.values:
            names = (info.context or {}).get(NAMES, {})
            dimensions = {dimension_of(value, names) for value in self.values}
            if len(dimensions) > 1:
                raise Wrong(f"the values are of different kinds ({', '.join(sorted(dimensions))})", "give one kind")
        return self


class OfferSpec(Sheet):
    """Steps that are offered to the operator where a finding of the sensor is near a limit and would gain by them."""

    say: Text
    steps: tuple[StepItem, ...] = Field(min_length=1)


class StepItem(Sheet):
    """One step: exactly one of these keys."""

    confirm: ConfirmSpec | None = None
    read: ReadSpec | None = None
    cells: CellsSpec | None = None
    inspect: InspectSpec | None = None
    charge: ChargeSpec | None = None
    drain: DrainSpec | None = None
    stage: StageSpec | None = None
    recover: RecoverSpec | None = None
    wake: WakeSpec | None = None
    try_: TrySpec | None = Field(default=None, alias="try")
    substitute: SubstituteSpec | None = None
    heat: HeatSpec | None = None
    cool: CoolSpec | None = None
    rest: RestSpec | None = None
    wait: WaitSpec | None = None
    off: OffSpec | None = None
    offer: OfferSpec | None = None
    repeat: RepeatSpec | None = None

    @model_validator(mode="before")
    @classmethod
    def _bare_word(cls, data: Any) -> Any:
        """``- off`` and ``off:`` mean ``off: {}``."""
        if isinstance(data, str):
            data = {normal_key(data): {}}
        return {key: {} if value is None else value for key, value in data.items()} if isinstance(data, dict) else data

    @model_validator(mode="after")
    def _exactly_one(self) -> Self:
        if len([True for _ in self._given()]) != 1:
            raise Wrong(
                "a step is exactly one of "
                + ", ".join(field.alias or name for name, field in type(self).model_fields.items())
                + "",
                "begin a new step with a dash",
            )
        return self

    def _given(self) -> Iterator[tuple[str, Any]]:
        for name in type(self).model_fields:
            if getattr(self, name) is not None:
                yield name, getattr(self, name)

    def step(self) -> tuple[str, Any]:
        """(kind, the step itself)."""
        name, step = next(self._given())
        return name.rstrip("_"), step


RepeatSpec.model_rebuild()  # they hold steps, which hold them
OfferSpec.model_rebuild()
