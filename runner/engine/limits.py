"""What the steps of a procedure may set on this pack at this bench: looked at before anything is switched on.

Rule 1: nothing is set beyond what the bench file lets supply and load give.
Rule 2: nothing is set beyond what the pack sheet allows. Only a step that says ``beyond``, in a procedure for that protection, may
        set more: a voltage up to what no cell ever passes, a current up to a quarter more than the upper limit of the trip.
Rule 3: no ceiling, floor or mark goes beyond what a cell of this chemistry, or a sensor, is ever taken to.
Rule 4: what a step sets or waits for is reached below the ceilings of the procedure. The order of the steps: step_order.py.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from runner.engine.derived import smallest_currents
from runner.engine.program import CeilingValues, Planned
from runner.engine.step_order import StepOrder, path_opened_by
from runner.engine.texts import limits as texts
from runner.errors import Problem
from runner.events import CHARGE, DISCHARGE
from runner.notation.source import Path, Source
from runner.sheets import tolerances
from runner.sheets.bench import BenchFile
from runner.sheets.instruments import facts_of
from runner.sheets.pack import PackSheet
from runner.sheets.parts.protections import protection_name
from runner.sheets.procedure import Procedure
from runner.vocabulary import Until

SETS_CURRENT = ("charge", "drain", "stage", "wake", "try")
MOST_LEVELS = 200
# s at a current that is more than the sheet allows; no delay of an over-current is longer (common practice, no source)
LONGEST_DWELL = 120.0
FULL_RATIO, TAPER = 0.98, 0.1  # of the full charge voltage, of the capacity an hour: what full means for a capacity
MARGIN = 1.25  # of the upper limit of a current's trip
TOLD_FROM_OPEN = 4.0  # times what flows through an open path: the least current whose stop is seen
CLOSE = 1 + 1e-9  # rounding of sums


@dataclass(frozen=True)
class Limits:
    """The three files and where their lines are."""

    procedure: Procedure
    pack: PackSheet
    bench: BenchFile
    of_procedure: Source
    of_pack: Source
    of_bench: Source

    def problems(self, steps: Sequence[Planned], places: Sequence[Path], ceilings: CeilingValues) -> list[Problem]:
        """Everything that a step would set and must not; ``places`` are theirs in the procedure's file."""
        found = [*self._supply(steps, ceilings), *self._load(steps, ceilings), *self._ceilings(ceilings)]
        found += [*self._heated(steps), *self._leads(steps)]
        for step, place in zip(steps, places, strict=True):
            found += [*self._beyond_the_sheet(step, place), *self._beyond_a_sensor(step, place)]
            found += [*self._beyond_a_ceiling(step, place, ceilings), *self._too_small(step, place)]
            if step.kind == "stage":
                found += self._stairs(step, place)
        found += StepOrder(self.procedure, self.of_procedure).problems(steps, places)
        return _once(found)

    def _ceilings(self, ceilings: CeilingValues) -> Iterator[Problem]:
        _, high = self.pack.never()
        if ceilings.voltage > high:
            yield self._never(("ceilings", "voltage"), texts.a_ceiling(ceilings.voltage, "V"), "above", high)
        hottest = self.pack.sensor_limits[1]
        if ceilings.temperature is not None and ceilings.temperature > hottest:
            yield self._sensor(("ceilings", "temperature"), texts.a_ceiling(ceilings.temperature, "°C"))

    def _beyond_the_sheet(self, step: Planned, place: Path) -> Iterator[Problem]:
        low, high = self.pack.never()
        discharges = step.kind == "drain" or step.word("path") == DISCHARGE
        voltage, floor = step.values.get("voltage"), step.values.get("floor")
        if voltage is not None and not discharges:
            yield from self._voltage(step, place, voltage, high)
            yield from self._full(step, place)
        if floor is not None and floor < low:
            yield self._never((*place, "floor"), texts.a_floor(floor), "below", low)
        elif floor is not None and floor < self.pack.cut_off_voltage and self.procedure.protection != "under_voltage":
            allowed, line = self.pack.cut_off_voltage, _line(self.of_pack, ("cut_off_voltage",))
            if discharges or "drain" in step.values:
                yield self.of_procedure.problem((*place, "floor"), *texts.floor_too_low(floor, allowed, line))
        yield from self._told_from_open(step, place)
        for current, path in (
            (highest_current(step), "discharge" if discharges else "charge"),
            (step.values.get("drain", 0.0), "discharge"),
        ):
            if step.kind in SETS_CURRENT:
                yield from self._current(step, place, current, path)

    def _told_from_open(self, step: Planned, place: Path) -> Iterator[Problem]:
        """A current that a path carries must be more than what still flows when it is open."""
        residual, name = self.pack.residual_current, "from" if "from" in step.values else "current"
        least, current = residual * TOLD_FROM_OPEN, step.values.get(name, math.inf)
        if step.kind in SETS_CURRENT and residual and current < least:
            line = _line(self.of_pack, ("residual_current",))
            wrong = texts.told_from_open(current, residual, least, line)
            yield self.of_procedure.problem((*place, name), *wrong)

    def _full(self, step: Planned, place: Path) -> Iterator[Problem]:
        """A capacity counts from full: charged to the full charge voltage, down to a small current."""
        if (
            step.kind != "charge"
            or step.word("until") != Until.FULL
            or not {"capacity", "energy"} & set(self.procedure.findings)
        ):
            return
        full, most = self.pack.full_charge_voltage, TAPER * self.pack.rated_capacity / 3600.0
        if step.values["voltage"] < FULL_RATIO * full:
            wrong = texts.not_to_full(step.values["voltage"], full)
            yield self.of_procedure.problem((*place, "voltage"), *wrong)
        if step.values["end_current"] > most:
            wrong = texts.end_too_early(step.values["end_current"], most)
            yield self.of_procedure.problem((*place, "end_current"), *wrong)

    def _voltage(self, step: Planned, place: Path, voltage: float, high: float) -> Iterator[Problem]:
        if voltage > high:
            yield self._never((*place, "voltage"), f"{voltage:g} V", "above", high)
        elif self._marked(step, "voltage") and step.word("until") != Until.STOPPED:
            yield self.of_procedure.problem((*place, "beyond"), *texts.beyond_until(step.word("until")))
        elif voltage > self.pack.full_charge_voltage * CLOSE and not self._marked(step, "voltage"):
            what = texts.charges_to(voltage)
            yield self._not_allowed((*place, "voltage"), what, "full_charge_voltage", "V", "voltage")

    def _current(self, step: Planned, place: Path, current: float, path: str) -> Iterator[Problem]:
        name = f"maximum_{path}_current"
        allowed = getattr(self.pack, name)
        where = (*place, "to" if "to" in step.values else "current" if current == highest_current(step) else "drain")
        if self._marked(step, "current") and (
            step.word("until") == Until.DONE or step.values.get("dwell", 0.0) > LONGEST_DWELL
        ):
            yield self.of_procedure.problem((*place, "beyond"), *texts.beyond_too_long(LONGEST_DWELL))
        marked = self._marked(step, "current") and path == path_opened_by(str(self.procedure.protection))
        own = list(self._over_current(where, current, path, marked=marked))
        too_much = allowed is not None and current > allowed * CLOSE
        if too_much and not marked and not (own and self._trips_below(path, allowed)):
            yield self._not_allowed(where, texts.sets(current), name, "A", "current")
            return
        yield from own
        if allowed is None or not too_much or not marked:
            return
        protection = self.pack.protection(f"{path}_over_current")
        limits = tolerances.allowed(protection, self.bench.decision.assumed_tolerance).trip
        trip = limits[1] if limits is not None else protection.trip if protection is not None else allowed
        if current > trip * MARGIN * CLOSE:
            yield self.of_procedure.problem(where, *texts.beyond_the_margin(current, trip * MARGIN))

    def _over_current(self, where: Path, current: float, path: str, *, marked: bool) -> Iterator[Problem]:
        """A current at which another protection than the one that is tested may trip."""
        kind = f"{path}_over_current"
        lowest = self._lowest_trip(path)
        if lowest is None or marked or self.procedure.protection == kind:
            return
        if current >= lowest:
            line = _line(self.of_pack, ("protections", kind, "trip"))
            wrong = texts.may_trip(current, lowest, protection_name(kind), line)
            yield self.of_procedure.problem(where, *wrong)

    def _lowest_trip(self, path: str) -> float | None:
        """The lowest current (A) at which the pack's own over-current protection of a path may trip."""
        protection = self.pack.protection(f"{path}_over_current")
        if protection is None:
            return None
        limits = tolerances.allowed(protection, self.bench.decision.assumed_tolerance).trip
        return limits[0] if limits is not None else protection.trip

    def _trips_below(self, path: str, allowed: float | None) -> bool:
        """Whether that is lower than what the pack sheet allows: of two limits the lower one is named."""
        lowest = self._lowest_trip(path)
        return allowed is not None and lowest is not None and lowest < allowed

    def _marked(self, step: Planned, what: str) -> bool:
        return step.word("beyond") == what and str(self.procedure.protection or "").endswith(f"over_{what}")

    def _stairs(self, step: Planned, place: Path) -> Iterator[Problem]:
        first, last, height = step.values["from"], step.values["to"], step.values["step"]
        if last < first:
            yield self.of_procedure.problem((*place, "to"), *texts.levels_downwards())
        elif height > 0 and (last - first) / height > MOST_LEVELS:
            yield self.of_procedure.problem((*place, "step"), *texts.too_many_levels(MOST_LEVELS))

    def _beyond_a_ceiling(self, step: Planned, place: Path, ceilings: CeilingValues) -> Iterator[Problem]:
        """A mark that a ceiling comes before: the run would always end there."""
        name = {"heat": "give_up", "wait": "above"}.get(step.kind, "")
        value, ceiling = step.values.get(name), ceilings.temperature
        if value is not None and ceiling is not None and value >= ceiling:
            wrong = texts.ceiling_comes_first(step.kind, value, ceiling)
            yield self.of_procedure.problem((*place, name), *wrong)

    def _too_small(self, step: Planned, place: Path) -> Iterator[Problem]:
        """A current that its reading cannot tell from none: whether the pack conducts would never be seen."""
        if step.kind not in SETS_CURRENT:
            return
        path = DISCHARGE if self._role(step) == "load" else CHARGE
        smallest, current = smallest_currents(self.bench).get(path, 0.0), highest_current(step)
        if 0.0 < current <= smallest:
            wrong = texts.too_small(current, self._role(step), smallest)
            yield self.of_procedure.problem((*place, "current"), *wrong)

    def _beyond_a_sensor(self, step: Planned, place: Path) -> Iterator[Problem]:
        if step.kind not in ("heat", "cool", "wait"):
            return
        low, high = self.pack.sensor_limits
        names = ("approach", "give_up") if step.kind != "wait" else ("below", "above")
        for name in names:
            value = step.values.get(name)
            if value is not None and not low <= value <= high:
                yield self._sensor((*place, name), f"{value:g} °C")

    def _never(self, path: Path, what: str, side: str, bound: float) -> Problem:
        cells = self.pack.cells_in_series
        where = _line(self.of_pack, ("cells_in_series",))
        return self.of_procedure.problem(path, *texts.never(what, side, bound, cells, self.pack.chemistry, where))

    def _not_allowed(self, path: Path, what: str, name: str, unit: str, mark: str) -> Problem:
        allowed, where = getattr(self.pack, name), _line(self.of_pack, (name,))
        return self.of_procedure.problem(path, *texts.not_allowed(what, allowed, unit, where, mark))

    def _sensor(self, path: Path, what: str) -> Problem:
        low, high = self.pack.sensor_limits
        where = _line(self.of_pack, ("sensor_limits",))
        return self.of_procedure.problem(path, *texts.not_for_a_sensor(what, low, high, where))

    def protect(self, ceilings: CeilingValues) -> tuple[float, float]:
        """The supply's own protection (V, A): the bench file's limit or the procedure's ceiling, whichever is lower."""
        supply = self.bench.instruments.supply
        if supply is None:
            return (0.0, 0.0)
        return (min(supply.limits.voltage, ceilings.voltage), min(supply.limits.current, ceilings.current))

    def _leads(self, steps: Sequence[Planned]) -> Iterator[Problem]:
        """What the leads of supply and load must not carry, where the bench file says how much they may."""
        for role, instrument in (("supply", self.bench.instruments.supply), ("load", self.bench.instruments.load)):
            carry = instrument.leads.current if instrument is not None and instrument.leads is not None else None
            asked = max((highest_current(step) for step in steps if self._role(step) == role), default=0.0)
            if carry is not None and asked > carry * CLOSE:
                wrong = texts.leads_too_thin(self.procedure.name, asked, carry)
                yield self.of_bench.problem(("instruments", role, "leads", "current"), *wrong)

    def _full_line(self) -> str:
        return _line(self.of_pack, ("full_charge_voltage",))

    @staticmethod
    def _role(step: Planned) -> str:
        if step.kind not in SETS_CURRENT:
            return ""
        return "load" if step.kind == "drain" or step.word("path") == DISCHARGE else "supply"

    def _supply(self, steps: Sequence[Planned], ceilings: CeilingValues) -> Iterator[Problem]:
        if self.bench.instruments.supply is None:
            return
        asked: dict[str, float] = {}
        for step in steps:
            if "voltage" in step.values and step.word("path") != DISCHARGE:
                asked["voltage"] = max(asked.get("voltage", 0.0), step.values["voltage"])
                asked["current"] = max(asked.get("current", 0.0), highest_current(step))
        for name, highest, unit in zip(("voltage", "current"), self.protect(ceilings), ("V", "A"), strict=True):
            if name in asked and asked[name] > highest:
                what = texts.charges_with(asked[name], unit)
                yield self._too_much(
                    "supply", name, what, f"{highest:g} {unit}", of_bench=highest < getattr(ceilings, name)
                )

    def _load(self, steps: Sequence[Planned], ceilings: CeilingValues) -> Iterator[Problem]:
        load = self.bench.instruments.load
        if load is None:
            return
        highest, full = min(load.limits.current, ceilings.current), self.pack.full_charge_voltage
        if full > load.limits.voltage and any(self._role(step) == "load" for step in steps):
            wrong = texts.load_too_small(load.limits.voltage, full, self._full_line())
            yield self.of_bench.problem(("instruments", "load", "limits", "voltage"), *wrong)
        for step in steps:
            draws = step.kind == "drain" or step.word("path") == DISCHARGE
            asked = highest_current(step) if draws else step.values.get("drain", 0.0)
            if asked > highest:
                of_bench = highest < ceilings.current
                yield self._too_much("load", "current", texts.draws(asked), f"{highest:g} A", of_bench=of_bench)
                return

    def _heated(self, steps: Sequence[Planned]) -> Iterator[Problem]:
        """What heats on command reaches every sensor, every rate, and the temperature at which a step gives up."""
        for role, sheet in self.bench.wired().items():
            for step, rate, end, heats in _ramps(steps) if facts_of(role).heats else ():
                for key, what, remedy in sheet.cannot_ramp(step.sensor, rate, end, heats=heats):
                    yield self.of_bench.problem(("instruments", role, *key), f"{step.title}: {what}", remedy)

    def _too_much(self, role: str, name: str, what: str, highest: str, *, of_bench: bool) -> Problem:
        if not of_bench:
            return self.of_procedure.problem(("ceilings", name), *texts.over_its_ceiling(what, highest))
        wrong = texts.over_the_bench(self.procedure.name, what, highest, role)
        return self.of_bench.problem(("instruments", role, "limits", name), *wrong)


def _ramps(steps: Sequence[Planned]) -> Iterator[tuple[Planned, float, float, bool]]:
    """What is heated and cooled: the step, its rate in K/s (0: freely), where it ends in °C, and whether that is heat."""
    for step in steps:
        values = step.values
        if step.kind in ("heat", "cool"):
            yield step, values["rate"], values["give_up"], step.kind == "heat"
        elif step.kind == "wait" and step.sensor and "for" not in values:  # a pack takes the temperature of the room
            yield step, 0.0, values.get("above", values.get("below", 0.0)), "above" in values


def last_resort(ceilings: CeilingValues, pack: PackSheet) -> CeilingValues:
    """The ceilings of a procedure within what no cell and no sensor is ever taken to, whatever the procedure says."""
    low, high = pack.never()
    coldest, hottest = pack.sensor_limits
    temperature = None if ceilings.temperature is None else min(ceilings.temperature, hottest)
    return replace(
        ceilings,
        temperature=temperature,
        voltage=min(ceilings.voltage, high),
        lowest_voltage=low,
        lowest_temperature=coldest,
    )


def _line(source: Source, path: Path) -> str:
    return f"{source.file}:{source.place_of(path)[0]}"


def _once(problems: list[Problem]) -> list[Problem]:
    """The same thing in a repeat is said once."""
    return list(dict.fromkeys(problems))


def highest_current(step: Planned) -> float:
    """The largest current that a step sets, in A."""
    return step.values.get("to", step.values.get("current", 0.0))
