"""What procedure, pack sheet and bench file must agree on before a single number is worked out."""

from __future__ import annotations

from dataclasses import dataclass, field

from runner.engine.fitting.by_hand import beyond_the_charger, missing_roles, needs_a_cable
from runner.engine.fitting.further import misplaced
from runner.engine.texts import files as texts
from runner.errors import Problem
from runner.notation.source import Path, Source
from runner.sheets.bench import BenchFile
from runner.sheets.pack import PackSheet, Sensor
from runner.sheets.parts.protections import Protection, TemperatureProtection, protection_name
from runner.sheets.procedure import Procedure


@dataclass
class Agreement:
    """The three files; what they do not agree on comes to ``problems``. ``wanted`` are the sensors asked for, all if none."""

    procedure: Procedure
    pack: PackSheet
    bench: BenchFile
    of_pack: Source
    of_bench: Source
    wanted: tuple[str, ...] = ()
    problems: list[Problem] = field(default_factory=list)

    def protection(self) -> Protection | None:
        """The protection that the procedure is about; None where it is about none."""
        kind = self.procedure.protection
        if kind is None:
            return None
        protection = self.procedure.tested(self.pack)
        if protection is None:
            wrong = texts.no_such_protection(protection_name(kind), kind, self.procedure.name)
            self.problems.append(self.of_pack.problem(("protections",), *wrong, key=True))
        return protection

    def instruments(self) -> None:
        """Whether the bench has what the procedure needs, on a cable where it has to be."""
        name = self.procedure.name
        for role in missing_roles(self.procedure, self.bench):
            self.problems.append(self.of_bench.problem(("instruments",), *texts.missing(role, name), key=True))
        for role in needs_a_cable(self.procedure, self.bench):
            wrong = texts.needs_an_address(role, name)
            self.problems.append(self.of_bench.problem(("instruments", role, "by_hand"), *wrong))
        for path, what, remedy in misplaced(self.bench, self.pack):
            self.problems.append(self.of_bench.problem(path, what, remedy))
        for each in beyond_the_charger(self.procedure, self.pack, self.bench):
            what = texts.of_the_procedure(name, each.what)
            self.problems.append(self.of_bench.problem(each.path, what, each.remedy))

    def sensors(self, protection: Protection | None) -> tuple[Sensor, ...]:
        """The sensors that a procedure for a protection is about."""
        if protection is None:
            return self.pack.sensors
        if not isinstance(protection, TemperatureProtection):
            return ()
        by_name = {sensor.name: sensor for sensor in self.pack.sensors}
        path: Path = ("protections", str(self.procedure.protection))
        if not protection.sensors:
            self.problems.append(self.of_pack.problem(path, *texts.names_no_sensors(), key=True))
        for name in self.wanted:
            if name not in protection.sensors:
                wrong = texts.no_such_sensor(name, protection.sensors)
                self.problems.append(self.of_pack.problem(path, *wrong, key=True))
        return tuple(by_name[name] for name in (self.wanted or protection.sensors) if name in by_name)
