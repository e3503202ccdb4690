"""A temperature sensor's curve: resistance at a temperature, and temperature from a resistance.

Sources: the B-parameter equation R = R25·exp(B·(1/T − 1/298.15 K)) and the Steinhart–Hart equation
1/T = A + B·ln R + C·(ln R)³ (R in Ω, T in K) are common practice for NTC thermistors; a table is read with ln R a straight
line in 1/T between its rows, which is the B-parameter equation from row to row.
"""

from __future__ import annotations

import itertools
import math
from bisect import bisect_left
from typing import Self

from pydantic import Field, ValidationInfo, model_validator

from runner.notation.fields import AS_IT_WAS, PositiveResistance, Sheet, Temperature, TemperatureDifference
from runner.notation.quantity import minus
from runner.notation.wrong import Wrong
from runner.scale import figures

ZERO = 273.15  # K at 0 °C
AT_25 = 298.15  # K
SENSORS_HAVE = (0.1, 1e10)  # Ω that a sensor has at the very least and most (common practice, no source)
FROM_THE_DATA_SHEET = "write A, B and C of its data sheet, such as [1.1e-3, 2.4e-4, 8e-8]"


class Curve(Sheet):
    """One of: ``resistance_at_25`` with ``b``; Steinhart–Hart ``coefficients`` [A, B, C]; ``table`` of [°C, Ω] rows."""

    resistance_at_25: PositiveResistance | None = None
    b: TemperatureDifference | None = Field(default=None, gt=0)
    coefficients: tuple[float, float, float] | None = None
    table: tuple[tuple[Temperature, PositiveResistance], ...] | None = None

    @model_validator(mode="after")
    def _one_of_three(self, info: ValidationInfo) -> Self:
        given = [self.b is not None, self.coefficients is not None, self.table is not None]
        if sum(given) != 1:
            raise Wrong("a curve is one of b, coefficients, table", "keep the one from the sensor's data sheet")
        if (self.b is None) != (self.resistance_at_25 is None):
            raise Wrong("b and resistance_at_25 belong together", "give both")
        if self.table is not None:
            temperatures, resistances = zip(*self.table, strict=True) if self.table else ((), ())
            if len(temperatures) < 2 or list(temperatures) != sorted(set(temperatures)):
                raise Wrong("the table needs at least two rows, temperatures rising", "sort it")
            steps = [b - a for a, b in itertools.pairwise(resistances)]
            if not (all(step < 0 for step in steps) or all(step > 0 for step in steps)):
                raise Wrong("the table's resistances do not all rise or all fall", "correct the row that stands out")
        if self.coefficients is not None and not (info.context or {}).get(AS_IT_WAS):
            self._check_coefficients(self.coefficients)
        return self

    def _check_coefficients(self, coefficients: tuple[float, float, float]) -> None:
        """Raises Wrong where no thermistor has them."""
        if not all(map(math.isfinite, coefficients)):
            raise Wrong("the coefficients are not all numbers", FROM_THE_DATA_SHEET, "coefficients")
        if coefficients[1] <= 0:
            what = f"B is {minus(f'{coefficients[1]:g}')}: the resistance would not fall as the temperature rises"
            raise Wrong(what, FROM_THE_DATA_SHEET, "coefficients")
        if why := self.no_sensor(25.0):
            raise Wrong(why, FROM_THE_DATA_SHEET, "coefficients")

    @property
    def given_by(self) -> str:
        """The key that says what the curve is."""
        return "coefficients" if self.coefficients is not None else "table" if self.table is not None else "b"

    def no_sensor(self, temperature: float) -> str:
        """Why the curve cannot be that of a sensor that is used at a temperature (°C); nothing where it can."""
        least, most = SENSORS_HAVE
        try:
            ohms = self.resistance(temperature)
        except ValueError:
            shown = "no resistance"
        else:
            if least <= ohms <= most:
                return ""
            shown = f"less than {least:g} Ω" if ohms < least else f"more than {most / 1e9:g} GΩ"
        return f"{shown} at {minus(figures(temperature))} °C by {self.given_by}: no sensor has that"

    def resistance(self, temperature: float) -> float:
        """Ω at °C. Raises ValueError outside a table, and where b or the coefficients give none."""
        if self.table is None:
            return self._by_equation(temperature)
        (t0, r0), (t1, r1) = self._rows([t for t, _ in self.table], temperature, "°C")
        part = (1 / (temperature + ZERO) - 1 / (t0 + ZERO)) / (1 / (t1 + ZERO) - 1 / (t0 + ZERO))
        return math.exp(math.log(r0) + part * (math.log(r1) - math.log(r0)))

    def _by_equation(self, temperature: float) -> float:
        try:
            if self.b is not None and self.resistance_at_25 is not None:
                ohms = float(self.resistance_at_25) * math.exp(float(self.b) * (1 / (temperature + ZERO) - 1 / AT_25))
            else:
                assert self.coefficients is not None
                ohms = _steinhart_hart_resistance(self.coefficients, temperature + ZERO)
        except (ArithmeticError, ValueError):
            ohms = math.nan
        if not 0.0 < ohms < math.inf:
            what = "b describes" if self.coefficients is None else "coefficients describe"
            raise ValueError(f"{temperature:g} °C is outside what the sensor's {what}")
        return ohms

    def temperature(self, resistance: float) -> float:
        """°C at Ω. Raises ValueError outside a table and for a resistance that is not positive."""
        if resistance <= 0:
            raise ValueError(f"{resistance:g} Ω is not a possible sensor resistance")
        if self.b is not None and self.resistance_at_25 is not None:
            return 1 / (1 / AT_25 + math.log(resistance / float(self.resistance_at_25)) / float(self.b)) - ZERO
        if self.coefficients is not None:
            a, b, c = self.coefficients
            log = math.log(resistance)
            inverse = a + b * log + c * log**3
            if inverse <= 0 or b + 3 * c * log**2 <= 0:
                raise ValueError(f"{resistance:g} Ω is outside what the sensor's coefficients describe")
            return 1 / inverse - ZERO
        assert self.table is not None
        falling = self.table[0][1] > self.table[-1][1]
        (t0, r0), (t1, r1) = self._rows(
            [-r if falling else r for _, r in self.table], -resistance if falling else resistance, "Ω"
        )
        part = (math.log(resistance) - math.log(r0)) / (math.log(r1) - math.log(r0))
        return 1 / (1 / (t0 + ZERO) + part * (1 / (t1 + ZERO) - 1 / (t0 + ZERO))) - ZERO

    def slope(self, temperature: float) -> float:
        """dR/dT in Ω/K at °C, by a central difference of 0.1 K (inwards at the ends of a table)."""
        low, high = temperature - 0.05, temperature + 0.05
        if self.table is not None:
            low, high = max(low, self.table[0][0]), min(high, self.table[-1][0])
        return (self.resistance(high) - self.resistance(low)) / (high - low)

    def _rows(self, keys: list[float], key: float, unit: str) -> tuple[tuple[float, float], tuple[float, float]]:
        assert self.table is not None
        if not keys[0] <= key <= keys[-1]:
            raise ValueError(f"{abs(key):g} {unit} is outside the sensor's table")
        index = min(max(bisect_left(keys, key), 1), len(keys) - 1)
        return self.table[index - 1], self.table[index]


def _steinhart_hart_resistance(coefficients: tuple[float, float, float], kelvin: float) -> float:
    """The exact solution of the cubic C·x³ + B·x + (A − 1/T) = 0 in x = ln R, for B positive.

    With C below zero (a fit through three points may have it) there are three, and the one between both bends of the curve is the
    sensor's. Raises ValueError or ArithmeticError where there is none.
    """
    a, b, c = coefficients
    if c == 0:
        return math.exp((1 / kelvin - a) / b)
    p, q = b / c, (a - 1 / kelvin) / c
    if c < 0:
        bend = math.sqrt(-p / 3)
        if abs(q) > 2 * bend**3:
            raise ValueError(f"{kelvin:g} K is beyond a bend of the curve")
        return math.exp(2 * bend * math.sin(math.asin(q / (2 * bend**3)) / 3))
    root = math.sqrt((p / 3) ** 3 + (q / 2) ** 2)
    return math.exp(math.cbrt(root - q / 2) - math.cbrt(root + q / 2))
