"""The kinds of field that sheets are made of: quantities in SI, expressions, and the base class of every sheet.

Rule 1: a field that holds a quantity is a float in SI (or °C); its unit is in the field's type name and in DIMENSIONS.
Rule 2: every quantity is finite and has the sign it must have: nothing here is negative but a temperature, and what has to be
        there at all is more than zero. A typing slip is carried out to the letter otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo, WithJsonSchema

from runner.notation.quantity import (
    DIMENSIONS,
    EXPRESSION_PATTERN,
    Expression,
    QuantityError,
    WrongDimension,
    parse_expression,
    parse_quantity,
    quantity_pattern,
    shown,
)

WIDEST_SENSOR_LIMITS = (-60.0, 150.0)  # what it may say at most
ABSOLUTE_ZERO = -273.15  # °C
YES_NO = {"yes": True, "true": True, "no": False, "false": False}
AS_IT_WAS = "as it was"  # key of the validation context: what was once run is read, whatever would be refused today
NAMES = "names"  # key of the validation context: the dimension of every name an expression may use


class Sheet(BaseModel):
    """Frozen, and with no room for a key nobody reads."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, coerce_numbers_to_str=True)


def _quantity(
    dimension: str, *, above: float | None = None, least: float | None = 0.0, most: float | None = None
) -> Any:
    """A field of a dimension; its value in SI (or °C) is more than ``above``, or at least ``least``, and at most ``most``."""
    example = DIMENSIONS[dimension][2]
    signed = dimension == "temperature" or (above is None and (least is None or least < 0))
    schema: dict[str, Any] = {
        "type": "string",
        "description": f"a {dimension}, such as {example}",
        "examples": [example],
        "pattern": quantity_pattern(dimension, signed=signed, zero=above is None),
    }
    if dimension == "ratio":
        number: dict[str, Any] = {"type": "number", "minimum": 0} | ({} if most is None else {"maximum": most})
        schema = {"description": schema.pop("description"), "anyOf": [number, schema]}

    def parse(text: object, info: ValidationInfo) -> float:
        value = parse_quantity(text, dimension)
        if (info.context or {}).get(AS_IT_WAS):
            return value
        if above is not None and not value > above:
            raise QuantityError(f"{text} is not more than {shown(above, dimension)}", f"write it like {example}")
        if above is None and least is not None and not value >= least:
            raise QuantityError(
                f"{text} is less than {shown(least, dimension)}", f"write at least {shown(least, dimension)}"
            )
        if most is not None and not value <= most:
            raise QuantityError(
                f"{text} is more than {shown(most, dimension)}", f"write at most {shown(most, dimension)}"
            )
        return value

    return Annotated[float, BeforeValidator(parse), WithJsonSchema(schema)]


def _share(name: str, least: float, most: float, example: str) -> Any:
    """A ratio between two that make sense, said by its name where it is not between them."""
    between = f"{100 * least:g} % to {100 * most:g} %"
    text_schema = {"type": "string", "pattern": quantity_pattern("ratio", signed=False, zero=False)}
    schema: dict[str, Any] = {
        "description": f"a {name}, {between}, such as {example}",
        "examples": [example],
        "anyOf": [{"type": "number", "minimum": least, "maximum": most}, text_schema],
    }

    def parse(text: object, info: ValidationInfo) -> float:
        value = parse_quantity(text, "ratio")
        as_it_was = (info.context or {}).get(AS_IT_WAS) and 0.0 < value < 1.0
        if not least <= value <= most and not as_it_was:
            raise QuantityError(f"a {name} of {text} makes no sense", f"write {between}, for example {example}")
        return value

    return Annotated[float, BeforeValidator(parse), WithJsonSchema(schema)]


def _expression(dimension: str) -> Any:
    def parse(text: object, info: ValidationInfo) -> Expression:
        names: Mapping[str, str] = (info.context or {}).get(NAMES, {})
        return parse_expression(text, dimension, names)

    example = DIMENSIONS[dimension][2]
    schema = {
        "type": "string",
        "description": f"an expression that is a {dimension}, such as {example}",
        "pattern": EXPRESSION_PATTERN,
    }
    return Annotated[Expression, BeforeValidator(parse), WithJsonSchema(schema)]


Voltage = _quantity("voltage")
Current = _quantity("current")
Resistance = _quantity("resistance")
Charge = _quantity("charge")
Time = _quantity("time")
Energy = _quantity("energy")
Temperature = _quantity("temperature", least=ABSOLUTE_ZERO, most=2000.0)
TemperatureDifference = _quantity("temperature difference")
SensorLimit = _quantity("temperature", least=WIDEST_SENSOR_LIMITS[0], most=WIDEST_SENSOR_LIMITS[1])
Ratio = _quantity("ratio", most=1.0)
Coverage = _share("coverage", 0.5, 0.999, "95 %")
MaximumRisk = _share("maximum risk", 0.001, 0.5, "5 %")
SignedVoltage = _quantity("voltage", least=-math.inf)
SignedCurrent = _quantity("current", least=-math.inf)
SignedDifference = _quantity("temperature difference", least=-math.inf)
PositiveVoltage = _quantity("voltage", above=0.0)
PositiveCurrent = _quantity("current", above=0.0)
PositiveResistance = _quantity("resistance", above=0.0)
PositiveCharge = _quantity("charge", above=0.0)
PositiveEnergy = _quantity("energy", above=0.0)
PositiveTime = _quantity("time", above=0.0)
PositiveRate = _quantity("ramp rate", above=0.0)
PositiveDifference = _quantity("temperature difference", above=0.0)
GuardPatience = _quantity("time", least=1.0, most=30.0)
Timeout = _quantity("time", least=0.01, most=60.0)
Pause = _quantity("time", most=10.0)

RetryInterval = _quantity("time", least=3.0, most=3600.0)


def _where(dimension: str, one: Any) -> Any:
    """Whether something is done, and from which values on, where that is known: yes, a value, or several. None is no."""
    example = DIMENSIONS[dimension][2]
    value = {"type": "string", "description": f"a {dimension}, such as {example}"}
    schema = {"anyOf": [{"type": "boolean"}, value, {"type": "array", "items": value}, {"type": "null"}]}

    def listed(said: object) -> object:
        said = YES_NO.get(said.lower(), said) if isinstance(said, str) else said
        if isinstance(said, bool) or said is None:
            return () if said else None
        return said if isinstance(said, list | tuple) else (said,)

    return Annotated[tuple[one, ...] | None, BeforeValidator(listed), WithJsonSchema(schema)]


DeratingTemperatures = _where("temperature", Temperature)
DeratingVoltages = _where("voltage", PositiveVoltage)

VoltageExpression = _expression("voltage")
CurrentExpression = _expression("current")
TemperatureExpression = _expression("temperature")
RampExpression = _expression("ramp rate")
TimeExpression = _expression("time")
ChargeExpression = _expression("charge")


def _any_expression(text: object, info: ValidationInfo) -> Expression:
    """An expression of whatever dimension it has; a plain number is a ratio."""
    names: Mapping[str, str] = (info.context or {}).get(NAMES, {})
    return parse_expression(text, dimension_of(text, names), names)


def dimension_of(value: object, names: Mapping[str, str]) -> str:
    """The dimension of an expression that may be of any. Raises QuantityError if it has none that is used here."""
    for dimension in DIMENSIONS:
        try:
            parse_expression(value, dimension, names)
        except WrongDimension:
            continue
        else:
            return dimension
    raise QuantityError(f"{value!r} is not a value with a meaning here", "write for example 2 K/min")


AnyExpression = Annotated[
    Expression,
    BeforeValidator(_any_expression),
    WithJsonSchema({"type": ["string", "number"], "description": "an expression"}),
]
