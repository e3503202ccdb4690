"""The certificate: what ISO/IEC 17025:2017, 7.8.2.1 and 7.8.6 ask of a report, in that spirit, on as few pages as it takes."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jinja2

from reports.pdf import write_pdf
from reports.plots import crossings_svg
from reports.wording import worded
from runner.conduct.evaluate import Evaluation
from runner.errors import RecordError
from runner.events import PROBE_TEMPERATURE
from runner.measure.conformity import CONDITIONAL_FAIL, CONDITIONAL_PASS, FAIL, NOT_MEASURED, PASS, RULES
from runner.measure.finding import Finding
from runner.record.folder import CERTIFICATE_HTML, CERTIFICATE_PDF, write_whole
from runner.sheets.bench import Instrument
from runner.sheets.quantity import shown

TEMPLATES = Path(__file__).parent / "templates"
MARKS = {PASS: "✓", CONDITIONAL_PASS: "(✓)", CONDITIONAL_FAIL: "(✗)", FAIL: "✗", NOT_MEASURED: "○"}
USED = ("supply", "probe", "meter")  # roles whose readings are in the evidence whenever the bench has them
SIDES = {PASS: "good", CONDITIONAL_PASS: "good", CONDITIONAL_FAIL: "bad", FAIL: "bad", NOT_MEASURED: "open"}


@dataclass(frozen=True)
class Written:
    """Where the certificate is; ``pdf`` is None if there is none, and ``why`` says so."""

    html: Path
    pdf: Path | None
    why: str


def write_certificate(evaluation: Evaluation, issued: str) -> Written:
    """Write certificate.html and certificate.pdf into the run folder. ``issued`` is the date of issue, ISO 8601.

    Raises RecordError if the folder cannot be written; a PDF that cannot be made is no error.
    """
    html = render(evaluation, issued)
    folder = evaluation.folder.path
    write_whole(folder / CERTIFICATE_HTML, html.encode())
    try:
        why = write_pdf(html, folder / CERTIFICATE_PDF)
    except OSError as error:
        raise RecordError.cannot_write(str(folder / CERTIFICATE_PDF), error.strerror or str(error)) from error
    return Written(folder / CERTIFICATE_HTML, None if why else folder / CERTIFICATE_PDF, why)


def render(evaluation: Evaluation, issued: str) -> str:
    """The certificate as one self-contained HTML page."""
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("certificate.html.jinja").render(_contents(evaluation, issued))


def _contents(evaluation: Evaluation, issued: str) -> dict[str, Any]:
    story, pack, bench = evaluation.story, evaluation.pack, evaluation.bench
    end = story.end
    files = evaluation.resolved["files"]
    first = evaluation.recording.of(PROBE_TEMPERATURE).value[:1]
    return {
        "number": evaluation.folder.number,
        "simulated": bench.simulated,
        "title": evaluation.procedure.title,
        "purpose": evaluation.procedure.purpose,
        "pack": pack,
        "bench": bench,
        "ratings": f"{pack.chemistry}, {pack.cells_in_series} in series, {shown(pack.nominal_voltage, 'voltage')}, "
        f"{shown(pack.rated_capacity, 'charge')}",
        "procedure": f"{evaluation.procedure.name}, SHA-256 {files['procedure.yaml']['sha256'][:16]}…",
        "pack_sheet": f"SHA-256 {files['pack.yaml']['sha256'][:16]}…",
        "version": evaluation.resolved["version"],
        "began": _when(story.began),
        "ended": _when(story.ended),
        "issued": issued[:10],
        "surroundings": f"reference thermometer read {first[0]:.1f} °C at the start" if len(first) else "not recorded",
        "conformity": evaluation.conformity,
        "mark": MARKS[evaluation.conformity],
        "side": SIDES[evaluation.conformity],
        "early": "" if end is not None and not end.early else (end.reason if end else "the record breaks off"),
        "rows": [_row(finding) for finding in evaluation.findings],
        "notes": _notes(evaluation),
        "rule": RULES[bench.decision.rule],
        "coverage": f"{bench.decision.coverage * 100:g}",
        "instruments": [
            _instrument(role, instrument, evaluation)
            for role, instrument in bench.roles().items()
            if role in USED or role in evaluation.procedure.needs
        ],
        "untested": _untested(evaluation),
        "answers": [(_when(each.utc), each.record, each.value, each.by) for each in story.replies],
        "remarks": [
            f"{t / 60:.1f} min: {say}"
            for t, say in story.remarks
            if not say.startswith("Making the bench safe: every step")
        ],
        "cautions": evaluation.procedure.cautions,
        "plots": [svg for finding in evaluation.findings if (svg := crossings_svg(finding, evaluation.recording))],
    }


def _when(utc: str) -> str:
    """A UTC stamp as people read it."""
    if not utc:
        return "—"
    moment = datetime.datetime.fromisoformat(utc)
    return moment.strftime("%Y-%m-%d %H:%M:%S UTC")


def _row(finding: Finding) -> dict[str, Any]:
    word, text = finding.conformity, worded(finding)
    row: dict[str, Any] = {
        "sensor": finding.sensor or "—",
        "name": finding.name,
        "unit": text.unit,
        "reason": finding.reason,
        "expected": text.expected,
        "word": word or "no limit declared",
        "mark": MARKS.get(word or "", ""),
        "side": SIDES.get(word or "", "none"),
        "limits": text.limits,
        "chance": "—" if finding.probability is None else _chance(finding.probability),
        "value": "",
        "largest": "",
    }
    if text.value:
        row["value"] = f"{text.value} ± {text.uncertainty}"
        row["k"] = f"{finding.coverage_factor:.2f}"
        variance = sum(line.contribution**2 for line in finding.budget)
        row["largest"] = "; ".join(
            f"{line.source} {line.contribution**2 / variance:.0%}" for line in finding.budget[:2]
        )
    return row


def _chance(probability: float) -> str:
    """A probability without pretending to more than the model knows."""
    if probability > 0.999:
        return "> 99.9 %"
    return "< 0.1 %" if probability < 0.001 else f"{probability * 100:.1f} %"


def _notes(evaluation: Evaluation) -> list[str]:
    """What qualifies a result: caveats and tests of the fit, each once, with the sensors it concerns."""
    notes: dict[str, list[str]] = {}
    for finding in evaluation.findings:
        for text in (*finding.caveats, *([finding.fit] if finding.fit and finding.name in ("trip", "release") else [])):
            notes.setdefault(text, []).append(f"{finding.name} {finding.sensor or ''}".strip())
    return [f"{', '.join(where)}: {text}." for text, where in notes.items()]


def _instrument(role: str, instrument: Instrument, evaluation: Evaluation) -> dict[str, str]:
    identity = evaluation.resolved["identities"].get(role, "")
    due = instrument.calibration_due
    overdue = due is not None and evaluation.story.began[:10] > due.isoformat()
    calibration = (
        f"{instrument.calibrated or '—'}, due {due or '—'}{' (OVERDUE)' if overdue else ''}"
        if instrument.calibrated
        else "no calibration stated"
    )
    return {
        "role": role,
        "identity": identity,
        "calibration": calibration,
        "certificate": instrument.certificate or "—",
    }


def _untested(evaluation: Evaluation) -> list[str]:
    """Declared protections and sensors that this certificate says nothing about."""
    kinds = [
        kind for kind in type(evaluation.pack.protections).model_fields if evaluation.pack.protection(kind) is not None
    ]
    rows = [
        f"{kind.replace('_', ' ')}: not part of this procedure"
        for kind in kinds
        if kind != evaluation.procedure.protection
    ]
    tested = evaluation.procedure.protection or ""
    protection = evaluation.pack.protection(tested)
    left = [name for name in getattr(protection, "sensors", ()) if name not in evaluation.declared.sensors]
    if left:
        rows.insert(0, f"{tested.replace('_', ' ')} through {', '.join(left)}: left out of this run")
    return rows
