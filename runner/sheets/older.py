"""What procedures and records from before ``as:`` and ``box:`` meant by the text of their ``record:``.

The one place where a sentence is read to decide something: for old folders, and for one version for procedures that people
have written themselves, with the line to write instead.
"""

from __future__ import annotations

from collections.abc import Iterator

from runner.errors import Problem
from runner.notation.source import Path, Source
from runner.sheets.hold_steps import READ_AS, ConfirmSpec, ReadSpec
from runner.sheets.procedure import Procedure
from runner.sheets.steps import StepItem
from runner.vocabulary import BoxPlace, Observed

CONTAINED = (  # what a record's text contains -> what was read
    ("lowest cell", Observed.LOWEST_CELL_VOLTAGE),
    ("highest cell", Observed.HIGHEST_CELL_VOLTAGE),
    ("ambient", Observed.AMBIENT_TEMPERATURE),
    ("alarm", Observed.ALARM),
)
ORDINARY = "Making the bench safe: every step was done"  # was remarked at the end of every run
BOX = {"decade box in place": BoxPlace.IN, "sensors plugged back in": BoxPlace.OUT}


def observed_before(record: str, dimension: str) -> Observed | None:
    """What a typed reading was taken to be, if its dimension is that of it."""
    exact = next((each for each in Observed if each == record), None)
    found = exact or next((each for part, each in CONTAINED if part in record.lower()), None)
    return found if found is not None and found.dimension == dimension else None


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
