"""The headline: what holds for a pack in one statement, the same words on the screen, in plain lines and on the certificate.

Rule 1: it never says more than was judged: how many of the declared protections the statement is of, and how many were not tested.
Rule 2: what is of the bench (leads, meters) says nothing of the pack; it is named where it is not as it should be.
Rule 3: what a reader must not miss stands in it: an early end, skipped steps, what the inspection found bad, a functional check,
        a rehearsal. Of evidence that has changed no statement is made.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from reports.coverage import ELECTRONICS, RATINGS, Covered, coverage, listed
from runner.evaluation.evaluate import OF_THE_BENCH, Evaluation
from runner.measure.conformity import (
    CONDITIONAL_FAIL,
    CONDITIONAL_PASS,
    FAIL,
    NOT_JUDGED,
    NOT_MEASURED,
    PASS,
    SEVERITY,
    worst,
)
from runner.orders import End
from runner.vocabulary import EVIDENCE_CHANGED, Seen

NO_STATEMENT = "no statement"  # of a run that looks and measures nothing, or whose evidence has changed
MARKS = {
    NO_STATEMENT: "",
    NOT_JUDGED: "",
    PASS: "✓",
    CONDITIONAL_PASS: "(✓)",
    CONDITIONAL_FAIL: "(✗)",
    FAIL: "✗",
    NOT_MEASURED: "○",
}
PASSES = (PASS, CONDITIONAL_PASS)
NAMED = 3  # protections that a headline names; of more it gives the number
LONGEST = 160  # characters of one remark: an instrument's answer may be long


@dataclass(frozen=True)
class Headline:
    """``statement`` is the worst of the pack, ``scope`` what it is of and what has to be known beside it, in sentences.

    ``partial``: some declared protections were not tested.
    """

    statement: str
    scope: str
    partial: bool = False

    @property
    def mark(self) -> str:
        """The sign of the statement; empty where there is none."""
        return MARKS[self.statement]

    @property
    def words(self) -> str:
        """The statement; a pass of some protections says that it is of no others."""
        return f"{self.statement}, for what was tested" if self.partial and self.statement in PASSES else self.statement

    @property
    def line(self) -> str:
        """All of it in one line."""
        return f"{self.mark} {self.words}: {self.scope}".strip()


def headline(
    evaluations: Sequence[Evaluation], not_begun: Sequence[tuple[str, str]] = (), broken: Sequence[str] = ()
) -> Headline:
    """The headline of one run, or of several of one pack. ``broken`` is what has changed besides what each run knows itself."""
    rows = coverage(evaluations[0].pack, evaluations, not_begun)
    rows = rows if any(row.tested for row in rows) else [*rows, *_besides(evaluations)]
    tested = [row for row in rows if row.tested]
    statement, found = _judged(rows, tested)
    partial = any(row.protection and not row.tested for row in rows)
    if broken or any(each.broken for each in evaluations):
        of = f"on the record as it is now, {statement}: " if tested else ""
        statement, found = NO_STATEMENT, [EVIDENCE_CHANGED, f"{of}{found[0]}", *found[1:]]
    said = [*found, *_bench(evaluations, tested), *_beside(evaluations, rows)]
    return Headline(statement, ". ".join([said[0], *map(_begun, said[1:])]), partial)


def _begun(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def _besides(evaluations: Sequence[Evaluation]) -> list[Covered]:
    """What was found of the pack and is neither of a declared protection nor a rating: the charge that was put in."""
    return [
        Covered("", finding.name.replace("_", " "), "—", run.procedure.name, finding.conformity or NOT_JUDGED)
        for run in evaluations
        for finding in run.findings
        if finding.name not in (*OF_THE_BENCH, *RATINGS) and run.pack.protection(finding.protection) is None
    ]


def _judged(rows: Sequence[Covered], tested: Sequence[Covered]) -> tuple[str, list[str]]:
    """The worst statement, and as sentences: for which protections and ratings each statement holds, the worst first; how many
    protections were not tested."""
    protections = [row for row in rows if row.protection]
    untested = len(protections) - sum(row.tested for row in protections)
    if not tested:
        return NO_STATEMENT, [
            f"none tested of {_protections(protections)}" if protections else "no protection declared"
        ]
    statements = sorted({row.statement for row in tested}, key=lambda each: SEVERITY.get(each, -1), reverse=True)
    parts = []
    for number, statement in enumerate(statements):
        mine = [row for row in tested if row.statement == statement]
        ratings = [row.name for row in mine if not row.protection]
        mine = [row for row in mine if row.protection]
        named = bool(mine) and (statement != PASS or len(tested) <= NAMED) and _few(mine)
        whole = untested == 0 and len(mine) == len(protections)
        count = f"all {_protections(mine)}" if whole else f"{len(mine)} protection{'' if len(mine) == 1 else 's'}"
        what = [_names(mine) if named else count] if mine else []
        parts.append((f"{statement}: " if number else "") + ", ".join([*what, *ratings]))
    of = (
        f"all {_protections(protections)}"
        if untested == len(protections)
        else f"{untested} of {_protections(protections)}"
    )
    return statements[0], ["; ".join(parts), *([f"not tested: {of}"] if untested else [])]


def _protections(rows: Sequence[Covered]) -> str:
    """How many there are; one that acts through several sensors is that many, and it is said."""
    kinds = len({row.protection for row in rows})
    several = " (temperature protections counted once per sensor)" if kinds < len(rows) else ""
    return f"{len(rows)} protection{'' if len(rows) == 1 else 's'}{several}"


def _few(rows: Sequence[Covered]) -> bool:
    return len({row.protection for row in rows}) <= NAMED


def _names(rows: Sequence[Covered]) -> str:
    """Protections with the sensors that are meant."""
    found: dict[str, list[str]] = {}
    for row in rows:
        found.setdefault(row.protection, []).append(row.sensor)
    return ", ".join(f"{name} at {listed(sensors)}".removesuffix(" at —") for name, sensors in found.items())


def _bench(evaluations: Sequence[Evaluation], tested: Sequence[Covered]) -> list[str]:
    """What was found of the bench, where it is not as it should be, or where it is all there is."""
    words = [str(each.conformity) for run in evaluations for each in run.of_the_bench if each.conformity is not None]
    return [f"the bench's own meters: {worst(words)}"] if words and (worst(words) != PASS or not tested) else []


def _beside(evaluations: Sequence[Evaluation], rows: Sequence[Covered]) -> list[str]:
    """What has to be known beside a statement."""
    functional = [row for row in rows if row.shown is not None and row.shown.functional]
    boxed = [row for row in rows if row.boxed]
    several = len(evaluations) > 1
    early = [f"{each.procedure.title}: {each.early}" if several else each.early for each in evaluations if each.early]
    ended = [each.story.end for each in evaluations if each.story.end is not None and not each.left_out]
    undone = sum(end.undone for end in ended)
    return [
        *([f"functional check only: {_some(functional)}"] if functional else []),
        *([f"{ELECTRONICS}: {_some(boxed)}"] if boxed else []),
        *(f"ended early: {_short(why)}" for why in early),
        *(["not confirmed off at the end"] if any(not end.safe for end in _ends(evaluations)) else []),
        *(f"left out: {_short(each.left_out)}" for each in evaluations if each.left_out),
        *([f"{undone} planned step{'' if undone == 1 else 's'} skipped"] if undone else []),
        *_found_bad(evaluations),
        *(["rehearsal on a simulated bench"] if any(each.simulated for each in evaluations) else []),
    ]


def _ends(evaluations: Sequence[Evaluation]) -> list[End]:
    return [each.story.end for each in evaluations if each.story.end is not None]


def _some(rows: Sequence[Covered]) -> str:
    return _names(rows) if _few(rows) else f"{len(rows)} protections"


def _found_bad(evaluations: Sequence[Evaluation]) -> list[str]:
    """What a person found bad, or what they read and confirmed outside what was expected."""
    notes = [note for each in evaluations for note in each.story.notes]
    bad = list(dict.fromkeys(_remarked(note.name, note.why) for note in notes if note.text == Seen.BAD))
    odd = list(dict.fromkeys(note.name for note in notes if note.why and note.text not in tuple(Seen)))
    return [*_counted("inspection: bad", bad, "; "), *_counted("not as expected", odd, ", ")]


def _remarked(name: str, why: str) -> str:
    return name if why == Seen.BAD else f"{name}: {_short(why)}"


def _counted(what: str, names: Iterable[str], between: str) -> list[str]:
    found = list(names)
    named = between.join(found) if len(found) <= NAMED else f"{len(found)} items"
    return [f"{what}: {named}"] if found else []


def _short(text: str) -> str:
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…"
