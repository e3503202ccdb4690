"""What texts of former versions meant: a procedure's ``record:`` before ``as:`` and ``box:``, a line of a budget before ``kind``.

The one place where a sentence is read to decide something: for old folders, and for one version for procedures that people
have written themselves, with the line to write instead.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from runner.errors import Problem
from runner.notation.source import Path, Source
from runner.sheets.hold_steps import READ_AS, ConfirmSpec, ReadSpec
from runner.sheets.procedure import Procedure
from runner.sheets.steps import StepItem
from runner.vocabulary import BoxPlace, BudgetSource, Observed

CONTAINED = (  # what a record's text contains -> what was read
    ("lowest cell", Observed.LOWEST_CELL_VOLTAGE),
    ("highest cell", Observed.HIGHEST_CELL_VOLTAGE),
    ("ambient", Observed.AMBIENT_TEMPERATURE),
    ("alarm", Observed.ALARM),
)
ORDINARY = "Making the bench safe: every step was done"  # was remarked at the end of every run
SOURCES = {  # lines of budgets, in older findings
    "delay counted in looks": "delay as a number of polls",
    "disagreement of the ramps": "repeatability of the pack",
    "distance of the levels": "step size",
    "distance of the looks": "interval between tries",
    "distance of the readings": "interval between readings",
    "moment of the person's key": "moment at which the operator pressed Enter",
    "scatter about the line": "scatter around the fitted line",
    "a glance at the display": "reading of the display",
    "two digits of the display": "digits of the display",
    "when the current was there": "time at which the current was on",
    "coupling of probe and sensor": "contact of probe and sensor",
    "instants of the edges": "moments of switching",
    "instant of the edge": "moment of switching",
    "instant of the trip": "moment of the trip",
    "polling of the pack": "polling interval of the pack",
    "coupling that grows with the temperature": "contact of probe and sensor, growing with the temperature",
    "coupling that depends on the direction": "contact of probe and sensor, heating against cooling",
    "instant of the return": "moment of the return",
}
BOX = {"decade box in place": BoxPlace.IN, "sensors plugged back in": BoxPlace.OUT}


def observed_before(record: str, dimension: str) -> Observed | None:
    """What a typed reading was taken to be, if its dimension is that of it."""
    exact = next((each for each in Observed if each == record), None)
    found = exact or next((each for part, each in CONTAINED if part in record.lower()), None)
    return found if found is not None and found.dimension == dimension else None


def with_kinds(finding: dict[str, Any]) -> dict[str, Any]:
    """A finding of findings.json whose budget has a ``kind`` in every row: before there was one, the text of the row is read."""
    return {**finding, "budget": [{"kind": _source_before(row["source"]), **row} for row in finding["budget"]]}


def _source_before(text: object) -> str:
    if not isinstance(text, str):
        return ""
    before = max((old for old in SOURCES if text == old or text.startswith(f"{old} ")), key=len, default="")
    text = SOURCES[before] + text[len(before) :] if before else text
    fitting = [source.value for source in BudgetSource if text.startswith(source)]
    return max(fitting, key=len, default="")


def replacements(procedure: Procedure, source: Source) -> list[Problem]:
    """The steps whose ``record:`` used to decide something, each with the line to write."""
    return list(_in_steps(procedure.steps, ("steps",), source))


def _in_steps(items: tuple[StepItem, ...], path: Path, source: Source) -> Iterator[Problem]:
    for index, item in enumerate(items):
        kind, step = item.step()
        here = (*path, index, kind)
        if isinstance(step, ReadSpec) and not step.as_:
            found = observed_before(step.record, step.dimension)
            if found is not None and found.value in READ_AS:
                what = f"record: no longer defines the reading; this version still reads it as {found}"
                yield source.problem((*here, "record"), what, f"write as: {found}")
        elif isinstance(step, ConfirmSpec) and not step.box and step.record in BOX:
            what = "record: no longer says where the decade box is; this version still understands it"
            yield source.problem((*here, "record"), what, f"write box: {BOX[step.record]}")
        elif hasattr(step, "steps"):
            yield from _in_steps(step.steps, (*here, "steps"), source)
