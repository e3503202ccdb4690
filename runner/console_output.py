"""What is printed when a run is over, and what is made of runs that are over: findings, plans, certificates."""

from __future__ import annotations

import datetime
import json
import shlex
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

from runner.bench.assembly import Bench
from runner.bench.checks.self_check import call
from runner.conduct.clock import ScaledClock
from runner.engine.opening import NEAR_THE_END
from runner.engine.schedule import Agenda
from runner.engine.texts.asking import COMPARE_CELLS
from runner.errors import SheetError
from runner.evaluation.evaluate import Evaluation, evaluate
from runner.evaluation.provenance import changes
from runner.measure.conformity import NOT_JUDGED
from runner.measure.finding import Finding
from runner.notation.source import Source
from runner.record.folder import FINDINGS, TRUTH, RunFolder
from runner.rehearsal.truth import against_truth
from runner.seal.pdf import against_the_pdf, verify_pdf
from runner.seal.signers import known, trust
from runner.seal.station_key import rotate, station_key
from runner.seal.verify import verify
from runner.sheets.bench import Assumed, BenchFile
from runner.sheets.doubts import doubts
from runner.sheets.instruments import place_of
from runner.sheets.pack import PackSheet, not_declared
from runner.vocabulary import EVIDENCE_CHANGED, Exit
from runner.workspace.job import check_file, check_together, load_bench, not_judged
from runner.workspace.locks import Locks


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


def print_findings(evaluation: Evaluation, *, alone: bool = True) -> None:
    """The findings, a line each, and the headline; of one run of a session (not ``alone``) that comes when all are done."""
    if evaluation.findings:
        print("\nFINDINGS")
    for finding in evaluation.findings:
        print(f"  {finding_line(finding)}")
    for advice in dict.fromkeys(each.advice for each in evaluation.findings if each.advice):
        print(f"  advice: {advice}")
    for what in evaluation.broken:
        print(f"  {EVIDENCE_CHANGED}: {what}")
    for what in evaluation.refused_today:
        print(f"  this version would reject this input: {what}")
    for what in evaluation.judged_otherwise:
        print(f"  {what}")
    if alone:
        print_headline([evaluation])
    elif evaluation.early:
        print(f"  ended early: {evaluation.early}")


def print_headline(evaluations: Sequence[Evaluation], not_begun: Sequence[tuple[str, str]] = ()) -> None:
    """What holds for the pack, in the words of its certificate."""
    from reports.headline import headline

    print(f"overall: {headline(evaluations, not_begun).line}")


def print_truth(evaluations: Sequence[Evaluation]) -> None:
    """How close a rehearsal came to what its simulated pack really has; nothing of a real run."""
    rehearsed = [each for each in evaluations if (each.folder.path / TRUTH).is_file()]
    runs = [
        (
            [{**one, "procedure": each.procedure.name} for one in each.as_json()["findings"]],
            each.folder.read_json(TRUTH),
        )
        for each in rehearsed
    ]
    print("\n".join(["", *against_truth(runs)]) if runs else "")


def print_json(evaluation: Evaluation) -> None:
    """findings.json on standard output."""
    print(json.dumps(evaluation.as_json(), indent=1, ensure_ascii=False))


def print_agenda(agenda: Agenda, out: TextIO) -> None:
    """What will be done in which order, and what will not."""
    print("\n".join(agenda.lines()), end="\n\n", file=out)


CHECKED = {  # what a file of a kind is, in which nothing was found
    "pack": "pack sheet, no errors",
    "bench": "bench file, no errors (`tripwitness bench` asks whether the instruments answer)",
    "procedure": "procedure, no errors by itself",
    "dialect": "dialect, no errors",
    "answers": "answers file, no errors",
}


def check_files(files: Sequence[Path]) -> int:
    """``check``: each file by itself, and the procedures with the pack and the bench that are named beside them."""
    status, kinds = Exit.PASS, {}
    for path in files:
        try:
            kinds[path], notes = check_file(path)
            print(f"{path}: {CHECKED[kinds[path]]}", *(f"  {note}" for note in notes), sep="\n")
        except SheetError as error:
            print(error, file=sys.stderr)
            status = Exit.WRONG_INPUT
    if "procedure" not in kinds.values():
        return status
    try:
        held = check_together(kinds)
    except SheetError as error:
        print("together:", error, sep="\n", file=sys.stderr)
        return Exit.WRONG_INPUT
    if held:
        print(f"together: no errors in {', '.join(map(str, held))} with this pack and this bench")
    elif status == Exit.PASS:
        print("the values of a procedure are checked where one pack sheet and one bench file are named beside it")
    return status


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
    for what in evaluation.not_known:
        print(f"  not known: {what}", file=sys.stderr if as_json else sys.stdout)
    if before is not None:
        said = changes(before, evaluation.as_json())
        for line in said or ["no change since the last evaluation"]:
            print(f"  {line}", file=sys.stderr if as_json else sys.stdout)
    return evaluation.exit_status


def on_a_bench(file: str, role: str | None, network: str | None) -> int:
    """Check the instruments of a bench file, talk to one of them, or, with a network or "", find what is there; exit status."""
    if network is not None:
        from runner.trying.finding import find

        return find(network, Path(file) if file else None)
    if role is not None:
        from runner.trying.talking import talk

        return talk(Path(file), role, sys.stdin, sys.stdout)
    return check_instruments(Path(file))


def check_instruments(path: Path) -> int:
    """Print what the instruments of a bench file say to everything that a run asks; the exit status. Raises SheetError or Busy."""
    file, sheet, dialects = load_bench(path)
    bench = Bench(sheet, dialects, ScaledClock())
    with Locks("check of the instruments") as locks:
        locks.instruments((role, each.address) for role, each in sheet.wired().items())
        try:
            present = call(bench, datetime.datetime.now(datetime.UTC).date(), measure=True)
        finally:
            bench.close()
    by_hand = [role for role in sheet.roles() if sheet.by_hand(role)]
    if by_hand:
        print(f"by hand  {', '.join(by_hand)}: read or switched by a person, not checked here")
    for each in present:
        print(f"{each.role:8} {each.address}")
        for text in filter(None, (each.readings, *each.details())):
            print(f"         {text}")
        if each.fault is not None:
            where = (*place_of(each.role), "address")
            remedy = (
                each.fault.remedy or f"see every byte: tripwitness bench {file.name} --talk {shlex.quote(each.role)}"
            )
            print(file.source.problem(where, f"{each.role}: {each.fault.what}", remedy), file=sys.stderr)
    return Exit.ENDED_EARLY if any(each.fault for each in present) else Exit.PASS


def print_verified(path: Path, signers: Path | None) -> int:
    """What has changed in a folder or a PDF since it was sealed; the exit status. Raises RecordError or KeyUnusable."""
    known_here = known(signers)
    found = verify(path, known_here) if path.is_dir() else verify_pdf(path, known_here)
    if path.is_dir():
        against_the_pdf(path, found, known_here)
    print("\n".join(found.lines()))
    return found.status


def print_key(*, export: bool, replace: bool, trusted: Path | None) -> int:
    """This station's key: its fingerprint, or the line for others. Raises KeyUnusable, SheetError for lines that are no keys."""
    if trusted is not None:
        for line in trust(trusted):
            print(f"known from now on: {line}")
        return Exit.PASS
    key = rotate() if replace else station_key()
    print(key.allowed_signers if export else f"{key.station}  {key.signer.fingerprint}")
    return Exit.PASS


def notes_on(pack: PackSheet, source: Source, bench: BenchFile, protections: Sequence[str]) -> list[str]:
    """What is worth knowing of a pack sheet (``source``) before procedures about these protections begin, a line each."""
    limits = [] if bench.decision.assumed_tolerance != Assumed() else not_judged(pack)
    notes = [f"note: the pack sheet {each}" for each in (*limits, *not_declared(pack))]
    notes += [f"note: {COMPARE_CELLS}"] if any(each in NEAR_THE_END for each in protections) else []
    return [*notes, *(f"doubtful: {each}" for each in doubts(pack, source))]
