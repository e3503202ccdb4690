"""The pack sheet: what the data sheet of the unit under test declares. Nothing here is measured, nothing is invented."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping
from typing import Literal, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from runner.errors import Problem, SheetError
from runner.notation.fields import (
    AS_IT_WAS,
    Current,
    PositiveCharge,
    PositiveCurrent,
    PositiveEnergy,
    PositiveVoltage,
    Ratio,
    RetryInterval,
    SensorLimit,
    Sheet,
    Time,
)
from runner.notation.problems import checked
from runner.notation.source import Path, Source, read
from runner.notation.wrong import Wrong
from runner.scale import figures
from runner.sheets.chemistry import NAMES, OTHER, SENSOR_LIMITS, canonical, find
from runner.sheets.curve import Curve
from runner.sheets.parts.protections import (
    KINDS,
    SENSORS,
    Protection,
    Protections,
    TemperatureProtection,
    protection_name,
)

LARGEST_RESIDUAL = 0.25  # of the maximum charge current: with more a path is not open (common practice, no source)


class Sensor(Sheet):
    """A temperature sensor of the pack. ``lag`` is its first-order time constant in still contact, if anybody knows it.

    ``curve`` is needed where a decade box stands in for the sensor.
    """

    name: str
    place: str
    lag: Time | None = None
    lag_uncertainty: Time | None = None
    curve: Curve | None = None


class Cell(Sheet):
    """What a cell of a chemistry that is not in the table can be, in V: for the minutes of a test, and nominally."""

    never_below: PositiveVoltage
    nominal: PositiveVoltage
    never_above: PositiveVoltage

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if not self.never_below < self.nominal < self.never_above:
            raise Wrong("never_below, nominal and never_above do not rise in this order", "correct them")
        return self


class PackSheet(Sheet):
    """The unit under test as its data sheet has it. Voltages in V, currents in A, charge in A·s.

    ``chemistry`` is one of the table in chemistry.py, or ``other`` with ``cell`` beside it. ``sensor_limits``: between which
    temperatures (°C) a sensor may be taken, in place of the usual ones. ``residual_current``: what flows through an open path;
    ``retry_every``: how often, in s, an open path tries by itself whether it may close, each time for less than half of that.
    ``usual``: which values are the chemistry's usual ones and not the data sheet's, in words.
    """

    kind: Literal["pack"]
    name: str
    serial: str
    maker: str = ""
    customer: str = ""
    customer_address: str = ""
    received: datetime.date | None = None
    note: str = ""
    chemistry: str = Field(json_schema_extra={"enum": list(NAMES)})
    cell: Cell | None = None
    cells_in_series: int = Field(ge=1, le=1000)
    nominal_voltage: PositiveVoltage
    full_charge_voltage: PositiveVoltage
    cut_off_voltage: PositiveVoltage
    rated_capacity: PositiveCharge
    minimum_capacity: PositiveCharge | None = None
    rated_energy: PositiveEnergy | None = None
    minimum_energy: PositiveEnergy | None = None
    maximum_charge_current: PositiveCurrent
    maximum_discharge_current: PositiveCurrent | None = None
    state_of_charge_on_arrival: Ratio | None = None
    residual_current: Current = 0.0
    retry_every: RetryInterval | None = None
    usual: tuple[str, ...] = ()
    sensors: tuple[Sensor, ...] = ()
    sensor_limits: tuple[SensorLimit, SensorLimit] = SENSOR_LIMITS
    protections: Protections

    @field_validator("chemistry", mode="before")
    @classmethod
    def _canonical(cls, name: object, info: ValidationInfo) -> object:
        found = canonical(name) if isinstance(name, str) else name
        if isinstance(found, str) and found not in NAMES and not (info.context or {}).get(AS_IT_WAS):
            raise Wrong(f"{name!r} is not a known chemistry", f"choose one of {', '.join(NAMES)}")
        return found

    @model_validator(mode="after")
    def _voltages_in_order(self) -> Self:
        if not self.cut_off_voltage < self.nominal_voltage < self.full_charge_voltage:
            raise Wrong(
                f"the voltages do not rise: cut-off {figures(self.cut_off_voltage)} V, nominal {figures(self.nominal_voltage)} V, "
                f"full charge {figures(self.full_charge_voltage)} V",
                "correct the one that is wrong",
                self._odd_voltage(),
            )
        return self

    def _odd_voltage(self) -> str:
        """Which of the three is out of order with both others."""
        if self.nominal_voltage < self.full_charge_voltage:
            return "cut_off_voltage"
        return "nominal_voltage" if self.cut_off_voltage < self.full_charge_voltage else "full_charge_voltage"

    def never(self) -> tuple[float, float]:
        """The pack voltage (V) that nothing goes below and above: the chemistry's times the cells in series."""
        found = find(self.chemistry)
        low, high = found.never if found is not None else (0.0, math.inf)
        if self.cell is not None:
            low, high = self.cell.never_below, self.cell.never_above
        return low * self.cells_in_series, high * self.cells_in_series

    def protection(self, kind: str) -> Protection | None:
        """The declared protection of a kind, or None."""
        return getattr(self.protections, kind, None)

    def values(self) -> dict[str, float]:
        """The pack's own names for expressions, in SI."""
        found = {name: getattr(self, name) for name in PACK_NAMES}
        return {name: float(value) for name, value in found.items() if value is not None}


PACK_NAMES: Mapping[str, str] = {
    "nominal_voltage": "voltage",
    "full_charge_voltage": "voltage",
    "cut_off_voltage": "voltage",
    "rated_capacity": "charge",
    "minimum_capacity": "charge",
    "maximum_charge_current": "current",
    "maximum_discharge_current": "current",
    "cells_in_series": "ratio",
}


def parse_pack(text: str, file: str, *, as_it_was: bool = False) -> PackSheet:
    """A pack sheet from its text; ``as_it_was``: also one that was run before it would have been refused.

    Raises SheetError with all that is wrong.
    """
    source = read(text, file)
    raw = source.values.get("sensors") if isinstance(source.values, dict) else None
    names = [str(item.get("name")) for item in raw if isinstance(item, dict)] if isinstance(raw, list) else []
    for index, name in enumerate(names):
        if name in names[:index]:
            source.problems.append(
                source.problem(("sensors", index, "name"), f"two sensors are called {name!r}", "rename one")
            )
    pack = checked(source, PackSheet, {SENSORS: names, AS_IT_WAS: as_it_was})
    problems = [] if as_it_was else list(contradictions(pack, source))
    if problems:
        raise SheetError(problems)
    return pack


def without_tolerance(pack: PackSheet) -> list[str]:
    """The protections of which a sheet declares no tolerance: what is found of them will not be judged."""
    found = ((kind, pack.protection(kind)) for kind in KINDS)
    return [protection_name(kind) for kind, each in found if each is not None and each.trip_limits() is None]


def not_declared(pack: PackSheet) -> Iterator[str]:
    """What the sheet does not declare, and what is assumed or left out for it, each as a sentence that begins with a verb."""
    found = [(protection_name(kind), each) for kind in KINDS if (each := pack.protection(kind)) is not None]
    if pack.usual:
        yield f"has usual values of the chemistry, not from the data sheet: {', '.join(pack.usual)}"
    for words, protection in found:
        if protection.delay_range is not None:
            low, high = protection.delay_range
            yield f"declares no delay of {words}: {figures(low)} s to {figures(high)} s assumed"
        if protection.release is None and protection.dimension != "current" and not protection.latching:
            yield f"declares no release of {words}: it is looked for and not judged"
        if isinstance(protection, TemperatureProtection) and not protection.sensors:
            yield f"names no sensors of {words}: it cannot be tested (add sensors: all, or [T1, T2])"


def contradictions(pack: PackSheet, source: Source) -> Iterator[Problem]:
    """What the sheet says against itself, or against what a cell of its chemistry can be."""
    if (pack.cell is not None) != (pack.chemistry == OTHER):
        what = "other needs its own voltages" if pack.cell is None else f"{pack.chemistry} has its voltages already"
        remedy = "add cell: {never_below: …, nominal: …, never_above: …}" if pack.cell is None else "remove cell:"
        yield source.problem(("chemistry",) if pack.cell is None else ("cell",), what, remedy)
        return
    if pack.cell is not None and not 0.9 <= pack.nominal_voltage / (pack.cell.nominal * pack.cells_in_series) <= 1.1:
        volts, cells = pack.nominal_voltage, pack.cells_in_series
        what = f"{figures(volts)} V is {figures(volts / cells, 3)} V per cell ({cells} in series), "
        what += f"but cell: says {figures(pack.cell.nominal)} V"
        yield source.problem(("nominal_voltage",), what, "correct one of the three")
    low, high = pack.never()
    for name in ("full_charge_voltage", "nominal_voltage", "cut_off_voltage"):
        yield from _outside(source, (name,), getattr(pack, name), low, high, pack)
    for name, of in (("minimum_capacity", "rated_capacity"), ("minimum_energy", "rated_energy")):
        least, rated = getattr(pack, name), getattr(pack, of)
        if least is not None and rated is not None and least > rated:
            yield source.problem(
                (name,), f"{name.replace('_', ' ')} is more than the rated capacity", "correct one of the two"
            )
    if pack.residual_current >= LARGEST_RESIDUAL * pack.maximum_charge_current:
        what = f"residual current {figures(pack.residual_current)} A is no open path"
        yield source.problem(
            ("residual_current",), what, f"write less than {figures(LARGEST_RESIDUAL * pack.maximum_charge_current)} A"
        )
    first, second = pack.sensor_limits
    if not first < second:
        yield source.problem(
            ("sensor_limits",), "the lower limit comes first", "write for example [-40 degC, 100 degC]"
        )
    else:
        yield from _curves(pack, source)
    for path in ("charge", "discharge"):
        over, under = (pack.protection(f"{path}_{side}_temperature") for side in ("over", "under"))
        if over is not None and under is not None and under.trip >= over.trip:
            what = f"{path} under-temperature trips at {figures(under.trip)} °C, {path} over-temperature at {figures(over.trip)} °C"
            yield source.problem(("protections", f"{path}_under_temperature", "trip"), what, "correct one of the two")
    for kind in KINDS:
        protection = pack.protection(kind)
        if protection is not None:
            yield from _of_protection(kind, protection, pack, source)


def _curves(pack: PackSheet, source: Source) -> Iterator[Problem]:
    """Equations that give no sensor's resistance somewhere in the range that the sheet allows; a table says its own range."""
    for index, sensor in enumerate(pack.sensors):
        curve = sensor.curve
        if curve is None or curve.table is not None:
            continue
        why = next(filter(None, map(curve.no_sensor, pack.sensor_limits)), "")
        if why:
            remedy = "correct it, or add sensor_limits: from the sensor's data sheet"
            yield source.problem(("sensors", index, "curve", curve.given_by), why, remedy)


def _of_protection(kind: str, protection: Protection, pack: PackSheet, source: Source) -> Iterator[Problem]:
    path, trip, release = ("protections", kind), protection.trip, protection.release
    words = protection_name(kind)
    over = "over" in kind
    beyond = [each for each in getattr(protection, "derates", None) or () if (each >= trip if over else each <= trip)]
    if beyond:
        what = f"derates at {figures(beyond[0])}, which is not before the trip of {words} at {figures(trip)}"
        yield source.problem((*path, "derates"), what, "correct one of the two")
    if release is not None and (release >= trip if over else release <= trip):
        side = "below" if over else "above"
        yield source.problem(
            (*path, "release"), f"the release of {words} must be {side} its trip", "correct one of them"
        )
    if kind.endswith("voltage"):
        for name, value in (("trip", trip), ("release", release)):
            if value is not None:
                yield from _outside(source, (*path, name), value, *pack.never(), pack)
        if (trip <= pack.nominal_voltage) if over else (trip >= pack.nominal_voltage):
            side = "above" if over else "below"
            what = (
                f"{words} trips at {figures(trip)} V; it must be {side} the nominal {figures(pack.nominal_voltage)} V"
            )
            yield source.problem((*path, "trip"), what, "correct one of the two")
    elif kind.endswith("current"):
        most = pack.maximum_charge_current if kind.startswith("charge") else pack.maximum_discharge_current
        if most is not None and trip <= most:
            what = f"{words} trips at {figures(trip)} A; it must be above the maximum current of {figures(most)} A"
            yield source.problem((*path, "trip"), what, "correct one of the two")
    elif kind.endswith("temperature"):
        low, high = pack.sensor_limits
        for name, value in (("trip", trip), ("release", release)):
            if value is not None and not low <= value <= high:
                what = f"{figures(value)} °C is outside the allowed sensor range, {figures(low)} to {figures(high)} °C"
                yield source.problem(
                    (*path, name), what, "correct it, or add sensor_limits: from the sensor's data sheet"
                )


def _outside(source: Source, path: Path, value: float, low: float, high: float, pack: PackSheet) -> Iterator[Problem]:
    if low <= value <= high:
        return
    cell = value / pack.cells_in_series
    what = (
        f"{figures(value)} V is {figures(cell, 3)} V per cell ({pack.cells_in_series} in series); "
        f"a cell of {pack.chemistry} must stay between "
        f"{figures(low / pack.cells_in_series)} and {figures(high / pack.cells_in_series)} V"
    )
    yield source.problem(path, what, "correct it, or cells_in_series, or chemistry")
