"""Which face a run shows (screen, plain lines, or nobody), and what is printed when it is over.

The only module that knows faces, conduct and reports together; ``cli`` parses, this one puts together.
"""

from __future__ import annotations

import argparse
import contextlib
import getpass
import json
import signal
import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from runner.conduct.clock import ScaledClock, VirtualClock
from runner.conduct.evaluate import ALL_PASS, ENDED_EARLY, NOT_ALL_MEASURED, SOMETHING_FAILS, Evaluation
from runner.conduct.execute import Result, execute
from runner.conduct.files import DEMO_PACK, Job, bench_problems, find_procedure, load, read_answers, read_file
from runner.conduct.ports import Clock, Operator, StopFlag
from runner.conduct.rehearse import Rehearsal
from runner.conduct.scripted import UNATTENDED, Eyes, ScriptedOperator
from runner.errors import BenchError
from runner.measure.finding import Finding
from runner.plain import PlainOperator, Printer
from runner.record.folder import RunFolder
from runner.sheets.answers import Answers

_SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
# worst first: ended early, wrong input, fails, not all measured, pass
_SEVERITY = {ENDED_EARLY: 4, 2: 3, SOMETHING_FAILS: 2, NOT_ALL_MEASURED: 1, ALL_PASS: 0}


def worst_status(statuses: Iterable[int]) -> int:
    """The exit status of several runs. A run that ended early is the last: nobody knows why before having looked."""
    worst = ALL_PASS
    for status in statuses:
        worst = max(worst, status, key=lambda each: _SEVERITY[each])
        if status == ENDED_EARLY:
            break
    return worst


@dataclass(frozen=True)
class Face:
    """How this run meets people: ``screen``, else lines; ``script`` answers instead of a person."""

    options: argparse.Namespace
    screen: bool
    script: Answers | None

    @classmethod
    def chosen(cls, options: argparse.Namespace) -> Face:
        """From the options and from whether there is a terminal. Raises SheetError if the answers file is wrong."""
        terminal = sys.stdin.isatty() and sys.stdout.isatty()
        script = read_answers(Path(options.answers)) if options.answers else None
        rehearsing = hasattr(options, "unattended")
        if script is None and rehearsing and (options.unattended or not (terminal or options.plain)):
            script = UNATTENDED
        screen = terminal and not options.plain and not options.json and script is None
        return cls(options, screen, script)

    @property
    def needs_a_person(self) -> bool:
        return self.script is None

    def rehearse(self, name: str, speed: float) -> int:
        """One rehearsal; its exit status. Raises SheetError if a file is wrong."""
        clock = VirtualClock(speed)
        pack = read_file(Path(self.options.pack) if self.options.pack else DEMO_PACK)
        with Rehearsal(
            find_procedure(name),
            pack,
            self.options.scenario,
            self.options.seed,
            clock.now,
            tuple(self.options.sensor),
        ) as rehearsal:
            return self._carry_out(rehearsal.job, clock, rehearsal.write_truth, rehearsal.eyes)

    def run(self, name: str) -> int:
        """One run on a bench; its exit status. Raises SheetError if a file is wrong or an instrument is not there."""
        files = find_procedure(name), read_file(Path(self.options.pack)), read_file(Path(self.options.bench))
        job = load(*files, tuple(self.options.sensor))
        return self._carry_out(job, ScaledClock(job.bench.speed), lambda folder: None)

    # ---- carrying out ----------------------------------------------------------------------------------------

    def _carry_out(self, job: Job, clock: Clock, ended: Callable[[RunFolder], None], eyes: Eyes | None = None) -> int:
        stop = StopFlag()
        with _signals(stop):
            try:
                result = (
                    self._on_screen(job, clock, stop, ended)
                    if self.screen
                    else self._in_lines(job, clock, stop, ended, eyes)
                )
            except BenchError as fault:
                raise bench_problems(job.bench_file, fault) from fault
        self._report(result)
        return result.evaluation.exit_status

    def _in_lines(
        self, job: Job, clock: Clock, stop: StopFlag, ended: Callable[[RunFolder], None], eyes: Eyes | None
    ) -> Result:
        printer = Printer(job.program.cautions, job.program.prepare, sys.stderr if self.options.json else sys.stdout)
        printer.line(f"{job.procedure.title}: {job.pack.name}, serial no. {job.pack.serial}, at {job.bench.name}")
        operator: Operator
        if self.script is not None:
            operator = ScriptedOperator(self.script, printer.told, printer.show, eyes)
        else:
            operator = PlainOperator(printer, stop, _operator_name(job))
        return execute(job, operator, clock, Path(self.options.out), stop, ended=ended)

    def _on_screen(self, job: Job, clock: Clock, stop: StopFlag, ended: Callable[[RunFolder], None]) -> Result:
        from runner.screen.app import show_run

        name = _operator_name(job)
        simulated = f"REHEARSAL ×{clock.speed:g} · " if job.bench.simulated else ""
        return show_run(
            job,
            f"{simulated}{job.pack.name} no. {job.pack.serial} · {job.procedure.title}",
            name,
            stop,
            lambda operator: execute(job, operator, clock, Path(self.options.out), stop, ended=ended),
            finding_line,
        )

    def _report(self, result: Result) -> None:
        if self.options.json:
            print_json(result.evaluation)
            with contextlib.redirect_stdout(sys.stderr):
                print_certificate(result.evaluation)
            return
        print_findings(result.evaluation)
        print_certificate(result.evaluation)


def _operator_name(job: Job) -> str:
    if job.bench.operator:
        return job.bench.operator
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "operator"


@contextlib.contextmanager
def _signals(stop: StopFlag) -> Iterator[None]:
    """Ctrl-C, SIGTERM and a closed terminal press the stop; what was set before comes back afterwards."""
    before = {number: signal.signal(number, lambda n, _: stop.press(signal.Signals(n).name)) for number in _SIGNALS}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


# ---- what is printed ---------------------------------------------------------------------------------------------


def finding_line(finding: Finding) -> str:
    """A finding in one line."""
    from reports.wording import worded

    name = f"{finding.name} {finding.sensor or ''}".ljust(18)
    statement = finding.conformity.upper() if finding.conformity else "no limit declared"
    text = worded(finding)
    if not text.value:
        return f"{name} {statement}: {finding.reason}"
    limits = f"  limits {text.limits}" if text.limits != "—" else ""
    fit = f" ({finding.fit})" if finding.name in ("capacity", "energy") and finding.fit else ""
    return f"{name} {text.value} ± {text.uncertainty} {text.unit}{limits}  {statement}{fit}"


def print_findings(evaluation: Evaluation) -> None:
    """The findings, a line each, and the statement that holds for all of them."""
    print("\nFINDINGS")
    for finding in evaluation.findings:
        print(f"  {finding_line(finding)}")
    end = evaluation.story.end
    if end is None or end.early:
        print(f"  ended early: {end.reason if end else 'the record breaks off'}")
    print(f"  together: {evaluation.conformity.upper()}")


def print_json(evaluation: Evaluation) -> None:
    """findings.json on standard output."""
    print(json.dumps(evaluation.as_json(), indent=1, ensure_ascii=False))


def print_certificate(evaluation: Evaluation) -> None:
    """Make the certificate and say where it is."""
    import datetime

    from reports.certificate import write_certificate

    written = write_certificate(evaluation, datetime.datetime.now(datetime.UTC).isoformat())
    print(f"\ncertificate: {written.pdf or written.html}")
    if written.why:
        print(f"  no PDF: {written.why}")
    print(f"run folder:  {evaluation.folder.path}")
