"""The kinds of field that sheets are made of: quantities in SI, expressions, and the base class of every sheet.

Rule: a field that holds a quantity is a float in SI (or °C); its unit is in the field's type name and in DIMENSIONS.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo, WithJsonSchema

from runner.sheets.quantity import DIMENSIONS, Expression, parse_expression, parse_quantity

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
Temperature = _quantity("temperature")
TemperatureDifference = _quantity("temperature difference")
Ratio = _quantity("ratio")

VoltageExpression = _expression("voltage")
CurrentExpression = _expression("current")
TemperatureExpression = _expression("temperature")
RampExpression = _expression("ramp rate")
TimeExpression = _expression("time")
