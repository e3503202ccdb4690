"""What a pack sheet says that can be, and seldom is: a person agrees to it with a reason before anything is switched on.

Every range is common practice, no source, unless a line says otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator

from runner.errors import Problem
from runner.notation.quantity import shown
from runner.notation.source import Path, Source
from runner.scale import figures
from runner.sheets.chemistry import Chemistry, find
from runner.sheets.pack import PackSheet
from runner.sheets.parts.protections import KINDS, Protection, protection_name

LOWEST_CELL, HIGHEST_CELL = 0.5, 4.6  # V: no rechargeable cell in a pack of these chemistries goes beyond
NEAR_VOLTAGE = 0.05  # V a cell by which a usual range may be missed
WARMEST, COLDEST = 15.0, 10.0  # K beyond the usual charging temperatures at which a charge protection may trip
DISCHARGE = (-35.0, 75.0)  # °C between which a discharge protection usually trips
MOST_CHARGE, MOST_DISCHARGE = 2.0, 10.0  # times the rated capacity an hour
LEAST_CAPACITY = 0.8  # of the rated one
ENERGY = 0.1  # by which rated energy and capacity times nominal voltage may differ
LONGEST_DELAY, LONGEST_POLLING = 60.0, 10.0  # s
WIDEST = {"temperature": 10.0, "voltage": 0.05, "current": 0.3}  # K, of the trip, of the trip: a tolerance
HOUR = 3600.0


def doubts(pack: PackSheet, source: Source) -> list[Problem]:
    """Everything on a sheet that is outside the usual range, with its place."""
    found = list(_of_ratings(pack, source))
    if pack.cell is not None and not (pack.cell.never_below >= LOWEST_CELL and pack.cell.never_above <= HIGHEST_CELL):
        low, high = pack.cell.never_below, pack.cell.never_above
        what = f"a cell between {figures(low)} and {figures(high)} V; {figures(LOWEST_CELL)} to {figures(HIGHEST_CELL)} V is usual"
        found.append(source.problem(("cell",), what, "check the cell's data sheet"))
    chemistry = find(pack.chemistry)
    if chemistry is not None:
        found += _of_cells(pack, chemistry, source)
    for kind in KINDS:
        protection = pack.protection(kind)
        if protection is not None:
            found += _of_protection(kind, protection, pack, chemistry, source)
    return found


def _of_cells(pack: PackSheet, chemistry: Chemistry, source: Source) -> Iterator[Problem]:
    ranges = {
        "cut_off_voltage": chemistry.lowest,
        "nominal_voltage": chemistry.nominal,
        "full_charge_voltage": chemistry.highest,
    }
    for name, (low, high) in ranges.items():
        cell = getattr(pack, name) / pack.cells_in_series
        if not low - NEAR_VOLTAGE <= cell <= high + NEAR_VOLTAGE:
            what = f"{name.replace('_', ' ')} is {figures(cell, 3)} V per cell; usual for {chemistry.name}: {low:g} to {high:g} V"
            yield _doubt(source, (name,), what)


def _of_ratings(pack: PackSheet, source: Source) -> Iterator[Problem]:
    rate = pack.rated_capacity / HOUR
    for name, most in (("maximum_charge_current", MOST_CHARGE), ("maximum_discharge_current", MOST_DISCHARGE)):
        current = getattr(pack, name)
        if current is not None and current > most * rate:
            what = f"{name.replace('_', ' ')} is {figures(current / rate, 3)} C; more than {figures(most)} C is unusual"
            yield _doubt(source, (name,), what)
    least = pack.minimum_capacity
    if least is not None and least < LEAST_CAPACITY * pack.rated_capacity:
        yield _doubt(
            source,
            ("minimum_capacity",),
            f"minimum capacity is {100 * least / pack.rated_capacity:.0f} % of the rated capacity",
        )
    if pack.rated_energy is not None:
        ratio = pack.rated_energy / (pack.rated_capacity * pack.nominal_voltage)
        if abs(ratio - 1) > ENERGY:
            what = f"rated energy is {figures(ratio, 3)} times the rated capacity at the nominal voltage"
            yield _doubt(source, ("rated_energy",), what)


def _of_protection(
    kind: str, protection: Protection, pack: PackSheet, chemistry: Chemistry | None, source: Source
) -> Iterator[Problem]:
    path: Path = ("protections", kind)
    words, trip = protection_name(kind), protection.trip
    if (
        kind.endswith("temperature")
        and (usual := _usual_trip(kind, chemistry)) is not None
        and not usual[0] <= trip <= usual[1]
    ):
        what = f"{words} trips at {figures(trip)} °C; usual: {figures(usual[0])} to {figures(usual[1])} °C"
        yield _doubt(source, (*path, "trip"), what)
    if kind == "over_voltage" and trip <= pack.full_charge_voltage:
        what = f"over-voltage trips at {figures(trip)} V, at or below the full charge voltage of "
        what += f"{figures(pack.full_charge_voltage)} V"
        yield _doubt(source, (*path, "trip"), what)
    for name, most in (("delay", LONGEST_DELAY), ("polling", LONGEST_POLLING)):
        if getattr(protection, name) > most and not (name == "delay" and protection.delay_range is not None):
            yield _doubt(source, (*path, name), f"{name} of {words} is more than {figures(most)} s")
    widest = WIDEST[KINDS[kind]] * (1.0 if kind.endswith("temperature") else trip)
    if protection.tolerance is not None and protection.tolerance > widest:
        yield _doubt(
            source, (*path, "tolerance"), f"tolerance of {words} is very wide: {_shown_tolerance(kind, protection)}"
        )


def _usual_trip(kind: str, chemistry: Chemistry | None) -> tuple[float, float] | None:
    if kind.startswith("discharge"):
        return (DISCHARGE[0], 30.0) if "under" in kind else (30.0, DISCHARGE[1])
    if chemistry is None:
        return None
    low, high = chemistry.charge
    return (low - COLDEST, 20.0) if "under" in kind else (30.0, high + WARMEST)


def _doubt(source: Source, path: Path, what: str) -> Problem:
    return source.problem(path, what, "check the data sheet")


def _shown_tolerance(kind: str, protection: Protection) -> str:
    dimension = {"temperature": "temperature difference"}.get(KINDS[kind], KINDS[kind])
    return f"±{shown(float(protection.tolerance or 0.0), dimension)}"
