"""From procedure, pack sheet and bench file to a flat list of steps with every number worked out.

Repeats are unrolled here, so the run itself has no loops: it goes forward, or it skips to the end of a sensor's steps.
What the three files do not agree on is found here, before anything is switched on, with its place in the file at fault.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from runner.errors import Problem, SheetError
from runner.sheets.bench import BenchFile
from runner.sheets.pack import PackSheet, Protection, Sensor, TemperatureProtection
from runner.sheets.procedure import Procedure, Repeat, StepItem, dimension_of, names_for
from runner.sheets.quantity import DIMENSIONS, Expression, parse_expression, shown
from runner.sheets.source import Path, Source

MOST_PATIENCE = 10.0
UNHURRIED = 10.0  # times real speed: up to here the pauses of a busy computer do not look like lost readings


@dataclass(frozen=True)
class Planned:
    """One step, all values in SI and °C. ``group`` is what a skip jumps out of: the steps of one sensor."""

    index: int
    kind: str
    title: str
    say: str
    values: Mapping[str, float] = field(default_factory=dict)
    sensor: str = ""
    group: int = 0
    cycle: int = 0
    record: str = ""


@dataclass(frozen=True)
class CeilingValues:
    """The limits that end a run at once: °C, V, A, s."""

    temperature: float
    voltage: float
    current: float
    time: float


@dataclass(frozen=True)
class Program:
    """A procedure on a pack at a bench, ready to run."""

    name: str
    title: str
    protection: str
    trip: float
    trip_limits: tuple[float, float]
    release: float | None
    cautions: tuple[str, ...]
    prepare: tuple[str, ...]
    ceilings: CeilingValues
    protect: tuple[float, float]  # the supply's own over-voltage (V) and over-current (A) protection
    smallest_current: float  # A that the supply's reading can tell from none
    patience: float  # how many times longer than usual readings may be missing: a fast simulated bench stretches pauses
    sensors: tuple[str, ...]
    steps: tuple[Planned, ...]


def plan(
    procedure: Procedure,
    pack: PackSheet,
    bench: BenchFile,
    sources: tuple[Source, Source, Source],
    sensors: tuple[str, ...] = (),
) -> Program:
    """The program, for all sensors of the protection or only those named.

    ``sources`` are the three files as read, in the order procedure, pack, bench. Raises SheetError with everything the
    three do not agree on.
    """
    return _Planner(procedure, pack, bench, sources, sensors).program()


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
        self.problems: list[Problem] = []
        self.wanted = sensors
        self.steps: list[Planned] = []
        self.group = 0
        self.dimensions = names_for(procedure.protection)

    def program(self) -> Program:
        protection = self._protection()
        self._instruments()
        if protection is None:
            raise SheetError(self.problems)
        values = {
            **self.pack.values(),
            "trip": protection.trip,
            "delay": protection.delay,
            "polling": protection.polling,
        }
        if protection.release is not None:
            values["release"] = protection.release
        sensors = self._sensors(protection)
        for index, item in enumerate(self.procedure.steps):
            self._add(item, ("steps", index), values, None, sensors, 0)
        ceilings = self._ceilings(values)
        protect = self._protect(ceilings)
        if self.problems:
            raise SheetError(self.problems)
        supply = self.bench.instruments.supply
        assert supply is not None
        accuracy = supply.current_accuracy
        return Program(
            self.procedure.name,
            self.procedure.title,
            self.procedure.protection,
            protection.trip,
            protection.trip_limits(),
            protection.release,
            self.procedure.cautions,
            self.procedure.prepare,
            ceilings,
            protect,
            3.0 * (accuracy.offset + accuracy.resolution),
            min(max(1.0, self.bench.speed / UNHURRIED), MOST_PATIENCE) if self.bench.simulated else 1.0,
            tuple(sensor.name for sensor in sensors),
            tuple(self.steps),
        )

    # ---- what the files must agree on ------------------------------------------------------------------------

    def _protection(self) -> Protection | None:
        kind = self.procedure.protection
        protection = self.pack.protection(kind)
        if protection is None:
            words = kind.replace("_", " ")
            self.problems.append(
                self.of_pack.problem(
                    ("protections",),
                    f"declares no {words}, which the procedure {self.procedure.name} tests",
                    f"add {kind}: with trip, tolerance and delay from the data sheet",
                    key=True,
                )
            )
        return protection

    def _instruments(self) -> None:
        have = self.bench.roles()
        for role in self.procedure.needs:
            if role not in have:
                self.problems.append(
                    self.of_bench.problem(
                        ("instruments",),
                        f"has no {role}, which the procedure {self.procedure.name} needs",
                        f"add {role}: with its address",
                        key=True,
                    )
                )

    def _sensors(self, protection: Protection) -> tuple[Sensor, ...]:
        if not isinstance(protection, TemperatureProtection):
            return ()
        by_name = {sensor.name: sensor for sensor in self.pack.sensors}
        path: Path = ("protections", self.procedure.protection)
        if not protection.sensors:
            self.problems.append(
                self.of_pack.problem(path, "names no sensors", "add sensors: all, or [T1, T2]", key=True)
            )
        for name in self.wanted:
            if name not in protection.sensors:
                known = ", ".join(protection.sensors) or "none"
                self.problems.append(
                    self.of_pack.problem(
                        path, f"--sensor {name} is not one of its sensors", f"known are {known}", key=True
                    )
                )
        return tuple(by_name[name] for name in (self.wanted or protection.sensors) if name in by_name)

    def _ceilings(self, values: Mapping[str, float]) -> CeilingValues:
        found = {
            name: self._value(getattr(self.procedure.ceilings, name), values, ("ceilings", name))
            for name in ("temperature", "voltage", "current", "time")
        }
        return CeilingValues(**found)

    def _protect(self, ceilings: CeilingValues) -> tuple[float, float]:
        """The supply's own protection: the bench file's limit or the procedure's ceiling, whichever is lower."""
        supply = self.bench.instruments.supply
        if supply is None:
            return (0.0, 0.0)
        protect = (min(supply.limits.voltage, ceilings.voltage), min(supply.limits.current, ceilings.current))
        for step in self.steps:
            for name, highest, unit in (("voltage", protect[0], "V"), ("current", protect[1], "A")):
                if step.kind == "charge" and step.values[name] > highest:
                    self.problems.append(
                        self.of_bench.problem(
                            ("instruments", "supply", "limits", name),
                            f"the procedure {self.procedure.name} charges with {step.values[name]:g} {unit}, "
                            f"at most {highest:g} {unit} are allowed",
                            "raise the limit if supply and pack allow it, or change the procedure",
                        )
                    )
        return protect

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
        if isinstance(step, Repeat):
            for scope, here, number in self._turns(step, (*path, "repeat"), values, sensor, sensors, cycle):
                for index, inner in enumerate(step.steps):
                    self._add(inner, (*path, "repeat", "steps", index), scope, here, sensors, number)
            return
        numbers: dict[str, float] = {}
        for name in type(step).model_fields:
            value = getattr(step, name)
            if isinstance(value, Expression):
                numbers[name.rstrip("_")] = self._value(value, values, (*path, kind, name.rstrip("_")))
        self.steps.append(
            Planned(
                len(self.steps),
                kind,
                _title(kind, numbers, sensor),
                self._text(step.say, values, sensor),
                numbers,
                sensor.name if sensor else "",
                self.group if sensor else 0,
                cycle,
                getattr(step, "record", ""),
            )
        )

    def _turns(
        self,
        step: Repeat,
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
            name = step.each.replace(" ", "_").replace("-", "_")
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
            words = ", ".join(name.replace("_", " ") for name in missing)
            self.problems.append(
                self.of_procedure.problem(
                    path, f"needs {words}, which the pack sheet does not declare", f"add it to {self.of_pack.file}"
                )
            )
            return 0.0
        return expression.value(values)

    def _text(self, text: str, values: Mapping[str, float], sensor: Sensor | None) -> str:
        words: dict[str, str] = {
            name: shown(value, self.dimensions.get(name, "ratio")) for name, value in values.items()
        }
        words["sensor"], words["place"] = (sensor.name, sensor.place) if sensor else ("the sensor", "")
        for name, dimension in self.dimensions.items():
            words.setdefault(name, f"(no {name.replace('_', ' ')} declared)" if dimension in DIMENSIONS else "")
        return " ".join(text.format_map(words).split())


def _title(kind: str, numbers: Mapping[str, float], sensor: Sensor | None) -> str:
    where = f" {sensor.name}" if sensor else ""
    if kind in ("heat", "cool"):
        return f"{kind.capitalize()}{where} at {shown(numbers['rate'], 'ramp rate')}"
    if kind == "charge":
        return f"Charge with {shown(numbers['current'], 'current')}"
    if kind in ("rest", "wait") and "for" in numbers:
        return f"{kind.capitalize()} {shown(numbers['for'], 'time')}"
    if kind == "wait":
        side = "below" if "below" in numbers else "above"
        return f"Wait until{where} is {side} {shown(numbers[side], 'temperature')}"
    return {"confirm": f"Confirm{where}", "off": "Switch everything off"}[kind]
