"""The kinds of field that sheets are made of: quantities in SI, expressions, and the base class of every sheet.

Rule: a field that holds a quantity is a float in SI (or °C); its unit is in the field's type name and in DIMENSIONS.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo, WithJsonSchema

from runner.sheets.quantity import DIMENSIONS, Expression, QuantityError, parse_expression, parse_quantity

NAMES = "names"  # key of the validation context: the dimension of every name an expression may use


class Sheet(BaseModel):
    """Frozen, and with no room for a key nobody reads."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, coerce_numbers_to_str=True)


def _quantity(dimension: str) -> Any:
    example = DIMENSIONS[dimension][2]
    schema = {"type": "string", "description": f"a {dimension}, such as {example}", "examples": [example]}
    return Annotated[float, BeforeValidator(lambda text: parse_quantity(text, dimension)), WithJsonSchema(schema)]


def _expression(dimension: str) -> Any:
    def parse(text: object, info: ValidationInfo) -> Expression:
        names: Mapping[str, str] = (info.context or {}).get(NAMES, {})
        return parse_expression(text, dimension, names)

    example = DIMENSIONS[dimension][2]
    schema = {"type": "string", "description": f"an expression that is a {dimension}, such as {example}"}
    return Annotated[Expression, BeforeValidator(parse), WithJsonSchema(schema)]


Voltage = _quantity("voltage")
Current = _quantity("current")
Resistance = _quantity("resistance")
Charge = _quantity("charge")
Time = _quantity("time")
Energy = _quantity("energy")
Temperature = _quantity("temperature")
TemperatureDifference = _quantity("temperature difference")
Ratio = _quantity("ratio")

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
        except QuantityError as error:
            if "is wanted" not in error.what:
                raise
        else:
            return dimension
    raise QuantityError(f"{value!r} is not a value with a meaning here", "write for example 2 K/min")


AnyExpression = Annotated[
    Expression, BeforeValidator(_any_expression), WithJsonSchema({"type": "string", "description": "an expression"})
]
