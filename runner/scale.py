"""The temperature scale that people read: °C, or °F where somebody has chosen it. Records, sheets and reckoning stay in °C and K.

Rule 1: a temperature moves with the zero of its scale, a difference does not: 5 °C are 41 °F, and 5 K are 9 °F. Uncertainties,
        tolerances and rates are differences.
Rule 2: it is chosen once, by the command that a person starts; every text made from then on is in it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from enum import StrEnum

DEGREE = 1.8  # °F in a kelvin (exact: ITS-90 degrees and their definition of °F)
WHOLE_OHMS = 2000.0  # Ω: from there on the sensors of packs change by 50 Ω/K and more
ZERO = 32.0  # °F at 0 °C
READ_AS = {
    "A·s": ("Ah", 3600.0),
    "J": ("Wh", 3600.0),
    "Ω": ("mΩ", 1e-3),
}  # SI unit -> (unit of findings that people read, size)
SAME = 1e-6  # of a degree: what the computer's digits may differ by


class Scale(StrEnum):
    """The scales, by the unit as files and people type it."""

    CELSIUS = "degC"
    FAHRENHEIT = "degF"


_chosen = [Scale.CELSIUS]


def read_in(scale: str) -> None:
    """Choose what people read from now on. Raises ValueError for a scale that there is not."""
    _chosen[0] = Scale(scale)


@contextmanager
def reading_in(scale: str) -> Iterator[None]:
    """The same for a while."""
    before = _chosen[0]
    read_in(scale)
    try:
        yield
    finally:
        read_in(before)


def fahrenheit() -> bool:
    """Whether people read °F."""
    return _chosen[0] == Scale.FAHRENHEIT


def as_read(value: float, unit: str) -> tuple[float, str]:
    """(value, unit) as people read it, of a value in °C, K, K/min or K/s; other units stay as they are."""
    size, offset, name = scaled(unit)
    return value / size + offset, name


def scaled(unit: str) -> tuple[float, float, str]:
    """(size, offset, unit) with which a value in ``unit`` is read: value / size + offset."""
    if not fahrenheit() or unit not in _IN_FAHRENHEIT:
        return 1.0, 0.0, unit
    name, offset = _IN_FAHRENHEIT[unit]
    return 1.0 / DEGREE, offset, name


_IN_FAHRENHEIT = {"°C": ("°F", ZERO), "K": ("°F", 0.0), "K/min": ("°F/min", 0.0), "K/s": ("°F/s", 0.0)}


def plain(number: str) -> str:
    """A number that was put into text, without a power of ten and without a minus before zero: 1000 of 1e+03, 0.0 of -0.0."""
    number = f"{Decimal(number):f}" if "e" in number else number
    return number.removeprefix("-") if not number.strip("-0.") else number


def figures(value: float, digits: int = 6) -> str:
    """A number with at most so many significant digits, as people write numbers."""
    return plain(f"{value:.{digits}g}")


def digits_for(uncertainty: float) -> int:
    """Decimals that show an uncertainty with two significant digits."""
    return max(0, 1 - math.floor(math.log10(uncertainty))) if uncertainty > 0 else 2


def degrees(celsius: float, digits: str = ".1f") -> str:
    """A temperature in °C with its unit, as people read it."""
    value, unit = as_read(celsius, "°C")
    return f"{plain(f'{value:{digits}}')} {unit}"


def kelvins(difference: float, digits: str = ".1f") -> str:
    """A difference of temperatures in K with its unit, as people read it."""
    value, unit = as_read(difference, "K")
    return f"{plain(f'{value:{digits}}')} {unit}"


def per_minute(rate: float, digits: str = ".1f") -> str:
    """A rate in K/s with its unit, as people read it."""
    value, unit = as_read(rate * 60, "K/min")
    return f"{plain(f'{value:{digits}}')} {unit}"


def celsius(value: float) -> float:
    """°C of a temperature on the scale that people read."""
    return (value - ZERO) / DEGREE if fahrenheit() else value


def whole(temperature: float, sign: float, *, beyond: bool = False) -> float:
    """The first whole degree that people read at or after a temperature (°C) in the direction of ``sign``, in °C.

    ``beyond``: not this one itself.
    """
    value = as_read(temperature, "°C")[0]
    near = round(value)
    if abs(value - near) <= SAME:
        found = float(near) + (math.copysign(1.0, sign) if beyond else 0.0)
    else:
        found = math.ceil(value) if sign > 0 else math.floor(value)
    return celsius(found)


def resistance(ohms: float) -> str:
    """A resistance to be set, in Ω: whole ohms where these are 0.01 K of a thermistor or less, else five digits as for platinum."""
    return f"{ohms:.0f} Ω" if ohms >= WHOLE_OHMS else f"{float(f'{ohms:.5g}'):g} Ω"
