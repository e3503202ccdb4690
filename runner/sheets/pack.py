"""The pack sheet: what the data sheet of the unit under test declares. Nothing here is measured, nothing is invented."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping
from typing import Any, ClassVar, Literal, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from runner.errors import Problem, SheetError
from runner.notation.fields import (
    AS_IT_WAS,
    Current,
    DeratingTemperatures,
    DeratingVoltages,
    PositiveCharge,
    PositiveCurrent,
    PositiveDifference,
    PositiveEnergy,
    PositiveVoltage,
    Ratio,
    RetryInterval,
    SensorLimit,
    Sheet,
    Temperature,
    Time,
    Voltage,
)
from runner.notation.problems import checked
from runner.notation.source import Path, Source, read
from runner.notation.wrong import Wrong
from runner.sheets.chemistry import NAMES, OTHER, SENSOR_LIMITS, canonical, find
from runner.sheets.curve import Curve

LARGEST_RESIDUAL = 0.25  # of the maximum charge current: with more a path is not open (common practice, no source)
SENSORS = "sensors"  # key of the validation context: the sensor names of the pack


class Sensor(Sheet):
    """A temperature sensor of the pack. ``lag`` is its first-order time constant in still contact, if anybody knows it.

    ``curve`` is needed where a decade box stands in for the sensor.
    """

    name: str
    place: str
    lag: Time | None = None
    lag_uncertainty: Time | None = None
    curve: Curve | None = None


class Protection(Sheet):
    """One declared protection. Trip and release carry the unit of the kind; delay and polling are seconds.

    ``delay`` is how long the condition must hold before the pack acts; ``polling`` how often the pack looks.
    ``tolerance`` is a symmetric half-width about trip and, unless ``release_tolerance`` says otherwise, about release. A
    sheet that declares none is taken at its word: no statement is made, unless the bench file assumes one for it.
    """

    dimension: ClassVar[str]
    trip: Any
    tolerance: Any = None
    between: Any = None
    release: Any = None
    release_tolerance: Any = None
    delay: Time
    delay_tolerance: Time | None = None
    polling: Time = 0.0
    latching: bool = False

    @model_validator(mode="after")
    def _tolerances_fit(self) -> Self:
        if self.tolerance is not None and self.between is not None:
            raise Wrong("tolerance and between are both given", "keep one of them")
        if self.between is not None and not self.between[0] <= self.trip <= self.between[1]:
            raise Wrong("trip is not between the two limits", "give the lower one first")
        return self

    def trip_limits(self) -> tuple[float, float] | None:
        """(lowest, highest) trip value that the sheet allows, or None where it declares no tolerance."""
        if self.between is not None:
            return float(self.between[0]), float(self.between[1])
        return (
            None if self.tolerance is None else (float(self.trip - self.tolerance), float(self.trip + self.tolerance))
        )

    def release_limits(self) -> tuple[float, float] | None:
        """(lowest, highest) release value that the sheet allows; None without a release or a tolerance."""
        half = self.release_tolerance if self.release_tolerance is not None else self.tolerance
        if self.release is None or half is None:
            return None
        return float(self.release - half), float(self.release + half)


class TemperatureProtection(Protection):
    """Trip and release in °C, tolerances in K; every sensor named has to provoke it by itself.

    ``derates``: from which temperatures on the pack asks for less current before it trips; empty if nobody knows which.
    """

    dimension: ClassVar[str] = "temperature"
    trip: Temperature
    tolerance: PositiveDifference | None = None
    between: tuple[Temperature, Temperature] | None = None
    release: Temperature | None = None
    release_tolerance: PositiveDifference | None = None
    sensors: tuple[str, ...] = ()
    derates: DeratingTemperatures = None

    @field_validator("sensors", mode="before")
    @classmethod
    def _known_sensors(cls, value: object, info: ValidationInfo) -> object:
        known = (info.context or {}).get(SENSORS, ())
        if value == "all":
            return tuple(known)
        twice = [str(name) for name in value if value.count(name) > 1] if isinstance(value, list) else []
        if twice and not (info.context or {}).get(AS_IT_WAS):
            raise Wrong(f"{twice[0]} is named twice", "name every sensor once")
        unknown = [str(name) for name in value if str(name) not in known] if isinstance(value, list) else []
        if unknown:
            raise Wrong(
                f"{', '.join(unknown)} is not a sensor of this pack", f"its sensors: {', '.join(known) or 'none'}"
            )
        return value


class VoltageProtection(Protection):
    """Trip and release in V at the pack's terminals.

    ``cell_noise`` is the standard deviation, in V, of one of the pack's readings of a cell, after its filter; ``filter_lag`` how
    old, in s, what it compares is by its filter: half of the span of a mean, the time constant of a first-order one. What is not
    given is taken as what packs are like, and allowed for. ``derates`` as of a temperature, in V.
    """

    dimension: ClassVar[str] = "voltage"
    trip: PositiveVoltage
    tolerance: PositiveVoltage | None = None
    between: tuple[PositiveVoltage, PositiveVoltage] | None = None
    release: PositiveVoltage | None = None
    release_tolerance: PositiveVoltage | None = None
    cell_noise: Voltage | None = None
    filter_lag: Time | None = None
    derates: DeratingVoltages = None


class CurrentProtection(Protection):
    """Trip in A. A current protection comes back by time or by hand, so it has no release value."""

    dimension: ClassVar[str] = "current"
    trip: PositiveCurrent
    tolerance: PositiveCurrent | None = None
    between: tuple[PositiveCurrent, PositiveCurrent] | None = None
    release: None = None
    release_tolerance: None = None


class Protections(Sheet):
    """The protections this program knows; the field names are the kinds."""

    charge_over_temperature: TemperatureProtection | None = None
    charge_under_temperature: TemperatureProtection | None = None
    discharge_over_temperature: TemperatureProtection | None = None
    discharge_under_temperature: TemperatureProtection | None = None
    over_voltage: VoltageProtection | None = None
    under_voltage: VoltageProtection | None = None
    charge_over_current: CurrentProtection | None = None
    discharge_over_current: CurrentProtection | None = None


KINDS: dict[str, str] = {
    name: ("temperature" if "temperature" in name else "voltage" if "voltage" in name else "current")
    for name in Protections.model_fields
}


def protection_name(kind: str) -> str:
    """A protection as people read it: charge over-temperature."""
    return kind.replace("over_", "over-").replace("under_", "under-").replace("_", " ")


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
                f"the voltages do not rise: cut-off {self.cut_off_voltage:g} V, nominal {self.nominal_voltage:g} V, "
                f"full charge {self.full_charge_voltage:g} V",
                "correct cut_off_voltage, nominal_voltage or full_charge_voltage",
            )
        return self

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
    names = [item.get("name") for item in raw if isinstance(item, dict)] if isinstance(raw, list) else []
    for index, name in enumerate(names):
        if name in names[:index]:
            source.problems.append(
                source.problem(("sensors", index, "name"), f"two sensors are called {name!r}", "rename one")
            )
    pack = checked(source, PackSheet, {SENSORS: [str(name) for name in names], AS_IT_WAS: as_it_was})
    problems = [] if as_it_was else list(contradictions(pack, source))
    if problems:
        raise SheetError(problems)
    return pack


def without_tolerance(pack: PackSheet) -> list[str]:
    """The protections of which a sheet declares no tolerance: what is found of them will not be judged."""
    found = ((kind, pack.protection(kind)) for kind in KINDS)
    return [protection_name(kind) for kind, each in found if each is not None and each.trip_limits() is None]


def contradictions(pack: PackSheet, source: Source) -> Iterator[Problem]:
    """What the sheet says against itself, or against what a cell of its chemistry can be."""
    if (pack.cell is not None) != (pack.chemistry == OTHER):
        what = "other needs its own voltages" if pack.cell is None else f"{pack.chemistry} has its voltages already"
        remedy = "add cell: {never_below: …, nominal: …, never_above: …}" if pack.cell is None else "remove cell:"
        yield source.problem(("chemistry",) if pack.cell is None else ("cell",), what, remedy)
        return
    if pack.cell is not None and not 0.9 <= pack.nominal_voltage / (pack.cell.nominal * pack.cells_in_series) <= 1.1:
        volts, cells = pack.nominal_voltage, pack.cells_in_series
        what = (
            f"{volts:g} V is {volts / cells:.3g} V per cell ({cells} in series), but cell: says {pack.cell.nominal:g} V"
        )
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
        what = f"residual current {pack.residual_current:g} A is no open path"
        yield source.problem(
            ("residual_current",), what, f"write less than {LARGEST_RESIDUAL * pack.maximum_charge_current:g} A"
        )
    first, second = pack.sensor_limits
    if not first < second:
        yield source.problem(
            ("sensor_limits",), "the lower limit comes first", "write for example [-40 degC, 100 degC]"
        )
    for path in ("charge", "discharge"):
        over, under = (pack.protection(f"{path}_{side}_temperature") for side in ("over", "under"))
        if over is not None and under is not None and under.trip >= over.trip:
            what = f"{path} under-temperature trips at {under.trip:g} °C, {path} over-temperature at {over.trip:g} °C"
            yield source.problem(("protections", f"{path}_under_temperature", "trip"), what, "correct one of the two")
    for kind in KINDS:
        protection = pack.protection(kind)
        if protection is not None:
            yield from _of_protection(kind, protection, pack, source)


def _of_protection(kind: str, protection: Protection, pack: PackSheet, source: Source) -> Iterator[Problem]:
    path, trip, release = ("protections", kind), protection.trip, protection.release
    words = protection_name(kind)
    over = "over" in kind
    beyond = [each for each in getattr(protection, "derates", None) or () if (each >= trip if over else each <= trip)]
    if beyond:
        what = f"derates at {beyond[0]:g}, which is not before the trip of {words} at {trip:g}"
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
            what = f"{words} trips at {trip:g} V; it must be {side} the nominal {pack.nominal_voltage:g} V"
            yield source.problem((*path, "trip"), what, "correct one of the two")
    elif kind.endswith("current"):
        most = pack.maximum_charge_current if kind.startswith("charge") else pack.maximum_discharge_current
        if most is not None and trip <= most:
            what = f"{words} trips at {trip:g} A; it must be above the maximum current of {most:g} A"
            yield source.problem((*path, "trip"), what, "correct one of the two")
    elif kind.endswith("temperature"):
        low, high = pack.sensor_limits
        for name, value in (("trip", trip), ("release", release)):
            if value is not None and not low <= value <= high:
                what = f"{value:g} °C is outside the allowed sensor range, {low:g} to {high:g} °C"
                yield source.problem(
                    (*path, name), what, "correct it, or add sensor_limits: from the sensor's data sheet"
                )


def _outside(source: Source, path: Path, value: float, low: float, high: float, pack: PackSheet) -> Iterator[Problem]:
    if low <= value <= high:
        return
    cell = value / pack.cells_in_series
    what = (
        f"{value:g} V is {cell:.3g} V per cell ({pack.cells_in_series} in series); a cell of {pack.chemistry} must stay between "
        f"{low / pack.cells_in_series:g} and {high / pack.cells_in_series:g} V"
    )
    yield source.problem(path, what, "correct it, or cells_in_series, or chemistry")
