"""The procedure: the steps, what they need, their cautions, the ceilings, and which findings come out."""

from __future__ import annotations

import string
from collections.abc import Iterator
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, Field, ValidationInfo, ValidatorFunctionWrapHandler, model_validator

from runner.sheets.bench import ROLES
from runner.sheets.fields import (
    NAMES,
    CurrentExpression,
    RampExpression,
    Ratio,
    Sheet,
    TemperatureExpression,
    Time,
    TimeExpression,
    VoltageExpression,
)
from runner.sheets.pack import KINDS, PACK_NAMES
from runner.sheets.problems import checked
from runner.sheets.quantity import QuantityError, parse_expression
from runner.sheets.source import Source, normal_key, read

TEXT_NAMES = {"sensor": "text", "place": "text"}
FINDINGS = ("trip", "release", "hysteresis", "delay_and_lag")


def _check_text(text: str, info: ValidationInfo) -> str:
    known = {*(info.context or {}).get(NAMES, {}), *TEXT_NAMES}
    try:
        wanted = [normal_key(name) for _, name, _, _ in string.Formatter().parse(text) if name is not None]
    except ValueError as error:
        raise ValueError(f"the braces in the text do not match ({error}); write {{trip}} for a value") from error
    for name in wanted:
        if name not in known:
            raise ValueError(f"{{{name}}} is not known here; known are {', '.join(sorted(known))}")
    return text


Text = Annotated[str, AfterValidator(_check_text)]


class Confirm(Sheet):
    """A hold point: nothing goes on until a person has said so. ``record`` is what is written down about it."""

    say: Text
    record: str = ""


class Charge(Sheet):
    """Switch the supply on and wait until the current has been steady at its set point for ``steady``."""

    voltage: VoltageExpression
    current: CurrentExpression
    steady: TimeExpression
    say: Text = ""
    give_up: TimeExpression | None = None


class _Ramp(Sheet):
    say: Text
    rate: RampExpression
    approach: TemperatureExpression
    give_up: TemperatureExpression


class Heat(_Ramp):
    """Heat the sensor: freely up to ``approach``, then at ``rate``, until the charge current stops or ``give_up`` is reached."""

    until: Literal["stopped"] = "stopped"


class Cool(_Ramp):
    """Cool the sensor: freely down to ``approach``, then at ``rate``, until the current returns or ``give_up`` is reached."""

    until: Literal["returned"] = "returned"


class Rest(Sheet):
    """Everything off for a time."""

    for_: TimeExpression = Field(alias="for")
    say: Text = ""


class Wait(Sheet):
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
            raise ValueError("wait needs exactly one of for, below, above; for example for: 30 s")
        if self.for_ is None and self.give_up is None:
            raise ValueError("a wait for a temperature has no give_up; add for example give_up: 20 min")
        return self


class Off(Sheet):
    """Supply and load off, read back."""

    say: Text = ""


class Repeat(Sheet):
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
        each = normal_key(str(data.get("each", ""))) if isinstance(data, dict) else ""
        if not each or each == "sensor":
            return handler(data)  # type: ignore[no-any-return]
        if each in names:
            raise ValueError(f"{each!r} already has a meaning; call the loop something else")
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
            raise ValueError("repeat needs either each or times; for example times: 3")
        if self.each and self.each != "sensor" and not self.values:
            raise ValueError(f"repeat each {self.each} has no values; add values: [1 K/min, 2 K/min]")
        if self.values:
            names = (info.context or {}).get(NAMES, {})
            dimensions = {dimension_of(value, names) for value in self.values}
            if len(dimensions) > 1:
                raise ValueError(f"the values are of different kinds ({', '.join(sorted(dimensions))}); give one kind")
        return self


def dimension_of(value: object, names: dict[str, str]) -> str:
    """The dimension of an expression a loop goes over. Raises QuantityError if it has none of those that make sense."""
    for dimension in ("ramp rate", "temperature", "current", "voltage", "time", "temperature difference", "ratio"):
        try:
            parse_expression(value, dimension, names)
        except QuantityError as error:
            if "is wanted" not in error.what:
                raise
        else:
            return dimension
    raise QuantityError(f"{value!r} is not a value one can repeat over", "write for example 2 K/min")


class StepItem(Sheet):
    """One step: exactly one of these keys."""

    confirm: Confirm | None = None
    charge: Charge | None = None
    heat: Heat | None = None
    cool: Cool | None = None
    rest: Rest | None = None
    wait: Wait | None = None
    off: Off | None = None
    repeat: Repeat | None = None

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
            raise ValueError(
                "a step is exactly one of " + ", ".join(type(self).model_fields) + "; begin a new step with a dash"
            )
        return self

    def _given(self) -> Iterator[tuple[str, Any]]:
        for name in type(self).model_fields:
            if getattr(self, name) is not None:
                yield name, getattr(self, name)

    def step(self) -> tuple[str, Any]:
        """(kind, the step itself)."""
        return next(self._given())


Repeat.model_rebuild()  # it holds steps, which hold repeats


class Ceilings(Sheet):
    """Limits that end the run at once. Temperature by the probe, voltage and current by the supply, time from the start."""

    temperature: TemperatureExpression
    voltage: VoltageExpression
    current: CurrentExpression
    time: TimeExpression


class StateOfCharge(Sheet):
    """Between which states of charge the procedure makes sense, as ratios of the rated capacity."""

    lowest: Ratio
    highest: Ratio


class Procedure(Sheet):
    """A trip-test procedure."""

    kind: Literal["procedure"]
    name: str
    title: str
    purpose: str
    protection: Literal[tuple(KINDS)]  # type: ignore[valid-type]
    needs: tuple[Literal[ROLES], ...]  # type: ignore[valid-type]
    state_of_charge: StateOfCharge | None = None
    duration: Time | None = None
    cautions: tuple[str, ...] = Field(min_length=1)
    prepare: tuple[str, ...] = ()
    ceilings: Ceilings
    steps: tuple[StepItem, ...] = Field(min_length=1)
    findings: tuple[Literal[FINDINGS], ...] = Field(min_length=1)  # type: ignore[valid-type]

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


def names_for(kind: str) -> dict[str, str]:
    """The dimension of every name an expression of a procedure for this protection may use."""
    dimension = KINDS.get(kind, "temperature")
    return {**PACK_NAMES, "trip": dimension, "release": dimension, "delay": "time", "polling": "time"}


def parse_procedure(text: str, file: str) -> Procedure:
    """A procedure from its text, dimensions checked. Raises SheetError with all that is wrong."""
    return parse_procedure_source(read(text, file))


def parse_procedure_source(source: Source) -> Procedure:
    """The same, for a caller who needs the places of things later."""
    raw = source.values.get("protection") if isinstance(source.values, dict) else None
    return checked(source, Procedure, {NAMES: names_for(normal_key(str(raw)))})
