"""Whether the steps of a procedure can find in their order what it promises: looked at before anything is switched on.

Rule 1: one path is on at a time, and what is provoked is looked for on the path that its protection opens.
Rule 2: heat, cold and a decade box act on a sensor: inside a loop over the sensors, the box plugged in before it is set, and
        out again in the end.
Rule 3: heat, cold and levels wait for what this protection does: a give-up would else be taken for another finding's.
Rule 4: before cells are charged beyond full, they have been compared.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from runner.engine.program import Planned
from runner.engine.texts import step_order as texts
from runner.errors import Problem
from runner.events import CHARGE, DISCHARGE
from runner.notation.source import Path, Source
from runner.sheets.parts.protections import protection_name
from runner.sheets.procedure import Procedure
from runner.vocabulary import BoxPlace, Until

LEAVES_ON, LEAVES_OFF = ("charge", "drain"), ("charge", "drain", "stage", "wake", "try", "recover", "rest", "off")
PROVOKES = ("heat", "cool", "substitute")


def path_opened_by(kind: str) -> str:
    """The path that a protection opens."""
    return DISCHARGE if kind.startswith("discharge") or kind == "under_voltage" else CHARGE


def path_of(step: Planned) -> str:
    """The path that a step switches on, or nothing."""
    named = step.word("path")
    return named or {"charge": CHARGE, "wake": CHARGE, "drain": DISCHARGE}.get(step.kind, "")


class StepOrder:
    """Goes through the steps of one procedure; ``source`` is its file."""

    def __init__(self, procedure: Procedure, source: Source) -> None:
        self._kind, self._source = str(procedure.protection or ""), source
        self._words = protection_name(self._kind)
        self._finds = bool(procedure.findings)

    def problems(self, steps: Sequence[Planned], places: Sequence[Path]) -> Iterator[Problem]:
        """Everything that is out of order; ``places`` are those of the steps in the file."""
        on, boxed = "", None  # the path that is on; the sensor whose place the box has, None where it is out
        place: Path = ("steps",)
        compared = False
        for step, place in zip(steps, places, strict=True):
            yield from self._wrong_way(step, place)
            yield from self._on_its_path(step, place, on)
            yield from self._at_its_sensor(step, place, boxed)
            compared = compared or step.kind == "cells"
            if step.word("beyond") == "voltage" and not compared:
                yield self._problem(place, texts.cells_not_compared(step.kind))
            if step.word("box"):
                boxed = step.sensor if step.word("box") == BoxPlace.IN else None
            if step.kind in LEAVES_ON and step.word("until") == Until.STEADY:
                on = path_of(step)
            elif step.kind in LEAVES_OFF:
                on = ""
        if boxed is not None:
            yield self._problem(place, texts.box_left_in(boxed))
        if not steps:
            yield self._problem(("steps",), texts.no_steps())

    def _wrong_way(self, step: Planned, place: Path) -> Iterator[Problem]:
        """Heat trips an over-temperature protection and cold brings it back; an under-temperature protection the other way."""
        if step.kind not in ("heat", "cool") or not self._kind.endswith("temperature"):
            return
        over = self._kind.endswith("over_temperature")
        wanted = Until.STOPPED if (step.kind == "heat") == over else Until.RETURNED
        if step.word("until") != wanted:
            yield self._problem(place, texts.wrong_way(step.kind, step.word("until"), self._words, wanted))

    def _on_its_path(self, step: Planned, place: Path, on: str) -> Iterator[Problem]:
        path, opened = path_of(step), path_opened_by(self._kind)
        if step.kind in PROVOKES:
            if not on:
                yield self._problem(place, texts.everything_off(step.kind))
            elif self._kind.endswith("temperature") and on != opened:
                yield self._problem(place, texts.on_the_other_path(step.kind, on, self._words, opened))
        elif path and on and path != on:
            yield self._problem(place, texts.both_on(step.kind, path, on))
        elif step.kind == "wake" and on:  # a pack that is awake is not woken, and what is on stays on
            yield self._problem(place, texts.awake_already(on))
        if step.kind in ("stage", "try") and self._kind.endswith("current") and path and path != opened:
            yield self._problem(place, texts.looked_for_elsewhere(step.kind, path, self._words, opened))

    def _at_its_sensor(self, step: Planned, place: Path, boxed: str | None) -> Iterator[Problem]:
        if step.kind not in PROVOKES:
            return
        if not step.sensor and self._finds and self._kind.endswith("temperature"):
            yield self._problem(place, texts.no_sensor(step.kind))
        elif step.kind == "substitute" and boxed != step.sensor:
            yield self._problem(place, texts.box_not_in(step.sensor))
        elif step.kind != "substitute" and boxed is not None:
            yield self._problem(place, texts.box_still_in(step.kind, boxed))

    def _problem(self, place: Path, wrong: tuple[str, str]) -> Problem:
        return self._source.problem(place, *wrong, key=True)
