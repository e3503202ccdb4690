"""Quantities with units, and the small expressions a procedure is written in. The only module that knows the unit library.

Rule 1: a number without a unit is not a quantity. ``5`` is an error where ``5 A`` is meant.
Rule 2: temperatures are written in degC, temperature differences in K; the two are never mixed up, because
        ``trip + 8 K`` has a meaning and ``trip + 8 degC`` has not.
Rule 3: inside the program everything is SI and °C: V, A, Ω, W, A·s, J, s, °C, K, K/s, and plain ratios.
Rule 4: ``0.1 C`` is a charge or discharge rate, a multiple of the rated capacity per hour (as cells are rated);
        it becomes a current as soon as the pack is known.
Rule 5: the dimension of an expression is checked when the file is read, never when the step runs.
"""

from __future__ import annotations

import contextlib
import difflib
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Any

from runner.scale import degrees, figures, kelvins, per_minute

# dimension -> (SI unit as pint writes it, how it is printed, an example for messages)
DIMENSIONS: dict[str, tuple[str, str, str]] = {
    "voltage": ("volt", "V", "29.2 V"),
    "current": ("ampere", "A", "4 A"),
    "resistance": ("ohm", "Ω", "12 mohm"),
    "power": ("watt", "W", "460 W"),
    "charge": ("ampere * second", "A·s", "40 Ah"),
    "energy": ("joule", "J", "1024 Wh"),
    "time": ("second", "s", "30 s"),
    "temperature": ("degC", "°C", "55 degC"),
    "temperature difference": ("kelvin", "K", "2 K"),
    "ramp rate": ("kelvin / second", "K/s", "2 K/min"),
    "ratio": ("dimensionless", "", "0.1 %"),
}

# what a step sets or waits has to be more than nothing
POSITIVE = ("voltage", "current", "time", "ramp rate", "charge", "power", "energy", "resistance")
_PRODUCTS = {
    ("current", "time"): "charge",
    ("current", "voltage"): "power",
    ("current", "resistance"): "voltage",
    ("power", "time"): "energy",
    ("ramp rate", "time"): "temperature difference",
    ("charge", "voltage"): "energy",
}
_SECONDS_PER_HOUR = 3600.0
LARGEST = 1e15  # in any unit: a sum of such numbers is still a number


LONGEST = 200  # characters of an expression


class QuantityError(ValueError):
    """A quantity or expression that cannot be. ``offset`` counts characters from its beginning; ``remedy`` says what can."""

    def __init__(self, what: str, remedy: str, offset: int = 0) -> None:
        super().__init__(what)
        self.what, self.remedy, self.offset = what, remedy, offset


class WrongDimension(QuantityError):
    """A quantity or expression of another dimension than is wanted."""


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint  # 0.3 s to import: only when a sheet is really read

    registry: Any = pint.UnitRegistry()
    registry.define("Ah = ampere * hour")
    registry.define("mAh = 1e-3 * ampere * hour")
    registry.define("Wh = watt * hour")
    return registry


@lru_cache(maxsize=256)
def _unit(text: str) -> tuple[str, float]:
    """(dimension, factor to SI) of a unit such as ``K/min``. ``degC`` alone is a temperature."""
    if text in ("degC", "°C"):
        return "temperature", 1.0
    if text == "%":
        return "ratio", 0.01
    if any(each in text for each in ("degF", "°F", "fahrenheit", "degR", "rankine")):
        raise QuantityError(
            f"{text!r} is not used in these files", "write degC for a temperature and K for a difference"
        )
    registry = _registry()
    spelled = text.replace("°C", "delta_degC").replace("degC", "delta_degC").replace("Ω", "ohm").replace("·", "*")
    try:
        quantity = registry.Quantity(1.0, spelled)
    except Exception as error:
        raise QuantityError(f"{text!r} is not a unit", "write for example V, A, Ah, K/min, degC, s, min, %") from error
    for dimension, (si_unit, _, _) in DIMENSIONS.items():
        if dimension != "temperature" and quantity.check(registry.Unit(si_unit).dimensionality):
            return dimension, float(quantity.to(si_unit).magnitude)
    raise QuantityError(f"{text!r} is not a unit used here", "write for example V, A, Ah, K/min, degC, s, min, %")


_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_UNIT = r"(?:°C|[A-Za-zµΩ%°][A-Za-z0-9µΩ°]*)(?:[/*·^][A-Za-z0-9µΩ°]+)*|%"
_QUANTITY = re.compile(rf"\s*({_NUMBER})\s*({_UNIT})?\s*$")


# for editors: no more than what can be told without the unit library
EXPRESSION_PATTERN = r"^[\sA-Za-z0-9_.%°µΩ·^/*()+−-]{1,200}$"
_OF_OTHERS: Mapping[str, str] = {
    "voltage": "[kmµu]?V",
    "current": "[kmµu]?A|C",
    "resistance": "[kmµu]?(ohm|Ω)",
    "power": "[kmµu]?W",
    "charge": "m?Ah|A·s|A\\*s",
    "energy": "[kmµu]?(Wh|J)",
    "time": "[mµu]?s|min|h",
    "temperature": "degC|°C",
    "temperature difference": "m?K",
    "ramp rate": "m?K/(s|min|h)",
    "ratio": "%",
}


def quantity_pattern(dimension: str, *, signed: bool, zero: bool) -> str:
    """A pattern for editors: a number with a unit that is not one of the usual units of another dimension.

    ``signed``: it may be below zero; ``zero``: it may be zero.
    """
    others = "|".join(units for other, units in _OF_OTHERS.items() if other != dimension)
    sign, none = "[+-]?" if signed else "\\+?", "" if zero else r"(?!\s*\+?0*\.?0*([eE][+-]?\d+)?\s*([^\d.eE\s]|$))"
    if zero and not signed:
        sign = r"(\+|-(?=0*\.?0*([eE][+-]?\d+)?\s*([^\d.eE\s]|$)))?"  # minus nothing is nothing
    unit = rf"(?!({others})\s*$)({_UNIT})"
    optional = "?" if dimension == "ratio" else ""
    return rf"^{none}\s*{sign}(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*({unit}){optional}\s*$"


def parse_quantity(text: object, dimension: str) -> float:
    """Value in SI (or °C) of ``"2 K/min"`` and the like.

    Raises QuantityError if it is no number with a unit, or the unit is of another dimension than asked for.
    """
    example = DIMENSIONS[dimension][2]
    if dimension == "ratio" and isinstance(text, int | float) and not isinstance(text, bool):
        return _finite(str(text), 0)
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise QuantityError(f"{_shown(text)} is not a {dimension}", f"write it like {example}")
    match = _QUANTITY.match(str(text))
    if not match:
        if re.fullmatch(r"\s*[+-]?\d+,\d+\s*\D*", str(text)):
            raise QuantityError(f"{text!r} has a decimal comma", f"write {str(text).strip().replace(',', '.')}")
        raise QuantityError(f"{text!r} is not a number with a unit", f"write it like {example}")
    number, unit = _finite(match[1], 0), match[2]
    if not unit:
        if dimension == "ratio":
            return number
        raise QuantityError(f"{text} has no unit", f"write {str(text).strip()} {example.split()[-1]}")
    found, factor = _unit(unit)
    _check_dimension(str(text).strip(), found, dimension)
    return number * factor


def _finite(text: str, at: int) -> float:
    """The number, if it is one that can be reckoned with. Raises QuantityError."""
    try:
        number = float(text)
    except (ValueError, OverflowError):
        number = math.inf
    if not abs(number) < LARGEST:
        raise QuantityError(f"{text[:40]} is not a usable number", "write a value that a meter can show", at)
    return number


def _check_dimension(text: str, found: str, wanted: str) -> None:
    if found == wanted:
        return
    example = DIMENSIONS[wanted][2]
    if {found, wanted} == {"temperature", "temperature difference"}:
        kind = "temperatures are written in degC, differences in K"
        raise WrongDimension(f"{text} is a {found}; a {wanted} is needed", f"{kind}, like {example}")
    raise WrongDimension(f"{text} is a {found}; a {wanted} is needed", f"write it like {example}")


def _shown(value: object) -> str:
    return {"NoneType": "nothing", "dict": "a table", "list": "a list"}.get(type(value).__name__, repr(value))


# ---- expressions -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Expression:
    """A checked expression: its text, its dimension, and a function from named values to SI."""

    text: str
    dimension: str
    names: frozenset[str]
    value: Callable[[Mapping[str, float]], float]

    def __str__(self) -> str:
        return self.text


_TOKEN = re.compile(
    rf"\s*(?:(?P<number>(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)(?:\s*(?P<unit>{_UNIT}))?"
    r"|(?P<name>[A-Za-z][A-Za-z_]*(?:-[A-Za-z][A-Za-z_]*)*(?:[ ]+[A-Za-z][A-Za-z_]*(?:-[A-Za-z][A-Za-z_]*)*)*)"
    r"|(?P<sign>[-−+*/()]))"
)
_Node = tuple[str, Callable[[Mapping[str, float]], float]]  # dimension, value


def parse_expression(text: object, wanted: str, names: Mapping[str, str]) -> Expression:
    """An expression such as ``trip + 8 K`` whose dimension is ``wanted``; ``names`` gives the dimension of each name.

    Raises QuantityError with the offset of the first thing that is wrong.
    """
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise QuantityError(f"{_shown(text)} is not a {wanted}", f"write it like {DIMENSIONS[wanted][2]}")
    if isinstance(
        text, int | float
    ):  # not as the file has it: 1_000 and +5 are numbers of YAML, and none of an expression
        text = int(text) if isinstance(text, int) else float(text)
    if len(str(text)) > LONGEST:
        raise QuantityError(f"{str(text)[:40]}… is longer than {LONGEST} characters", "write a shorter expression")
    parser = _Parser(str(text), names)
    found, value = parser.whole()
    whole = str(text).strip()
    _check_dimension(whole, found, wanted)
    if wanted in POSITIVE and not parser.used:
        with contextlib.suppress(ArithmeticError):  # a division by nothing is said where the values of a pack are known
            if value({}) <= 0:
                what = f"{whole} is not more than {shown(0.0, wanted)}"
                raise QuantityError(what, f"write it like {DIMENSIONS[wanted][2]}")
    return Expression(whole, wanted, frozenset(parser.used), value)


class _Parser:
    """Recursive descent over + − * / ( ), names and quantities; dimensions are worked out on the way."""

    def __init__(self, text: str, names: Mapping[str, str]) -> None:
        self.text, self.names, self.position = text, names, 0
        self.used: set[str] = set()

    def whole(self) -> _Node:
        node = self._sum()
        if self._peek():
            raise QuantityError(f"{self.text!r} goes on with {self._rest()!r}", "write one expression", self._start())
        return node

    def _start(self) -> int:
        return self.position + len(self.text[self.position :]) - len(self.text[self.position :].lstrip())

    def _rest(self) -> str:
        return self.text[self.position :].strip()

    def _peek(self) -> str:
        return self._rest()[:1].replace("−", "-")

    def _sum(self) -> _Node:
        left = self._product()
        while self._peek() in ("+", "-"):
            at = self._start()
            sign = 1.0 if self._next()["sign"] == "+" else -1.0
            left = _added(left, self._product(), sign, at)
        return left

    def _product(self) -> _Node:
        left = self._factor()
        while self._peek() in ("*", "/"):
            at = self._start()
            operator = self._next()["sign"]
            left = _multiplied(left, self._factor(), operator, at)
        return left

    def _factor(self) -> _Node:
        at = self._start()
        token = self._next()
        if token["number"] is not None:
            return self._quantity(token, at)
        if token["name"] is not None:
            return self._name(token["name"], at)
        if token["sign"] == "(":
            node = self._sum()
            if self._peek() != ")":
                raise QuantityError(f"a bracket is not closed in {self.text!r}", "add )", len(self.text))
            self._next()
            return node
        if token["sign"] in ("-", "−"):
            dimension, value = self._factor()
            return dimension, lambda values: -value(values)
        raise QuantityError(f"{token['sign']!r} stands where a value is needed", "write one expression", at)

    def _quantity(self, token: Mapping[str, str | None], at: int) -> _Node:
        number, unit = _finite(token["number"] or "0", at), token["unit"]
        if unit == "C":
            self.used.add("rated_capacity")
            return "current", lambda values: number * values["rated_capacity"] / _SECONDS_PER_HOUR
        try:
            dimension, factor = _unit(unit) if unit else ("ratio", 1.0)
        except QuantityError as error:
            raise QuantityError(error.what, error.remedy, at) from error
        return dimension, lambda values: number * factor

    def _name(self, words: str, at: int) -> _Node:
        name = words.strip().lower().replace(" ", "_").replace("-", "_")
        if name not in self.names:
            near = next(iter(difflib.get_close_matches(name, list(self.names), n=1)), "").replace("_", " ")
            known = ", ".join(sorted(known.replace("_", " ") for known in self.names))
            remedy = f"did you mean {near}?" if near else f"choose one of: {known}"
            raise QuantityError(f"{words.strip()!r} is not a known name", remedy, at)
        self.used.add(name)
        return self.names[name], lambda values: values[name]

    def _next(self) -> Mapping[str, str | None]:
        if not self._rest():
            raise QuantityError(f"{self.text!r} breaks off", "finish the expression", len(self.text))
        match = _TOKEN.match(self.text, self.position)
        if not match:
            raise QuantityError(
                f"{self._rest()[0]!r} does not belong in an expression", "use + - * / ( ) and names", self._start()
            )
        self.position = match.end()
        return match.groupdict()


def _added(left: _Node, right: _Node, sign: float, at: int) -> _Node:
    (a, x), (b, y) = left, right
    if (a, b) == ("temperature", "temperature difference") or (
        (a, b) == ("temperature difference", "temperature") and sign > 0
    ):
        found = "temperature"
    elif (a, b) == ("temperature", "temperature") and sign < 0:
        found = "temperature difference"
    elif a == b != "temperature":
        found = a
    else:
        if a == b == "temperature":
            raise QuantityError("adds two temperatures", "write a difference in K, such as trip + 8 K", at)
        verb = "added to" if sign > 0 else "taken from"
        raise QuantityError(
            f"a {b} cannot be {verb} a {a}", "add like to like; a temperature takes a difference in K", at
        )
    return found, lambda values: x(values) + sign * y(values)


def _multiplied(left: _Node, right: _Node, operator: str | None, at: int) -> _Node:
    (a, x), (b, y) = left, right
    if operator == "*":
        found = b if a == "ratio" else a if b == "ratio" else _PRODUCTS.get((a, b)) or _PRODUCTS.get((b, a))
    else:
        found = a if b == "ratio" else "ratio" if a == b else None
        found = found or next((p for (p, q), whole in _PRODUCTS.items() if whole == a and q == b), None)
        found = found or next((q for (p, q), whole in _PRODUCTS.items() if whole == a and p == b), None)
    if found is None or "temperature" in (a, b):
        verb = "multiplied by" if operator == "*" else "divided by"
        raise QuantityError(f"a {a} cannot be {verb} a {b}", "only products with a meaning here are allowed", at)
    if operator == "*":
        return found, lambda values: x(values) * y(values)
    return found, lambda values: x(values) / y(values)


def minus(text: str) -> str:
    """A number with a true minus sign."""
    return text.replace("-", "−")


def hours_and_minutes(seconds: float) -> str:
    """A length of time as people plan with it, to the minute: 18 min, 2 h, 2 h 5 min."""
    hours, minutes = divmod(round(seconds / 60), 60)
    return " ".join([*([f"{hours} h"] if hours else []), *([f"{minutes} min"] if minutes or not hours else [])])


def exact(value: float, least: int = 0) -> str:
    """A number with all its digits, at least so many decimals: 56.25 of 56.25, 28.4 of 28.8 − 0.4.

    Twelve significant digits are taken for all: the rest is the computer's.
    """
    decimals = -int(Decimal(f"{value:.12g}").normalize().as_tuple().exponent)
    return minus(f"{value:z.{max(decimals, least, 0)}f}")


def shown(value: float, dimension: str) -> str:
    """A value in SI as an operator reads it: ramp rates in K/min, charge in Ah, energy in Wh, short of digits."""
    if dimension == "ramp rate":
        return minus(per_minute(value, ".3g"))
    if dimension == "charge":
        return f"{figures(value / _SECONDS_PER_HOUR, 4)} Ah"
    if dimension == "energy":
        return f"{figures(value / _SECONDS_PER_HOUR, 4)} Wh"
    if dimension == "temperature":
        return minus(degrees(value))
    if dimension == "temperature difference":
        return minus(kelvins(value, ".4g"))
    if dimension == "time" and value >= _SECONDS_PER_HOUR and value % 60 == 0:
        return hours_and_minutes(value)
    if dimension == "time" and value >= 120:
        return f"{figures(value / 60, 3)} min"
    return minus(figures(value, 4)) + f" {DIMENSIONS[dimension][1]}".rstrip()
