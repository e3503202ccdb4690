"""What is printed when a run is over, and what is made of runs that are over: findings, plans, certificates."""

from __future__ import annotations

import datetime
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

from runner.bench.assembly import Bench
from runner.bench.self_check import call
from runner.conduct.clock import ScaledClock
from runner.engine.schedule import Agenda
from runner.errors import RecordError
from runner.evaluation.evaluate import Evaluation, evaluate
from runner.evaluation.provenance import changes
from runner.measure.conformity import NOT_JUDGED
from runner.measure.finding import Finding
from runner.record.folder import EVENTS, FINDINGS, RunFolder
from runner.vocabulary import Exit
from runner.workspace.job import load_bench
from runner.workspace.locks import Locks
from runner.workspace.session import Session


def finding_line(finding: Finding) -> str:
    """A finding in one line."""
    from reports.wording import worded

    name = f"{finding.name} {finding.sensor or ''}".ljust(18)
    statement = finding.conformity.upper() if finding.conformity else NOT_JUDGED
    text = worded(finding)
    if not text.value:
        return f"{name} {statement}: {finding.reason}"
    limits = f"  limits {text.limits}" if text.limits != "—" else ""
    fit = f" ({finding.fit})" if finding.name in ("capacity", "energy") and finding.fit else ""
    return f"{name} {text.value} ± {text.uncertainty} {text.unit}{limits}  {statement}{fit}"


def print_findings(evaluation: Evaluation) -> None:
    """The findings, a line each, and the statement that holds for all of them."""
    if evaluation.findings:
        print("\nFINDINGS")
    for finding in evaluation.findings:
        print(f"  {finding_line(finding)}")
    for what in evaluation.refused_today:
        print(f"  this version would reject this input: {what}")
    for what in evaluation.judged_otherwise:
        print(f"  {what}")
    end = evaluation.story.end
    if end is None or end.early:
        print(f"  ended early: {end.reason if end else 'the record is incomplete (no end entry)'}")
    if evaluation.findings:
        print(f"  overall: {(evaluation.conformity or NOT_JUDGED).upper()}")


def print_json(evaluation: Evaluation) -> None:
    """findings.json on standard output."""
    print(json.dumps(evaluation.as_json(), indent=1, ensure_ascii=False))


def print_agenda(agenda: Agenda, out: TextIO) -> None:
    """What will be done in which order, and what will not."""
    print("\n".join(agenda.lines()), end="\n\n", file=out)


def evaluate_again(path: Path, *, as_json: bool) -> int:
    """The findings of a run with today's measurement, and what has changed since; the exit status.

    Raises RecordError if the evidence is missing or was changed, SheetError if its inputs no longer parse.
    """
    folder = RunFolder.existing(path)
    before = folder.read_json(FINDINGS) if (path / FINDINGS).is_file() else None
    evaluation = evaluate(folder)
    if as_json:
        print_json(evaluation)
    else:
        print_findings(evaluation)
    if before is not None:
        said = changes(before, evaluation.as_json())
        for line in said or ["no change since the last evaluation"]:
            print(f"  {line}", file=sys.stderr if as_json else sys.stdout)
    return evaluation.exit_status


def certificate_of(paths: Sequence[Path]) -> None:
    """The certificate of runs and sessions of one pack, in its folder, or in one of its own for several; where is printed.

    Raises RecordError or SheetError if a folder is not as it was, RecordError if they are of different packs.
    """
    evaluations: list[Evaluation] = []
    not_begun: list[tuple[str, str]] = []
    for path in paths:
        session = Session.of(path) if not (path / EVENTS).is_file() else None
        if session is not None:
            evaluations += session.evaluations()
            not_begun += session.not_begun()
        else:
            evaluations.append(evaluate(RunFolder.existing(path)))
    packs = {(each.pack.name, each.pack.serial) for each in evaluations}
    if len(packs) > 1:
        named = ", ".join(f"{name} no. {serial}" for name, serial in sorted(packs))
        raise RecordError(f"the runs are of different packs: {named}", str(paths[0]), "make one certificate for each")
    if not evaluations:
        raise RecordError("holds no run", str(paths[0]), "run a procedure first")
    print_certificate(evaluations, paths[0] if len(paths) == 1 else _joint(paths), not_begun)


def _joint(paths: Sequence[Path]) -> Path:
    """A folder beside the runs for a certificate of several: it has a number of its own, and theirs stay as they are."""
    last = max((path.resolve() for path in paths), key=lambda path: path.name)
    folder = last.with_name(f"{last.name}-and-{len(paths) - 1}-more")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise RecordError.cannot_make(str(folder), error.strerror or str(error)) from error
    return folder


def print_certificate(
    evaluations: Sequence[Evaluation], folder: Path, not_begun: Sequence[tuple[str, str]] = ()
) -> None:
    """Make the certificate and say where it is."""
    from reports.certificate import write_certificate

    written = write_certificate(evaluations, folder, _now(), not_begun)
    print(f"\ncertificate: {written.pdf or written.html}")
    if written.why:
        print(f"  no PDF: {written.why}")
    what = "run folder: " if len(evaluations) == 1 else f"{len(evaluations)} runs, certificate in:"
    print(f"{what} {folder}")


def make_certificate(evaluations: Sequence[Evaluation], folder: Path) -> str:
    """Make the certificate and give its path: the HTML, which a browser opens; the PDF is beside it."""
    from reports.certificate import write_certificate

    return str(write_certificate(evaluations, folder, _now()).html)


def certificate_in(folder: Path) -> str:
    """Make the certificate of a run folder and give its path. Raises RecordError or SheetError."""
    return make_certificate([evaluate(RunFolder.existing(folder))], folder)


def _now() -> str:
    return datetime.datetime.now(datetime.UTC).isoformat()


def check_instruments(path: Path) -> int:
    """Print what the instruments of a bench file say to everything that a run asks; the exit status. Raises SheetError or Busy."""
    file, sheet, dialects = load_bench(path)
    bench = Bench(sheet, dialects, ScaledClock())
    with Locks("check of the instruments") as locks:
        locks.instruments((role, each.address) for role, each in sheet.wired().items())
        try:
            present = call(bench, datetime.datetime.now(datetime.UTC).date())
        finally:
            bench.close()
    for each in present:
        print(f"{each.role:8} {each.address}")
        for text in filter(None, (each.readings, *each.details())):
            print(f"         {text}")
        if each.fault is not None:
            where = ("instruments", each.role, "address")
            print(file.source.problem(where, f"{each.role}: {each.fault.what}", each.fault.remedy), file=sys.stderr)
    return Exit.ENDED_EARLY if any(each.fault for each in present) else Exit.PASS
