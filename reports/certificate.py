"""The certificate: what ISO/IEC 17025:2017, 7.8.2.1 and 7.8.6 ask of a report, in that spirit, on as few pages as it takes."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jinja2
from jinja2.sandbox import SandboxedEnvironment
from markupsafe import Markup, escape

from reports.circumstances import surroundings, when
from reports.coverage import coverage, folded
from reports.details import SIDES, cautions, condition, groups, levels, part, photos
from reports.extracts import Extracts, fitted
from reports.headline import MARKS, headline
from reports.intervals import interval_svg
from reports.letterhead import Letterhead, letterhead, number_of
from reports.pdf import NOTHING, write_pdf
from reports.plots import PER_ROW, columns_of, crossings_svg
from reports.validation import Validation
from reports.wording import decision_words, worded
from runner.errors import RecordError
from runner.evaluation.evaluate import Evaluation
from runner.measure.conformity import Decision, percent
from runner.measure.finding import Finding
from runner.notation.quantity import shown
from runner.notation.visible import visible
from runner.record.folder import CERTIFICATE_HTML, CERTIFICATE_PDF, write_whole
from runner.seal.pdf import SIGNED
from runner.seal.sealing import EDITIONS
from runner.sheets.instrument_parts import InstrumentSheet
from runner.sheets.instruments import role_of
from runner.sheets.parts.meters import FurtherMeter, FurtherProbe
from runner.sheets.parts.protections import protection_name
from runner.vocabulary import Role

PLAIN_PAPER, NO_EXTRACTS = Letterhead(), Extracts()
CERTIFICATE = "certificate"
TEMPLATES = Path(__file__).parent / "templates"
UNIT_AFTER = re.compile(r"(?<=\d) (?=(?:°C|°F|[mk]?Ω|Ah|Wh|K/min|°F/min|m?V|m?A|K|s|min|h)\b|%)")
BY_HAND: Mapping[str, str] = {Role.BOX: "set", Role.CHARGER: "switched", Role.LOAD: "switched"}
POLLED = (Role.SUPPLY, Role.PROBE, Role.METER)  # their readings are in the evidence whenever they are on a cable


@dataclass(frozen=True)
class Written:
    """Where the certificate is; ``pdf`` is None if there is none, and ``why`` says so. ``beside``: summary and label."""

    html: Path
    pdf: Path | None
    why: str
    beside: tuple[Path, ...] = ()


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
    extracts: Extracts = NO_EXTRACTS,
) -> Written:
    """Write certificate.html and certificate.pdf of one run, or of several of one pack, into a folder.

    ``issued`` is the date of issue, ISO 8601; ``not_begun`` are procedures that were planned and not run, with the reason.
    ``attached`` travels in the PDF, whose bytes ``finish`` completes; ``evidence`` is the digest of the lists of sums;
    ``broken`` is what has changed since the evidence was recorded; ``extracts`` says what is made beside it.
    Raises RecordError if the folder cannot be written; a PDF that cannot be made is no error.
    """
    paper = letterhead()
    number = number_of(folder, paper, issued)
    edition = 1 + len(list((folder / EDITIONS).glob(f"*/{CERTIFICATE_HTML}")))
    signed = "" if finish is bytes else SIGNED
    contents = page_contents(evaluations, number, issued, not_begun, evidence, broken, paper, edition, signed)
    if extracts.size is not None:
        contents["label"] = fitted(extracts.size, contents["label_text"])
    reasons, written = [], []
    for name in (CERTIFICATE, *extracts.templates()):
        path, html = folder / f"{name}.html", page(name, contents, paper)
        write_whole(path, html.encode())
        travels = (attached, finish) if name == CERTIFICATE else (NOTHING, bytes)
        try:
            reasons.append(write_pdf(html, path.with_suffix(".pdf"), *travels))
        except OSError as error:
            raise RecordError.cannot_write(str(path.with_suffix(".pdf")), error.strerror or str(error)) from error
        written.append(path if reasons[-1] else path.with_suffix(".pdf"))
    why = reasons[0]
    return Written(folder / CERTIFICATE_HTML, None if why else folder / CERTIFICATE_PDF, why, tuple(written[1:]))


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
    contents = page_contents(evaluations, number, issued, not_begun, evidence, broken, paper, edition, keywords)
    return page(CERTIFICATE, contents, paper)


def page(name: str, contents: Mapping[str, Any], paper: Letterhead) -> str:
    """A template filled, as one self-contained HTML page. Raises RecordError if a laboratory's own cannot be used."""
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
    try:
        return environment.get_template(f"{name}.html.jinja").render(contents)
    except jinja2.TemplateError as error:
        where = f"{getattr(error, 'filename', None) or paper.templates}:{getattr(error, 'lineno', None) or 1}"
        raise RecordError(f"the template cannot be used: {error}", where, "correct it, or remove templates") from error


def page_contents(
    evaluations: Sequence[Evaluation],
    number: str,
    issued: str,
    not_begun: Sequence[tuple[str, str]] = (),
    evidence: str = "",
    broken: Sequence[str] = (),
    paper: Letterhead = PLAIN_PAPER,
    edition: int = 1,
    keywords: str = "",
) -> dict[str, Any]:
    """Everything a template may print, by name."""
    contents = _contents(evaluations, number, issued, not_begun, broken)
    pack, date = contents["pack"], paper.date(contents["issued"])
    said = f"{contents['mark']} {contents['conformity']}: {contents['headline']}".strip()
    rehearsal = ["REHEARSAL, not valid"] if contents["simulated"] else []
    on_the_label = (said, *rehearsal, f"{pack.name} no. {pack.serial}", f"certificate {number}", date)
    return contents | {
        "evidence": evidence,
        "broken": list(broken),
        "qr": _qr(visible(f"{number} {evidence}".strip())),
        "paper": paper,
        "edition": edition,
        "keywords": keywords,
        "issued": date,
        "received": paper.date(pack.received.isoformat()) if pack.received else "",
        "label_text": tuple(map(visible, on_the_label)),
    }


def _qr(text: str) -> Markup:
    """A QR code (ISO/IEC 18004) as an image in the page."""
    import segno

    made = segno.make(text, error="m", micro=False).svg_inline(
        border=2, omitsize=True, svgclass="qr", lineclass=None, title="code with number and digest"
    )
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
        "conformity": head.words,
        "mark": head.mark,
        "headline": head.scope,
        "measured": any(finding.value is not None for each in evaluations for finding in each.findings),
        "side": SIDES[head.statement],
        "parts": [part(each) for each in evaluations],
        "groups": groups(evaluations) if len(evaluations) > 1 else [],
        "levels": levels(evaluations),
        "photos": photos(evaluations),
        "several": len(evaluations) > 1,
        "rules": _rules(evaluations),
        "coverages": " or ".join(dict.fromkeys(percent(each.declared.decision.coverage) for each in evaluations)),
        "validation": Validation.kept().cited(),
        "covered": [
            (row, SIDES.get(row.statement, "open"), MARKS.get(row.statement, "○"), *_drawn(row.shown, row.release))
            for row in folded(covered)
        ],
        "authorized_by": ", ".join(
            dict.fromkeys(each.bench.authorized_by for each in evaluations if each.bench.authorized_by)
        ),
        "condition": [(each.procedure.title, rows) for each in evaluations if (rows := condition(each))],
        "instruments": instruments(evaluations),
        "cautions": cautions(evaluations),
        "plots": [picture for number, each in enumerate(evaluations) for picture in _plots(each, f"run{number}")],
    }


def _drawn(*findings: Finding | None) -> tuple[Markup, Markup, Markup]:
    """Results in short, the picture of the first, and its limits with pictures and limits of the others below it."""
    known = [finding for finding in findings if finding is not None]
    if not known:
        return Markup(""), Markup(""), Markup("")
    texts = [worded(finding) for finding in known]
    values = (f"{of.name} {text.value} ± {text.uncertainty} {text.unit}" for of, text in zip(known, texts, strict=True))
    first, *others = zip(map(interval_svg, known), (escape(_unbroken(text.limits)) for text in texts), strict=True)
    below = (Markup("<br>{} {}").format(picture, limits) for picture, limits in others)
    return Markup("<br>").join(map(_unbroken, values)), first[0], Markup("").join([first[1], *below])


def _rules(evaluations: Sequence[Evaluation]) -> list[tuple[str, str, str]]:
    """(of which procedures, the coverage of U, the decision rule in words); one without a name where all have the same."""
    found: dict[Decision, list[str]] = {}
    for each in evaluations:
        found.setdefault(each.declared.decision, []).append(each.procedure.title)
    return [
        (", ".join(titles) if len(found) > 1 else "", percent(decision.coverage), decision_words(decision))
        for decision, titles in found.items()
    ]


def _plots(evaluation: Evaluation, prefix: str) -> list[tuple[str, str, str]]:
    """(what is seen, the picture, its share of the width) of every finding with ramps."""
    found = (
        (
            f"{protection_name(finding.protection)}, {finding.sensor or 'pack'}: {finding.name}",
            crossings_svg(
                finding, evaluation.recording, prefix, evaluation.declared.at(finding.sensor or "").probe_channel
            ),
            columns_of(finding),
        )
        for finding in evaluation.findings
    )
    said = ((title, _titled(svg, title), columns) for title, svg, columns in found if svg)
    return [(title, svg, f"{100 * columns / PER_ROW:.1f}%") for title, svg, columns in said]


def _titled(svg: str, title: str) -> str:
    """A picture that says what it is to who cannot see it (ISO 19005-3, level A)."""
    return svg.replace(">", f"><title>{escape(visible(title))}</title>", 1)


def instruments(evaluations: Sequence[Evaluation]) -> list[dict[str, str]]:
    """Every instrument that was used, once: those on a cable that are polled or needed, and what a person read, set or switched."""
    found: dict[str, dict[str, str]] = {}
    for evaluation in evaluations:
        for role, instrument in evaluation.bench.roles().items():
            if _used(role, instrument, evaluation):
                found.setdefault(role, _instrument(role, instrument, evaluation))
    return list(found.values())


def _used(key: str, instrument: InstrumentSheet, evaluation: Evaluation) -> bool:
    needed = key in evaluation.procedure.needs
    if not instrument.by_hand:
        return needed or role_of(key) in POLLED
    return key in evaluation.story.by_hand or (needed and key != Role.METER)


def _called(key: str, instrument: InstrumentSheet) -> str:
    """An instrument by its role; a further one also by its name, its place and what it is the reference of."""
    if not isinstance(instrument, FurtherProbe | FurtherMeter):
        return key
    role, _, name = key.partition(" ")
    sensors, beside = (instrument.sensors, instrument.beside) if isinstance(instrument, FurtherProbe) else ((), ())
    said = [instrument.place]
    said += [f"reference of {', '.join(sensors)}"] if sensors else []
    said += [f"second probe on {', '.join(beside)}"] if beside else []
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
    if role in (Role.CHARGER, Role.DISPLAY):  # nothing is read of the one, and the other is the pack's
        calibration = "—"
    model = instrument.model or ("the pack's own" if role == Role.DISPLAY else "—")
    return {
        "role": _called(role, instrument),
        "identity": answered or f"{model}, {BY_HAND.get(role, 'read')} by hand",
        "calibration": calibration,
        "certificate": instrument.certificate or "—",
    }
