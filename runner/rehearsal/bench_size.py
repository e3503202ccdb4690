"""How large a simulated bench has to be for a pack: what its supply and its load must be able to do."""

from __future__ import annotations

import math
from dataclasses import dataclass

from runner.sheets.pack import PackSheet
from runner.sheets.parts.protections import KINDS

# V and A of the smallest there is
SUPPLY, LOAD = (31.0, 18.0), (31.0, 60.0)
ROOM = 0.025  # V a cell above the highest voltage that a test of over-voltage sets
ABOVE_LIMIT = 0.1  # of the trip of an over-current, by which the ceiling of its test is beyond the upper limit
HOURLY = 0.125  # of the rated capacity that a charger gives in an hour (common practice, no source)
SPARE = 1.02


@dataclass(frozen=True)
class BenchSize:
    """The limits of supply and load, and what a charger gives: (V, A) each. A load that a person switches draws what that gives."""

    supply: tuple[float, float] = SUPPLY
    load: tuple[float, float] = LOAD
    charger: tuple[float, float] = (29.2, 5.0)

    @property
    def supply_larger(self) -> float:
        """How many times the smallest supply's current it has."""
        return self.supply[1] / SUPPLY[1]

    @property
    def load_larger(self) -> float:
        return self.load[1] / LOAD[1]


def size_for(pack: PackSheet) -> BenchSize:
    """As large as the pack needs, and no smaller than the smallest."""
    highest = max(pack.full_charge_voltage, _upper(pack, "over_voltage") + ROOM * pack.cells_in_series)
    volts = math.ceil(highest + 2 * ROOM * pack.cells_in_series)
    charge = max(pack.maximum_charge_current, _upper(pack, "charge_over_current"))
    discharge = max(pack.maximum_discharge_current or 0.0, _upper(pack, "discharge_over_current"))
    draws = 1.2 * pack.rated_capacity / 3600.0  # A: what the procedures draw where a sheet states no maximum
    supplies, loads = (math.ceil(each * SPARE) for each in (charge, max(discharge, draws)))
    charger = (pack.full_charge_voltage, min(HOURLY * pack.rated_capacity / 3600.0, pack.maximum_charge_current))
    return BenchSize(
        (max(SUPPLY[0], volts), max(SUPPLY[1], supplies)), (max(LOAD[0], volts), max(LOAD[1], loads)), charger
    )


def _upper(pack: PackSheet, kind: str) -> float:
    """The highest that a test of a protection sets, in V or A; 0 where there is none."""
    protection = pack.protection(kind)
    if protection is None:
        return 0.0
    limits = protection.trip_limits()
    beyond = 0.0 if KINDS[kind] == "voltage" else protection.trip * ABOVE_LIMIT
    return float((limits[1] if limits is not None else protection.trip) + beyond)
