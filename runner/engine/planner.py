"""From procedure, pack sheet and bench file to a flat list of steps with every number worked out.

Repeats are unrolled here, so the run itself has no loops: it goes forward, or it skips to the end of a sensor's steps.
What the three files do not agree on is found here, before anything is switched on, with its place in the file at fault.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from runner.engine.derived import (
    climb_of,
    declared_path,
    empty_at,
    longest_delay,
    named_in_texts,
    own_limits,
    probe_resolution,
    smallest_currents,
    usual_readings,
    voltage_error,
    with_restarts,
)
from runner.engine.fitting import by_hand as possible
from runner.engine.fitting import further
from runner.engine.fitting.agreement import Agreement
from runner.engine.fitting.currents import Currents
from runner.engine.limits import Limits, last_resort
from runner.engine.program import CeilingValues, Planned, Program
from runner.engine.texts import files
from runner.engine.texts import plan as plan_texts
from runner.engine.texts.titles import of_several, title
from runner.errors import SheetError
from runner.notation.fields import dimension_of
from runner.notation.quantity import DIMENSIONS, POSITIVE, Expression, parse_expression, shown
from runner.notation.source import Path, Source, normal_key
from runner.sheets.bench import BenchFile
from runner.sheets.doubts import doubts
from runner.sheets.hold_steps import CellsSpec, ConfirmSpec, ReadSpec
from runner.sheets.instruments import facts_of
from runner.sheets.older import BOX, observed_before
from runner.sheets.pack import PackSheet, Sensor
from runner.sheets.parts.protections import Protection
from runner.sheets.procedure import Procedure, names_for
from runner.sheets.steps import OfferSpec, RepeatSpec, StepItem, SubstituteSpec
from runner.sheets.tolerances import allowed, marks, release_about

MOST_PATIENCE = 10.0
LONGEST_STAIRCASE = 200  # levels
MOST_STEPS = 2000
UNHURRIED = 10.0  # times real speed: up to here the pauses of a busy computer do not look like lost readings


def plan(
    procedure: Procedure,
    pack: PackSheet,
    bench: BenchFile,
    sources: tuple[Source, Source, Source],
    sensors: tuple[str, ...] = (),
    *,
    as_it_was: bool,
) -> Program:
    """The program, for all sensors of the protection or only those named; ``as_it_was``: of a run that there is already.

    ``sources`` are the three files as read, in the order procedure, pack, bench. Raises SheetError with everything the
    three do not agree on.
    """
    return _Planner(procedure, pack, bench, sources, sensors).program(as_it_was=as_it_was)


class _Planner:
    def __init__(
        self,
        procedure: Procedure,
        pack: PackSheet,
        bench: BenchFile,
        sources: tuple[Source, Source, Source],
        sensors: tuple[str, ...],
    ) -> None:
        self.procedure, self.pack, self.bench = procedure, pack, bench
        self.of_procedure, self.of_pack, self.of_bench = sources
        self.agreement = Agreement(procedure, pack, bench, sources[1], sources[2], sensors)
        self.problems = self.agreement.problems
        self.currents = Currents(pack, bench)
        self.raised = ""  # the sentence about a ceiling that a charger or a load by hand needs higher
        self.told: dict[str, str] = {}  # what texts say of values that the sheet does not declare
        self.steps: list[Planned] = []
        self.places: list[Path] = []  # of each step, in the procedure's file
        self.group = 0
        self._too_long = False
        self._visited = 0  # steps and turns of repeats, those without steps in them too
        self.offer = self.offers = 0  # the number of the offer that is being planned, and how many there were
        self.dimensions = names_for(procedure.protection)

    def program(self, *, as_it_was: bool) -> Program:
        protection = self.agreement.protection()
        self.agreement.instruments()
        if self.problems:
            raise SheetError(self.problems)
        values = self._values(protection)
        sensors = self.agreement.sensors(protection)
        ceilings = self._ceilings(values)
        self._current_ceiling = ceilings.current
        for index, item in enumerate(self.procedure.steps):
            self._add(item, ("steps", index), values, None, sensors, 0)
        ceilings = replace(ceilings, time=ceilings.time + self.currents.longer)
        limits = Limits(self.procedure, self.pack, self.bench, self.of_procedure, self.of_pack, self.of_bench)
        if not as_it_was:
            self.problems += limits.problems(self.steps, self.places, ceilings)
        protect = limits.protect(ceilings)
        if self.problems:
            raise SheetError(self.problems)
        bench = self.bench
        return Program(
            self.procedure.name,
            self.procedure.title,
            self.procedure.protection or "",
            protection.trip if protection else None,
            allowed(protection, bench.decision.assumed_tolerance).trip,
            protection.release if protection else None,
            tuple(self._text(each, values, None) for each in self.procedure.cautions),
            self._prepare(values),
            last_resort(ceilings, self.pack),
            protect,
            smallest_currents(bench),
            min(max(1.0, bench.speed / UNHURRIED), MOST_PATIENCE) if bench.simulated else 1.0,
            tuple(sensor.name for sensor in sensors) if protection is not None else (),
            with_restarts(self.steps),
            tuple(bench.roles()),
            possible.roles_by_hand(bench),
            bench.hand.reaction,
            bench.hand.longest_hold,
            bench.hand.every,
            self.pack.nominal_voltage,
            self.pack.cells_in_series,
            tuple(str(replace(each, remedy="")) for each in doubts(self.pack, self.of_pack)),
            probe_resolution(bench),
            longest_delay(protection),
            self.pack.rated_capacity,
            voltage_error(bench, protection),
            empty_at(self.pack, bench, self.procedure.protection or ""),
            any(facts_of(role).heats for role in bench.wired()),
            declared_path(self.pack),
            climb_of(self.pack),
            usual_readings(self.pack),
            self.pack.rated_energy or self.pack.rated_capacity * self.pack.nominal_voltage,
            tuple(self.currents.said),
            references=further.references(bench),
            further=further.further_channels(bench),
            raised=self.raised,
        )

    def _prepare(self, values: Mapping[str, float]) -> tuple[str, ...]:
        """What has to be done before the start, and what was fitted to this bench."""
        return (
            *(self._text(each, values, None) for each in self.procedure.prepare),
            *(f"{each[:1].upper()}{each[1:]}." for each in self.currents.said),
            *possible.instead(self.procedure, self.bench),
        )

    def _values(self, protection: Protection | None) -> dict[str, float]:
        """What expressions may name, in SI; and what texts say of what the sheet does not declare."""
        values = self.pack.values()
        if protection is not None:
            low, high = marks(protection, self.bench.decision.assumed_tolerance, self.pack.cells_in_series)
            values |= {"trip": protection.trip, "delay": protection.delay_to_wait, "polling": protection.polling}
            values |= {"lowest_trip": low, "highest_trip": high}
            if not protection.trip_declared:
                dimension = protection.dimension
                self.told["trip"] = plan_texts.between(low, high, dimension)
            assumed, kind = self.bench.decision.assumed_tolerance, str(self.procedure.protection)
            release = release_about(kind, protection, assumed, self.pack.cells_in_series)
            if release is not None:
                values["release"] = release
            if protection.release is None:
                self.told["release"] = plan_texts.NO_RELEASE
        return values

    def _ceilings(self, values: Mapping[str, float]) -> CeilingValues:
        wanted = self.procedure.ceilings
        found = {
            name: self._value(getattr(wanted, name), values, ("ceilings", name))
            for name in ("voltage", "current", "time")
        }
        hot = wanted.temperature
        watched = hot is not None and "probe" in self.bench.roles()
        temperature = self._value(hot, values, ("ceilings", "temperature")) if hot is not None and watched else None
        raised = possible.ceiling_of_current(found["current"], self.procedure, self.pack, self.bench)
        if raised > found["current"]:
            self.raised = possible.why_raised(self.procedure, found["current"], raised, self.bench)
        found["current"] = raised
        return CeilingValues(temperature, **found)

    # ---- steps -----------------------------------------------------------------------------------------------

    def _add(
        self,
        item: StepItem,
        path: Path,
        values: Mapping[str, float],
        sensor: Sensor | None,
        sensors: tuple[Sensor, ...],
        cycle: int,
    ) -> None:
        kind, step = item.step()
        if self._is_too_long(path):
            return
        if isinstance(step, RepeatSpec):
            for scope, here, number in self._turns(step, (*path, "repeat"), values, sensor, sensors, cycle):
                if self._is_too_long(path):
                    return
                for index, inner in enumerate(step.steps):
                    self._add(inner, (*path, "repeat", "steps", index), scope, here, sensors, number)
            return
        if isinstance(step, OfferSpec):
            self._offer(step, (*path, "offer"), values, sensor, sensors)
            return
        if getattr(step, "role", "") and step.role not in self.bench.roles():
            return  # what the bench has not got cannot be read
        if kind == "wait" and step.for_ is None and "probe" not in self.bench.wired():
            return  # and a temperature that nobody reads cannot be waited for
        numbers, words = self._figures(kind, step, values, path)
        self.places.append((*path, kind))
        name, record = sensor.name if sensor else "", getattr(step, "record", "")
        self.steps.append(
            Planned(
                len(self.steps),
                kind,
                title(kind, numbers, words, name, record, of_several(name, [each.name for each in sensors])),
                self._text(step.say, values, sensor, own_limits(numbers, words.get("dimension", "voltage"))),
                numbers,
                name,
                self.group if sensor else 0,
                cycle,
                record,
                words,
                self._levels(numbers, sensor, (*path, kind)) if isinstance(step, SubstituteSpec) else (),
                offer=self.offer,
            )
        )

    def _figures(
        self, kind: str, step: Any, values: Mapping[str, float], path: Path
    ) -> tuple[dict[str, float], dict[str, Any]]:
        """A step's values worked out in SI, and those that are words."""
        numbers: dict[str, float] = {}
        words: dict[str, Any] = {}
        for name in type(step).model_fields:
            value = getattr(step, name)
            if isinstance(value, Expression):
                numbers[name.rstrip("_")] = self._value(value, values, (*path, kind, name.rstrip("_")))
            elif value is not None and name not in ("say", "record"):
                words[name.rstrip("_")] = value
        if isinstance(step, ReadSpec):
            words["dimension"] = step.dimension
            words["as"] = step.as_ or observed_before(step.record, step.dimension) or ""
            words["reads"] = self._read_from(words.pop("from", ""), step, path)
        if isinstance(step, CellsSpec):
            words["reads"] = further.every_cell(self.bench, self.pack)
        if said := further.certified(words.get("reads", ()), self.bench):
            words["certified"] = said
        if isinstance(step, ConfirmSpec):
            words["box"] = step.box or BOX.get(step.record, "")
        load = self.bench.instruments.load
        if kind == "drain" and load is not None and load.by_hand:
            numbers["current"] = load.draws or 0.0
        elif kind in possible.BY_CHARGER and (charger := possible.charger_of(self.bench)) is not None:
            self.currents.longer += possible.with_its_charger(kind, numbers, self.pack, charger)
        elif why := self.currents.fit(kind, words, numbers):
            wrong = files.current_does_not_fit(kind, why)
            self.problems.append(self.of_procedure.problem((*path, kind, "at_least"), *wrong))
        return numbers, words

    def _read_from(self, name: str, step: ReadSpec, path: Path) -> tuple[str, ...]:
        """The channels that a reading is taken from; none where a person reads it."""
        found = further.channels_of(name, self.bench) if name else {}
        for dimension in {each for each in found.values() if each != step.dimension}:
            wrong = files.other_dimension(name, dimension, step.dimension)
            self.problems.append(self.of_procedure.problem((*path, "read", "from"), *wrong))
        return tuple(found)

    def _is_too_long(self, path: Path) -> bool:
        self._visited += 1
        if max(len(self.steps), self._visited / 4) >= MOST_STEPS and not self._too_long:
            self._too_long = True
            self.problems.append(self.of_procedure.problem(path, *files.too_many_steps(MOST_STEPS)))
        return self._too_long

    def _offer(
        self,
        step: OfferSpec,
        path: Path,
        values: Mapping[str, float],
        sensor: Sensor | None,
        sensors: tuple[Sensor, ...],
    ) -> None:
        """The question, and the steps that follow if it is taken, as one more turn of what came before them."""
        name, group = (sensor.name, self.group) if sensor else ("", 0)
        cycle = 1 + max((each.cycle for each in self.steps if each.group == group), default=0)
        self.offer = self.offers = self.offers + 1
        words = self._text(step.say, values, sensor)
        self.places.append(path)
        heading = title("offer", {}, {}, name, "")
        self.steps.append(Planned(len(self.steps), "offer", heading, words, {}, name, group, cycle, offer=self.offer))
        for index, inner in enumerate(step.steps):
            self._add(inner, (*path, "steps", index), values, sensor, sensors, cycle)
        self.offer = 0

    def _levels(
        self, numbers: Mapping[str, float], sensor: Sensor | None, path: Path
    ) -> tuple[tuple[float, float], ...]:
        """What a decade box is set to, one level after the other."""
        if sensor is None or sensor.curve is None:
            wrong = files.no_curve(sensor.name if sensor else "", self.of_pack.file)
            self.problems.append(self.of_procedure.problem(path, *wrong, key=True))
            return ()
        first, last, step = numbers["from"], numbers["to"], abs(numbers["step"])
        count = int(abs(last - first) / step + 1e-6) + 1 if step > 0 else LONGEST_STAIRCASE + 1
        if count > LONGEST_STAIRCASE:
            self.problems.append(self.of_procedure.problem(path, *files.too_many_levels(LONGEST_STAIRCASE)))
            return ()
        sign = 1.0 if last >= first else -1.0
        try:
            return tuple((t, sensor.curve.resistance(t)) for t in (first + sign * step * i for i in range(count)))
        except ValueError as error:
            self.problems.append(self.of_procedure.problem(path, *files.outside_the_curve(str(error))))
            return ()

    def _turns(
        self,
        step: RepeatSpec,
        path: Path,
        values: Mapping[str, float],
        sensor: Sensor | None,
        sensors: tuple[Sensor, ...],
        cycle: int,
    ) -> Iterator[tuple[Mapping[str, float], Sensor | None, int]]:
        if step.each == "sensor":
            for each in sensors:
                self.group += 1
                yield values, each, 0
        elif step.each:
            name = normal_key(step.each).lower()
            for number, text in enumerate(step.values, start=1):
                expression = self._loop_value(text, name)
                yield {**values, name: self._value(expression, values, (*path, "values", number - 1))}, sensor, number
        else:
            for number in range(1, step.times + 1):
                yield values, sensor, number

    def _loop_value(self, text: object, name: str) -> Expression:
        dimension = dimension_of(text, self.dimensions)
        self.dimensions[name] = dimension
        return parse_expression(text, dimension, self.dimensions)

    def _value(self, expression: Expression, values: Mapping[str, float], path: Path) -> float:
        missing = sorted(expression.names - set(values))
        if missing:
            words = [name.replace("_", " ") for name in missing]
            wrong = files.not_declared(words, self.of_pack.file)
            self.problems.append(self.of_procedure.problem(path, *wrong))
            return 0.0
        try:
            value = expression.value(values)
        except ArithmeticError:
            value = math.nan
        if not math.isfinite(value):
            self.problems.append(self.of_procedure.problem(path, *files.no_number(expression.text)))
            return 0.0
        if expression.dimension in POSITIVE and value <= 0:
            wrong = files.not_positive(expression.text, value, expression.dimension)
            self.problems.append(self.of_procedure.problem(path, *wrong))
        return value

    def _text(
        self, text: str, values: Mapping[str, float], sensor: Sensor | None, own: Mapping[str, str] | None = None
    ) -> str:
        """A text of the procedure with its values put in; ``own`` are the limits of the step that it belongs to."""
        words = {name: shown(value, self.dimensions.get(name, "ratio")) for name, value in values.items()}
        words |= self.told
        words |= own or own_limits({})
        words |= named_in_texts(
            sensor, self._current_ceiling, possible.charged_by(self.bench), self.bench.instruments.seconds
        )
        for name, dimension in self.dimensions.items():
            undeclared = plan_texts.not_declared_here(name.replace("_", " "))
            words.setdefault(name, undeclared if dimension in DIMENSIONS else "")
        return " ".join(text.format_map(words).split())
