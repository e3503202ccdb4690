"""What the steps of a procedure may set on this pack at this bench: looked at before anything is switched on.

Rule 1: nothing is set beyond what the bench file lets supply and load give.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from runner.engine.program import CeilingValues, Planned
from runner.errors import Problem
from runner.events import DISCHARGE
from runner.sheets.bench import BenchFile
from runner.sheets.pack import PackSheet
from runner.sheets.procedure import Procedure
from runner.sheets.source import Path, Source


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
        return [*self._supply(steps, ceilings), *self._load(steps, ceilings)]

    def protect(self, ceilings: CeilingValues) -> tuple[float, float]:
        """The supply's own protection (V, A): the bench file's limit or the procedure's ceiling, whichever is lower."""
        supply = self.bench.instruments.supply
        if supply is None:
            return (0.0, 0.0)
        return (min(supply.limits.voltage, ceilings.voltage), min(supply.limits.current, ceilings.current))

    def _supply(self, steps: Sequence[Planned], ceilings: CeilingValues) -> Iterator[Problem]:
        if self.bench.instruments.supply is None:
            return
        asked: dict[str, float] = {}
        for step in steps:
            if "voltage" in step.values and step.word("path") != DISCHARGE:
                asked["voltage"] = max(asked.get("voltage", 0.0), step.values["voltage"])
                asked["current"] = max(asked.get("current", 0.0), highest_current(step))
        for name, highest, unit in zip(("voltage", "current"), self.protect(ceilings), ("V", "A"), strict=True):
            if asked.get(name, 0.0) > highest:
                yield self._too_much("supply", name, f"charges with {asked[name]:g} {unit}", f"{highest:g} {unit}")

    def _load(self, steps: Sequence[Planned], ceilings: CeilingValues) -> Iterator[Problem]:
        load = self.bench.instruments.load
        if load is None:
            return
        highest = min(load.limits.current, ceilings.current)
        for step in steps:
            draws = step.kind == "drain" or step.word("path") == DISCHARGE
            asked = highest_current(step) if draws else step.values.get("drain", 0.0)
            if asked > highest:
                yield self._too_much("load", "current", f"draws {asked:g} A", f"{highest:g} A")
                return

    def _too_much(self, role: str, name: str, what: str, highest: str) -> Problem:
        return self.of_bench.problem(
            ("instruments", role, "limits", name),
            f"the procedure {self.procedure.name} {what}, at most {highest} are allowed",
            f"raise the limit if {role} and pack allow it, or change the procedure",
        )


def highest_current(step: Planned) -> float:
    """The largest current that a step sets, in A."""
    return step.values.get("to", step.values.get("current", 0.0))
