"""The certificate: what ISO/IEC 17025:2017, 7.8.2.1 and 7.8.6 ask of a report, in that spirit, on as few pages as it takes."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

import jinja2
from jinja2.sandbox import SandboxedEnvironment
from markupsafe import Markup

from reports.circumstances import after, between, surroundings, when
from reports.coverage import coverage
from reports.headline import MARKS, NO_STATEMENT, headline
from reports.intervals import interval_svg
from reports.letterhead import Letterhead, letterhead, number_of
from reports.pdf import NOTHING, write_pdf
from reports.plots import crossings_svg
from reports.validation import Validation
from reports.wording import chance, worded
from runner.errors import RecordError
from runner.evaluation.evaluate import Evaluation
from runner.measure.conformity import (
    CONDITIONAL_FAIL,
    CONDITIONAL_PASS,
    FAIL,
    NOT_JUDGED,
    NOT_MEASURED,
    PASS,
    Decision,
    percent,
)
from runner.measure.finding import Finding
from runner.notation.quantity import shown
from runner.notation.visible import visible
from runner.record.folder import CERTIFICATE_HTML, CERTIFICATE_PDF, write_whole
from runner.seal.pdf import SIGNED
from runner.seal.sealing import EDITIONS
from runner.sheets.instrument_parts import InstrumentSheet
from runner.sheets.instruments import role_of
from runner.sheets.parts.meters import FurtherMeter, FurtherProbe
from runner.vocabulary import Answer, Role, Seen

PLAIN_PAPER = Letterhead()
TEMPLATES = Path(__file__).parent / "templates"
UNIT_AFTER = re.compile(r"(?<=\d) (?=(?:°C|°F|[mk]?Ω|Ah|Wh|K/min|°F/min|m?V|m?A|K|s|min|h)\b|%)")
USED = ("supply", "probe", "meter")  # roles whose readings are in the evidence whenever the bench has them
SIDES = {
    NO_STATEMENT: "open",
    NOT_JUDGED: "open",
    PASS: "good",
    CONDITIONAL_PASS: "good",
    CONDITIONAL_FAIL: "bad",
    FAIL: "bad",
    NOT_MEASURED: "open",
}


@dataclass(frozen=True)
class Written:
    """Where the certificate is; ``pdf`` is None if there is none, and ``why`` says so."""

    html: Path
    pdf: Path | None
    why: str


def write_certificate(
    evaluations: Sequence[Evaluation],
    folder: Path,
    issued: str,
    not_begun: Sequence[tuple[str, str]] = (),
    *,
    attached: Mapping[str, bytes] = NOTHING,
    finish: Callable[[bytes], bytes] = bytes,
    evidence: str = "",
    broken: Sequence[str] = (),
) -> Written:
    """Write certificate.html and certificate.pdf of one run, or of several of one pack, into a folder.

    ``issued`` is the date of issue, ISO 8601; ``not_begun`` are procedures that were planned and not run, with the reason.
    ``attached`` travels in the PDF, whose bytes ``finish`` completes; ``evidence`` is the digest of the lists of sums;
    ``broken`` is what has changed since the evidence was recorded.
    Raises RecordError if the folder cannot be written; a PDF that cannot be made is no error.
    """
    paper = letterhead()
    number = number_of(folder, paper, issued)
    edition = 1 + len(list((folder / EDITIONS).glob(f"*/{CERTIFICATE_HTML}")))
    html = render(
        evaluations, number, issued, not_begun, evidence, broken, paper, edition, "" if finish is bytes else SIGNED
    )
    write_whole(folder / CERTIFICATE_HTML, html.encode())
    try:
        why = write_pdf(html, folder / CERTIFICATE_PDF, attached, finish)
    except OSError as error:
        raise RecordError.cannot_write(str(folder / CERTIFICATE_PDF), error.strerror or str(error)) from error
    return Written(folder / CERTIFICATE_HTML, None if why else folder / CERTIFICATE_PDF, why)


def render(
    evaluations: Sequence[Evaluation],
    number: str,
    issued: str,
    not_begun: Sequence[tuple[str, str]] = (),
    evidence: str = "",
    broken: Sequence[str] = (),
    paper: Letterhead = PLAIN_PAPER,
    edition: int = 1,
    keywords: str = "",
) -> str:
    """The certificate as one self-contained HTML page. Raises RecordError if a laboratory's own template cannot be used."""
    places = [*([paper.templates] if paper.templates is not None else []), TEMPLATES]
    environment = SandboxedEnvironment(
        loader=jinja2.ChoiceLoader(
            [*map(jinja2.FileSystemLoader, places), jinja2.PrefixLoader({"ours": jinja2.FileSystemLoader(TEMPLATES)})]
        ),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_unbroken,
    )
    contents = _contents(evaluations, number, issued, not_begun, broken)
    contents |= {"evidence": evidence, "broken": list(broken), "qr": _qr(f"{number} {evidence}") if evidence else ""}
    contents |= {"paper": paper, "edition": edition, "keywords": keywords, "issued": paper.date(contents["issued"])}
    contents["received"] = paper.date(contents["pack"].received.isoformat()) if contents["pack"].received else ""
    try:
        return environment.get_template("certificate.html.jinja").render(contents)
    except jinja2.TemplateError as error:
        where = f"{getattr(error, 'filename', None) or paper.templates}:{getattr(error, 'lineno', None) or 1}"
        raise RecordError(f"the template cannot be used: {error}", where, "correct it, or remove templates") from error


def _qr(text: str) -> Markup:
    """A QR code (ISO/IEC 18004) as an image in the page."""
    import segno

    made = segno.make(text, error="m", micro=False).svg_inline(border=2, omitsize=True, svgclass="qr", lineclass=None)
    return Markup(made)


def _unbroken(value: Any) -> Any:
    """A number and its unit on one line, nothing hidden. What is markup already stays as it is."""
    return (
        value
        if isinstance(value, Markup) or not isinstance(value, str)
        else UNIT_AFTER.sub("\N{NO-BREAK SPACE}", visible(value))
    )


def _contents(
    evaluations: Sequence[Evaluation],
    number: str,
    issued: str,
    not_begun: Sequence[tuple[str, str]],
    broken: Sequence[str],
) -> dict[str, Any]:
    first = evaluations[0]
    pack, bench = first.pack, first.bench
    head = headline(evaluations, not_begun, broken)
    covered = coverage(pack, evaluations, not_begun)
    ended = max(each.story.ended for each in evaluations)
    return {
        "number": number,
        "simulated": any(each.simulated for each in evaluations),
        "title": first.procedure.title if len(evaluations) == 1 else f"{len(evaluations)} procedures on one pack",
        "pack": pack,
        "bench": bench,
        "ratings": f"{pack.chemistry}, {pack.cells_in_series} in series, {shown(pack.nominal_voltage, 'voltage')}, "
        f"{shown(pack.rated_capacity, 'charge')}",
        "pack_sheet": f"SHA-256 {first.resolved['files']['pack.yaml']['sha256'][:16]}… (first 16 digits)",
        "version": first.resolved["version"],
        "began": when(min(each.story.began for each in evaluations)),
        "ended": when(ended),
        "issued": max(issued[:10], ended[:10]),  # a rehearsal's clock runs ahead of the calendar
        "operators": ", ".join(dict.fromkeys(reply.by for each in evaluations for reply in each.story.replies)),
        "surroundings": surroundings(evaluations),
        "conformity": head.statement,
        "mark": head.mark,
        "headline": head.scope,
        "measured": any(finding.value is not None for each in evaluations for finding in each.findings),
        "side": SIDES[head.statement],
        "parts": [_part(each) for each in evaluations],
        "several": len(evaluations) > 1,
        "rules": _rules(evaluations),
        "validation": Validation.kept().cited(),
        "covered": [
            (row, SIDES.get(row.statement, "open"), MARKS.get(row.statement, "○"), *_drawn(row.shown))
            for row in covered
        ],
        "authorized_by": ", ".join(
            dict.fromkeys(each.bench.authorized_by for each in evaluations if each.bench.authorized_by)
        ),
        "condition": [(each.procedure.title, rows) for each in evaluations if (rows := _condition(each))],
        "instruments": _instruments(evaluations),
        "cautions": _cautions(evaluations),
        "plots": [
            (each.procedure.title, pictures)
            for number, each in enumerate(evaluations)
            if (pictures := _plots(each, f"run{number}"))
        ],
    }


def _drawn(finding: Finding | None) -> tuple[str, Markup, str]:
    """A result in short, its picture, and its limits."""
    if finding is None:
        return "", Markup(""), ""
    text = worded(finding)
    return f"{finding.name} {text.value} ± {text.uncertainty} {text.unit}", interval_svg(finding), text.limits


def _rules(evaluations: Sequence[Evaluation]) -> list[tuple[str, str, str]]:
    """(of which procedures, the coverage of U, the decision rule in words); one without a name where all have the same."""
    found: dict[Decision, list[str]] = {}
    for each in evaluations:
        found.setdefault(each.declared.decision, []).append(each.procedure.title)
    return [
        (", ".join(titles) if len(found) > 1 else "", percent(decision.coverage), decision.words)
        for decision, titles in found.items()
    ]


def _plots(evaluation: Evaluation, prefix: str) -> list[str]:
    found = (
        crossings_svg(finding, evaluation.recording, prefix, evaluation.declared.at(finding.sensor or "").probe_channel)
        for finding in evaluation.findings
    )
    return [svg for svg in found if svg]


def _hold_points(evaluation: Evaluation) -> list[tuple[str, str, str]]:
    """When, what and by whom; hold points that follow each other with the same record, as the levels of a decade box, are one."""
    replies = [each for each in evaluation.story.replies if each.value == Answer.GO_ON]
    found = []
    for (record, by), same in groupby(replies, key=lambda each: (each.record, each.by)):
        times = [each.utc for each in same]
        many = len(times) > 1
        at = between(times[0], times[-1]) if many else when(times[0])
        found.append((at, f"{record} ({len(times)} times)" if many else record, f"confirmed ({by})"))
    return found


def _part(evaluation: Evaluation) -> dict[str, Any]:
    """What one run adds: its method, results, notes, deviations and hold points."""
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
        "remarks": [
            *(f"this version would reject this input: {what}" for what in evaluation.refused_today),
            *evaluation.judged_otherwise,
            *(f"{after(story.began, t)}: {say}" for t, say in story.remarks),
        ],
    }


def _condition(evaluation: Evaluation) -> list[dict[str, str]]:
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


def _cautions(evaluations: Sequence[Evaluation]) -> list[tuple[str, list[str]]]:
    """(of which procedure, its cautions): those of all first, without a name."""
    given = {each.procedure.title: each.procedure.cautions for each in evaluations}
    common = [each for each in next(iter(given.values())) if all(each in cautions for cautions in given.values())]
    own = [(title, [each for each in cautions if each not in common]) for title, cautions in given.items()]
    return [(title, cautions) for title, cautions in [("", common), *own] if cautions]


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
            f"{line.source} {100 * line.contribution**2 / variance:.0f} %"
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
            *([finding.fit] if finding.fit and finding.name in ("trip", "release") else []),
        ):
            notes.setdefault(text, []).append(f"{finding.name} {finding.sensor or ''}".strip())
    return [f"{', '.join(where)}: {text}." for text, where in notes.items()]


def _instruments(evaluations: Sequence[Evaluation]) -> list[dict[str, str]]:
    """Every instrument that was used, once."""
    found: dict[str, dict[str, str]] = {}
    for evaluation in evaluations:
        for role, instrument in evaluation.bench.roles().items():
            if role_of(role) in USED or role in evaluation.procedure.needs:
                found.setdefault(role, _instrument(role, instrument, evaluation))
    return list(found.values())


def _called(key: str, instrument: InstrumentSheet) -> str:
    """An instrument by its role; a further one also by its name, its place and what it is the reference of."""
    if not isinstance(instrument, FurtherProbe | FurtherMeter):
        return key
    role, _, name = key.partition(" ")
    sensors = instrument.sensors if isinstance(instrument, FurtherProbe) else ()
    said = [instrument.place, *([f"reference of {', '.join(sensors)}"] if sensors else [])]
    return f"{role} {name} ({'; '.join(said)})"


def _instrument(role: str, instrument: InstrumentSheet, evaluation: Evaluation) -> dict[str, str]:
    answered = evaluation.resolved["identities"].get(role, "")
    due = instrument.calibration_due
    overdue = due is not None and evaluation.story.began[:10] > due.isoformat()
    calibration = (
        f"{instrument.calibrated or '—'}, due {due or '—'}{' (OVERDUE)' if overdue else ''}"
        if instrument.calibrated
        else "no calibration stated; maker's accuracy used"
    )
    return {
        "role": _called(role, instrument),
        "identity": answered or f"{instrument.model or '—'}, {'set' if role == Role.BOX else 'read'} by hand",
        "calibration": calibration,
        "certificate": instrument.certificate or "—",
    }
