"""The details of a certificate as rows for the page: results by protection and sensor, levels, hold points, condition, cautions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import groupby
from typing import Any

from reports.circumstances import after, between, when
from reports.coverage import OF_THE_BOX, RATINGS
from reports.headline import MARKS, NO_STATEMENT
from reports.photos import Photo, photo_of
from reports.wording import chance, not_the_declared, source_of, worded
from runner.evaluation.evaluate import Evaluation
from runner.evaluation.run_history import GivenAnswer, RunHistory
from runner.measure.conformity import CONDITIONAL_FAIL, CONDITIONAL_PASS, FAIL, NOT_JUDGED, NOT_MEASURED, PASS
from runner.measure.finding import Finding
from runner.notation.quantity import minus
from runner.scale import degrees
from runner.sheets.parts.protections import protection_name
from runner.vocabulary import Answer, Seen, as_told

BOX_DELAY = (
    "from the step of the decade box to the trip, with the pack's filter in it; not judged, and the declared delay is not "
    "printed beside it, because no tolerance is declared that holds for this sum"
)
SIDES = {
    NO_STATEMENT: "open",
    NOT_JUDGED: "open",
    PASS: "good",
    CONDITIONAL_PASS: "good",
    CONDITIONAL_FAIL: "bad",
    FAIL: "bad",
    NOT_MEASURED: "open",
}


def part(evaluation: Evaluation) -> dict[str, Any]:
    """What one run adds: its method, notes, deviations and hold points."""
    story = evaluation.story
    procedure = evaluation.procedure
    digest = evaluation.resolved["files"]["procedure.yaml"]["sha256"]
    return {
        "run": evaluation.folder.number,
        "title": procedure.title,
        "purpose": procedure.purpose,
        "method": f"{procedure.name}, SHA-256 {digest[:16]}…",
        "when": between(story.began, story.ended),
        "rows": [_row(finding) for finding in evaluation.findings],
        "notes": _notes(evaluation),
        "answers": _hold_points(evaluation),
        "held": _held(evaluation),
        "remarks": [
            *(f"this version would reject this input: {what}" for what in evaluation.refused_today),
            *evaluation.judged_otherwise,
            *_remarks(story),
        ],
    }


def _remarks(story: RunHistory) -> list[str]:
    """What was said during a run, each with its time; what was said again stands once, with how often and when last."""
    times: dict[str, list[float]] = {}
    for t, say in story.remarks:
        times.setdefault(say, []).append(t)
    said = []
    for say, when_said in times.items():
        again = f" ({len(when_said)} times, last {after(story.began, when_said[-1])})" if len(when_said) > 1 else ""
        said.append(f"{after(story.began, when_said[0])}: {say}{again}")
    return said


def groups(evaluations: Sequence[Evaluation]) -> list[dict[str, Any]]:
    """The results of several runs by protection and sensor, in the order of the pack sheet; then those of the pack and the bench.

    Each group has a ``title`` and ``parts``: (procedure, rows). A group of more than one procedure has them below each other:
    a sensor that was heated, and the decade box that stood for it.
    """
    pack = evaluations[0].pack
    places = [
        (kind, sensor)
        for kind in type(pack.protections).model_fields
        for sensor in (*getattr(pack.protection(kind), "sensors", ()), None)
    ]
    found: dict[tuple[str, str | None], dict[str, list[dict[str, Any]]]] = {place: {} for place in places}
    for each in evaluations:
        for finding in each.findings:
            place = ("", None) if finding.name in RATINGS else (finding.protection, finding.sensor)
            found.setdefault(place, {}).setdefault(each.procedure.title, []).append(_row(finding))
    return [{"title": _title(*place), "parts": list(parts.items())} for place, parts in found.items() if parts]


def _title(kind: str, sensor: str | None) -> str:
    name = protection_name(kind) if kind else "pack and bench"
    return f"{name}, {sensor}" if sensor else name


def levels(evaluations: Sequence[Evaluation]) -> list[tuple[str, str, str, str, str]]:
    """(procedure, sensor, how many levels, from and to, how it ended) of everything that was gone through with a decade box."""
    return [
        (
            each.procedure.title,
            attempt.sensor or "—",
            str(len(attempt.levels)),
            f"{minus(degrees(attempt.levels[0].value))} to {minus(degrees(attempt.levels[-1].value))}",
            as_told(attempt.outcome),
        )
        for each in evaluations
        for attempt in each.recording.attempts
        if attempt.kind == OF_THE_BOX and attempt.levels
    ]


def _hold_points(evaluation: Evaluation) -> list[tuple[str, str, str]]:
    """When, what and by whom; hold points that follow each other with the same record, as the levels of a decade box, are one."""
    replies = [each for each in evaluation.story.replies if each.value == Answer.GO_ON]
    found = []
    for (record, by), same in groupby(replies, key=lambda each: (_evidence(each), each.by)):
        times = [each.utc for each in same]
        many = len(times) > 1
        at = between(times[0], times[-1]) if many else when(times[0])
        found.append((at, f"{record} ({len(times)} times)" if many else record, by))
    return found


def _evidence(answer: GivenAnswer) -> str:
    """What a hold point is evidence of, with its sensor."""
    return f"{answer.sensor}: {answer.record}" if answer.sensor else answer.record


def _held(evaluation: Evaluation) -> tuple[str, str, str] | None:
    """The hold points of a whole run in one row: from and to, what and how often, by whom."""
    replies = [each for each in evaluation.story.replies if each.value == Answer.GO_ON]
    if not replies:
        return None
    counts = Counter(_evidence(each).rstrip(".") for each in replies)
    what = "; ".join(f"{record} ({count} times)" if count > 1 else record for record, count in counts.items())
    return between(replies[0].utc, replies[-1].utc), what, ", ".join(dict.fromkeys(each.by for each in replies))


def condition(evaluation: Evaluation) -> list[dict[str, str]]:
    """What was looked at and read by a person: each item with what was seen, what was remarked, what was attached."""
    beside = {reply.record: reply for reply in evaluation.story.replies}
    rows = []
    for note in evaluation.story.notes:
        reply = beside.get(note.name)
        files = ", ".join(name.split()[0] for name in reply.files) if reply else ""
        said = "; ".join(
            part for part in (note.why if note.why != note.text else "", reply.note if reply else "") if part
        )
        marks: dict[str, str] = {Seen.GOOD: "✓", Seen.BAD: "✗", Seen.NOT_SEEN: "○"}
        mark = marks.get(note.text, "✗" if note.why else "")
        rows.append({"name": note.name, "text": note.text, "mark": mark, "said": said, "files": files})
    return rows


def photos(evaluations: Sequence[Evaluation]) -> list[Photo]:
    """The pictures among what was attached to answers, small; at most as many as a page or two hold."""
    found = []
    for each in evaluations:
        for reply in each.story.replies:
            for file in reply.files:
                photo = photo_of(each.folder.path, file, reply.record)
                found += [photo] if photo is not None else []
    return found


def cautions(evaluations: Sequence[Evaluation]) -> list[tuple[str, list[str]]]:
    """(of which procedures, its cautions): those of all first, without a name; procedures with the same ones together."""
    given = {each.procedure.title: each.procedure.cautions for each in evaluations}
    common = [each for each in next(iter(given.values())) if all(each in cautions for cautions in given.values())]
    own: dict[tuple[str, ...], list[str]] = {}
    for title, cautions in given.items():
        own.setdefault(tuple(each for each in cautions if each not in common), []).append(title)
    named = [("; ".join(titles), list(cautions)) for cautions, titles in own.items()]
    return [(title, cautions) for title, cautions in [("", common), *named] if cautions]


def _row(finding: Finding) -> dict[str, Any]:
    word, text = finding.conformity, worded(finding)
    row: dict[str, Any] = {
        "sensor": finding.sensor or "—",
        "name": finding.name,
        "unit": text.unit,
        "reason": finding.reason,
        "expected": text.expected,
        "word": word or NOT_JUDGED,
        "mark": MARKS.get(word or "", ""),
        "side": SIDES.get(word or "", "none"),
        "limits": text.limits,
        "chance": chance(finding),
        "value": "",
        "largest": "",
    }
    if text.value:
        row["value"] = f"{text.value} ± {text.uncertainty}" + (" (functional)" if finding.functional else "")
        row["k"] = f"{finding.coverage_factor:.2f}"
        variance = sum(line.contribution**2 for line in finding.budget)
        row["largest"] = "; ".join(
            f"{source_of(line)} {100 * line.contribution**2 / variance:.0f} %"
            for line in finding.budget[:2]
            if line.contribution**2 > 0.005 * variance
        )
    return row


def _notes(evaluation: Evaluation) -> list[str]:
    """What qualifies a result: caveats and tests of the fit, each once, with the sensors it concerns."""
    notes: dict[str, list[str]] = {}
    for finding in evaluation.findings:
        for text in (
            *finding.caveats,
            *([BOX_DELAY] if finding.value is not None and not_the_declared(finding) else []),
            *([finding.fit] if finding.fit and finding.name in ("trip", "release") else []),
        ):
            notes.setdefault(text, []).append(f"{finding.name} {finding.sensor or ''}".strip())
    return [f"{', '.join(where)}: {text}." for text, where in notes.items()]
