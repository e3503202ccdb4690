"""What a certificate covers: every declared protection, through every sensor it has, tested or not, and why not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from reports.wording import worded
from runner.evaluation.evaluate import Evaluation
from runner.measure.conformity import NOT_JUDGED, PASS, worst
from runner.measure.finding import Finding
from runner.sheets.pack import PackSheet
from runner.sheets.parts.protections import protection_name

RATINGS = ("capacity", "energy")  # findings about the pack itself: no protection fails with them
NOT_TESTED = "not tested"
ELECTRONICS = "electronics only, sensor not tested"  # of a decade box that stood for the sensor
OF_THE_BOX = "substitute"  # kind of an attempt whose levels a person sets on a decade box, in °C
MOST_ROWS = 16  # of protections and sensors that a first page has room for, each in a row of its own


@dataclass(frozen=True)
class Covered:
    """One protection through one sensor (or of the whole pack), or a rating: by which procedures, with which statement, and why.

    ``protection`` is empty for a rating. ``boxed``: only with a decade box in the sensor's place.
    """

    protection: str
    name: str
    sensor: str
    by: str
    statement: str
    why: str = ""
    tested: bool = True
    shown: Finding | None = None  # what is drawn against its limits
    release: Finding | None = None  # what is drawn below it, where that is a trip
    boxed: bool = False


def coverage(
    pack: PackSheet, evaluations: Sequence[Evaluation], not_begun: Sequence[tuple[str, str]] = ()
) -> list[Covered]:
    """Every declared protection × sensor, in the order of the pack sheet; then the ratings that were measured."""
    rows = []
    for kind in type(pack.protections).model_fields:
        protection = pack.protection(kind)
        if protection is None:
            continue
        for sensor in getattr(protection, "sensors", ()) or (None,):
            rows.append(_covered(kind, sensor, evaluations, not_begun))
    for name in RATINGS:
        found = [(each, finding) for each in evaluations for finding in each.findings if finding.name == name]
        if found:
            rows.append(_stated("", name, None, found))
    return rows


def folded(rows: Sequence[Covered]) -> list[Covered]:
    """The rows as a page takes them: of many, sensors of one protection that were not tested for one reason stand in one row."""
    if len(rows) <= MOST_ROWS:
        return list(rows)
    found: dict[tuple[str, ...], list[Covered]] = {}
    for number, row in enumerate(rows):
        own = (row.name, row.why) if not row.tested else (row.name, row.why, str(number))
        found.setdefault(own, []).append(row)
    return [replace(same[0], sensor=", ".join(row.sensor for row in same)) for same in found.values()]


def _covered(
    kind: str, sensor: str | None, evaluations: Sequence[Evaluation], not_begun: Sequence[tuple[str, str]]
) -> Covered:
    mine = [each for each in evaluations if each.procedure.protection == kind]
    found = [
        (each, finding)
        for each in mine
        for finding in each.findings
        if finding.protection == kind and finding.sensor == sensor and finding.name not in RATINGS
    ]
    words = protection_name(kind)
    if not found:
        begun = [each for each in mine if not each.left_out]
        left_out = [(each.procedure.name, each.left_out) for each in mine if each.left_out]
        why = _not_chosen(begun, sensor) if begun else _why_not(kind, [*left_out, *not_begun])
        return Covered(words, words, sensor or "—", "—", NOT_TESTED, why, tested=False)
    return _stated(words, words, sensor, found)


def _stated(protection: str, name: str, sensor: str | None, found: Sequence[tuple[Evaluation, Finding]]) -> Covered:
    """The worst statement, and the finding that is the reason for it."""
    judged = [finding for _, finding in found if finding.conformity is not None]
    statement = worst([str(finding.conformity) for finding in judged]) if judged else NOT_JUDGED
    by = ", ".join(dict.fromkeys(evaluation.procedure.name for evaluation, _ in found))
    reasons = [finding for finding in judged if finding.conformity == statement and statement != PASS]
    boxed = sensor is not None and all(_boxed(evaluation, sensor) for evaluation, _ in found)
    why = [_reason(reasons[0], named=bool(protection))] if reasons else []
    why += [ELECTRONICS] if boxed else []
    shown = _shown(found, statement)
    release = _release(found, shown)
    return Covered(
        protection, name, sensor or "—", by, statement, "; ".join(why), shown=shown, release=release, boxed=boxed
    )


def _boxed(evaluation: Evaluation, sensor: str) -> bool:
    """Whether a decade box stood for a sensor in a run."""
    return any(attempt.kind == OF_THE_BOX and attempt.sensor == sensor for attempt in evaluation.recording.attempts)


def _release(found: Sequence[tuple[Evaluation, Finding]], shown: Finding | None) -> Finding | None:
    """The release that was measured with the trip that is drawn."""
    if shown is None or shown.name != "trip":
        return None
    same = next(evaluation for evaluation, finding in found if finding is shown)
    releases = (each for each in same.findings if each.name == "release" and each.value is not None)
    return next((each for each in releases if (each.protection, each.sensor) == (shown.protection, shown.sensor)), None)


def _shown(found: Sequence[tuple[Evaluation, Finding]], statement: str) -> Finding | None:
    """The finding that is drawn: of those that have the statement, one through the sensor itself before one through a decade box.

    Then a trip before others, the best known before others.
    """

    def rank(each: tuple[Evaluation, Finding]) -> tuple[bool, bool, float]:
        evaluation, finding = each
        by_box = finding.sensor is not None and _boxed(evaluation, finding.sensor)
        return by_box, finding.name not in ("trip", *RATINGS), finding.expanded_uncertainty or 0.0

    known = [each for each in found if each[1].value is not None and each[1].conformity == statement]
    return min(known, key=rank)[1] if known else None


def _reason(finding: Finding, *, named: bool) -> str:
    """What a finding says, in the words of the results. ``named``: with its name, where that does not stand beside it."""
    name = f"{finding.name}: " if named else ""
    text = worded(finding)
    if not text.value:
        return f"{name}{finding.reason}"
    return f"{name}{text.value} {text.unit}, limits {text.limits} {text.unit}"


def _why_not(kind: str, not_begun: Sequence[tuple[str, str]]) -> str:
    """Why no procedure of this kind was run: the reason of the first that would have done, or nothing was asked."""
    near = kind.replace("_", "-")
    for name, why in not_begun:
        if name == near or name.startswith(near) or (kind == "under_voltage" and name == "capacity"):
            return why
    return "procedure not run"


def _not_chosen(mine: Sequence[Evaluation], sensor: str | None) -> str:
    """Why a procedure that was run has nothing on a sensor: it was not among those that were chosen, or was not reached."""
    chosen = list(dict.fromkeys(each for run in mine for each in run.resolved["program"]["sensors"]))
    if sensor is None or sensor in chosen or not chosen:
        return "no result in this run"
    return f"only {listed(chosen)} selected"


def listed(names: Sequence[str]) -> str:
    """Names as a sentence has them: "T1, T2 and T3"."""
    return " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))
