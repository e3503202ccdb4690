"""What procedure, pack sheet and bench file must agree on before a single number is worked out."""

from __future__ import annotations

from dataclasses import dataclass, field

from runner.engine.fitting.by_hand import beyond_the_charger, missing_roles, needs_a_cable
from runner.engine.fitting.further import misplaced
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
            words = protection_name(kind)
            self.problems.append(
                self.of_pack.problem(
                    ("protections",),
                    f"declares no {words}, which the procedure {self.procedure.name} tests",
                    f"add {kind}: with trip, tolerance and delay from the data sheet",
                    key=True,
                )
            )
        return protection

    def instruments(self) -> None:
        """Whether the bench has what the procedure needs, on a cable where it has to be."""
        name = self.procedure.name
        for role in missing_roles(self.procedure, self.bench):
            what, remedy = f"has no {role}, which the procedure {name} needs", f"add {role}: with its address"
            self.problems.append(self.of_bench.problem(("instruments",), what, remedy, key=True))
        for role in needs_a_cable(self.procedure, self.bench):
            what = f"the procedure {name} needs a {role} with an address (a person is too slow)"
            remedy = "give its address, or leave this procedure out"
            self.problems.append(self.of_bench.problem(("instruments", role, "by_hand"), what, remedy))
        for path, what, remedy in misplaced(self.bench, self.pack):
            self.problems.append(self.of_bench.problem(path, what, remedy))
        for each in beyond_the_charger(self.procedure, self.pack, self.bench):
            what = f"the procedure {name}: {each.what}"
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
            self.problems.append(
                self.of_pack.problem(path, "names no sensors", "add sensors: all, or [T1, T2]", key=True)
            )
        for name in self.wanted:
            if name not in protection.sensors:
                known = ", ".join(protection.sensors) or "none"
                self.problems.append(
                    self.of_pack.problem(
                        path, f"--sensor {name} is not one of its sensors", f"choose one of {known}", key=True
                    )
                )
        return tuple(by_name[name] for name in (self.wanted or protection.sensors) if name in by_name)
