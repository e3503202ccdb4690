"""Which face a run shows (screen, plain lines, or nobody), and what is printed when it is over.

It puts faces, conduct and reports of a run together; ``cli`` parses.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from reports.wording import rule_and_risk
from runner.certifying import certificate_to_show, print_certificate
from runner.conduct.clock import ScaledClock, VirtualClock
from runner.conduct.execute import Result, execute, folder_stamp
from runner.conduct.interfaces import Operator, StopFlag
from runner.conduct.log_lines import danger
from runner.conduct.resume import Resumption, at_its_end, broken_off
from runner.conduct.signals import pressing
from runner.conduct.site import Site
from runner.console_output import (
    finding_line,
    notes_on,
    print_agenda,
    print_findings,
    print_headline,
    print_json,
    print_truth,
)
from runner.errors import BenchError, Problem, RecordError, SheetError
from runner.evaluation.evaluate import Evaluation
from runner.evaluation.specification import decision_of
from runner.plain import DISPLAYS_EVERY, PROGRESS_EVERY, PlainOperator, Printer
from runner.record.folder import RunFolder
from runner.rehearsal.bench_file import NOT_WIRED
from runner.rehearsal.displays import at_displays
from runner.rehearsal.scripted import UNATTENDED, Eyes, ScriptedOperator
from runner.rehearsal.simulated_bench import Rehearsal
from runner.seal.editions import is_sealed
from runner.sheets.answers import Answers
from runner.sheets.bench import BenchFile, parse_bench
from runner.sheets.pack import parse_pack
from runner.streams import read_or_not
from runner.vocabulary import Exit
from runner.workspace.job import (
    DEMO_PACK,
    Job,
    UserFile,
    bench_problems,
    find_procedure,
    load,
    load_bench,
    operator_name,
    read_answers,
    read_file,
)
from runner.workspace.locks import Locks
from runner.workspace.once import asked_in_lines, to_ask
from runner.workspace.session import REHEARSED, Session, agenda_for, protection_of, sensors_for

if TYPE_CHECKING:
    from runner.screen.feed import ScreenOperator

NOT_ALONE = "a person has to agree to that, or a file of answers with agree: (or leave_out:) and the reason"
DOING = "tripwitness run"  # what whoever wants the same instrument or folder is told of this process


@dataclass(frozen=True)
class Place:
    """Where runs are carried out: the files of pack and bench, how a job is made, the clock, and what belongs to a twin."""

    files: tuple[UserFile, ...]
    job: Callable[[UserFile, tuple[str, ...]], Job]
    site: Site
    ended: Callable[[RunFolder], None]
    eyes: Eyes | None
    sensors: tuple[str, ...]

    def stamp(self) -> str:
        """The moment, as folders are named by."""
        return folder_stamp(self.site.clock.utc())

    def lock(self, folder: Path) -> None:
        """Keep others out of a run folder or a session until this command ends. Raises Busy."""
        if self.site.locks is not None:
            self.site.locks.folder(folder)


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

    @classmethod
    def watched(cls, options: argparse.Namespace) -> Face:
        """The screen, with the simulated operator answering."""
        return cls(options, True, UNATTENDED)

    @property
    def needs_a_person(self) -> bool:
        return self.script is None

    def rehearse(self, names: Sequence[str], speed: float) -> int:
        """Rehearsals on one simulated bench; the exit status. Raises SheetError if a file is wrong."""
        clock = VirtualClock(speed)
        pack = read_file(Path(self.options.pack) if self.options.pack else DEMO_PACK)
        own = load_bench(Path(self.options.bench))[0] if self.options.bench else None
        given, by_hand = self.options, NOT_WIRED if self.options.by_hand else ()
        how = {"actuator": given.actuator, "nothing_wired": given.nothing_wired}
        made = Rehearsal(pack, given.scenario, given.seed, clock, by_hand, sockets=False, own=own, **how)
        with made as rehearsal, Locks(DOING) as locks:
            files, site = (pack, rehearsal.bench), Site(clock, rehearsal.connect, locks, simulated=True)
            place = Place(files, rehearsal.job, site, rehearsal.write_truth, rehearsal.eyes, self._sensors)
            return self._all(place, names)

    def run(self, names: Sequence[str]) -> int:
        """Runs on a bench; the exit status. Raises SheetError if a file is wrong or an instrument is not there."""
        first = [find_procedure(name) for name in names[:1]]
        files = read_file(Path(self.options.pack)), read_file(Path(self.options.bench))
        # with a procedure, all that is wrong in the three files is said together
        bench = load(first[0], *files).bench if first else load_bench(Path(self.options.bench))[1]
        if not self._asked_once(Path(self.options.pack), files[0], bench):
            self._say("Nothing was run: the questions before the first procedure were left with Esc.")
            return Exit.NOT_ALL_JUDGED
        files = read_file(Path(self.options.pack)), files[1]
        with Locks(DOING) as locks:
            return self._all(self._on_a_bench(files, bench, self._sensors, locks), names)

    def resume(self, folder: Path) -> int:
        """Go on with a run, or with a session from where it stood; the exit status. Raises SheetError or RecordError."""
        with Locks(DOING) as locks:
            session = Session.of(folder)
            if session is not None:
                locks.folder(session.path)
                session = Session.of(folder) or session  # as it is now that nobody else writes it
                if session.rehearsed:
                    raise RecordError(REHEARSED, str(session.path), "start it again")
                files = read_file(Path(session.pack_file)), read_file(Path(session.bench_file))
                bench = load_bench(Path(session.bench_file))[1]
                return self._session(self._on_a_bench(files, bench, session.sensors, locks), session)
            run = RunFolder.existing(folder)
            locks.folder(run.path)
            evaluation = at_its_end(run) if not is_sealed(run.path) else None
            if evaluation is not None:
                return self._report(evaluation, with_certificate=True)
            job, resumption = broken_off(run)
            return self._carry_out(job, self._on_a_bench((), job.bench, (), locks), run, resumption)[1]

    def _asked_once(self, path: Path, pack: UserFile, bench: BenchFile) -> bool:
        """Customer, date of receipt and operator, where a person is there and the start screen has not asked; False after Esc."""
        there = (
            self.script is None
            and not self.options.plan
            and sys.stdin.isatty()
            and not hasattr(self.options, "operator")
        )
        fields = to_ask(parse_pack(pack.text, pack.name), bench) if there else ()
        said: str | None = ""
        if fields and self.screen:
            from runner.screen.choose import OnceApp

            said = OnceApp(path, fields).run()
        elif fields:
            said = asked_in_lines(path, fields, self._out)
        self.options.operator = said or getattr(self.options, "operator", "")
        return said is not None

    def _operator(self, job: Job) -> str:
        return getattr(self.options, "operator", "") or operator_name(job.bench)

    @property
    def _sensors(self) -> tuple[str, ...]:
        return tuple(self.options.sensor)

    def _on_a_bench(
        self, files: tuple[UserFile, ...], bench: BenchFile, sensors: tuple[str, ...], locks: Locks
    ) -> Place:
        return Place(
            files,
            lambda procedure, wanted: load(procedure, files[0], files[1], wanted),
            Site(ScaledClock(bench.speed), locks=locks, guarded=True),
            lambda folder: None,
            None,
            sensors,
        )

    # ---- one procedure, or a session of several --------------------------------------------------------------

    def _all(self, place: Place, names: Sequence[str]) -> int:
        if len(names) == 1 and not self.options.plan:
            return self._carry_out(place.job(find_procedure(names[0]), place.sensors), place)[1]
        pack_file, bench_file = place.files
        pack = parse_pack(pack_file.text, pack_file.name)
        bench = parse_bench(bench_file.text, bench_file.name)
        chosen = self.options
        agenda = agenda_for(
            names, pack_file, bench_file, place.sensors, as_given=chosen.as_given, without=chosen.without
        )
        alone: dict[str, str] = {}
        for item in agenda.items:  # everything that is wrong is said before anything begins
            job = place.job(find_procedure(item.source), sensors_for(item.source, pack, place.sensors))
            alone |= {item.name: why} if (why := self._not_alone(job)) else {}
        left = (*agenda.left_out, *((name, f"{why}; {NOT_ALONE}") for name, why in alone.items()))
        agenda = replace(agenda, items=tuple(each for each in agenda.items if each.name not in alone), left_out=left)
        print_agenda(agenda, self._out)
        self._say(f"decision rule: {rule_and_risk(decision_of(bench))}\n")
        for note in notes_on(pack, pack_file.source, bench, [protection_of(item.source) for item in agenda.items]):
            self._say(f"{note}\n")
        if self.options.plan or not agenda.items:
            return Exit.PASS if agenda.items else Exit.NOT_ALL_JUDGED
        names_of = (str(Path(pack_file.name).resolve()), str(Path(bench_file.name).resolve()))
        session = Session.create(
            Path(self.options.out),
            place.stamp(),
            pack.serial,
            agenda,
            names_of,
            place.sensors,
            pack.state_of_charge_on_arrival,
            rehearsed=place.site.simulated,
        )
        return self._session(place, session)

    def _session(self, place: Place, session: Session) -> int:
        pack = parse_pack(place.files[0].text, place.files[0].name)
        place.lock(session.path)
        session.goes_on()
        while (number := session.next()) is not None:
            entry = session.entries[number]
            if entry.run:
                folder = RunFolder.existing(session.path / entry.run)
                place.lock(folder.path)
                over = at_its_end(folder)
                if over is not None:  # and the program was killed before the session knew
                    session.ended(number, over, early=False)
                    continue
                job, resumption = broken_off(folder, place.files[1])
                result, _ = self._carry_out(job, place, folder, resumption, session=session)
            else:
                procedure = find_procedure(entry.source)
                job = place.job(procedure, sensors_for(entry.source, pack, place.sensors))
                began = partial(session.began, number)
                result, _ = self._carry_out(job, place, session=session, began=began)
            doubts, early = job.program.to_judge, result.outcome.early or not result.outcome.off
            session.ended(number, result.evaluation, early=early, doubts=doubts, agreed=result.agreed)
            if early:
                self._say(f"\n{session.stopped(simulated=place.site.simulated)}")
                self._warn(result)
                return Exit.ENDED_EARLY
        if not (evaluations := session.evaluations()):
            self._say("\nNothing was tested: every procedure was left out. There is no certificate.")
            return Exit.NOT_ALL_JUDGED
        with read_or_not(), self._aside():
            print_truth(evaluations)
            print_headline(evaluations, session.not_begun())
            print_certificate(evaluations, session.path, session.not_begun())
        return session.status(evaluations)

    # ---- carrying out ----------------------------------------------------------------------------------------

    def _carry_out(
        self,
        job: Job,
        place: Place,
        folder: RunFolder | None = None,
        resumption: Resumption | None = None,
        *,
        session: Session | None = None,
        began: Callable[[RunFolder], None] = lambda folder: None,
    ) -> tuple[Result, int]:
        self._check_agreement(job, resumption)
        stop = StopFlag()

        def work(operator: Operator) -> Result:
            where = Path(self.options.out) if session is None else session.path
            return execute(
                job,
                operator,
                place.site,
                where,
                stop,
                began=began,
                ended=place.ended,
                folder=folder,
                resumption=resumption,
                agreed="" if session is None else session.agreement(job.program.to_judge),
            )

        with pressing(stop):
            try:
                if self.screen:
                    result = self._on_screen(job, place, stop, work, session.lines() if session else ())
                else:
                    result = self._in_lines(job, place, stop, work)
            except BenchError as fault:
                raise bench_problems(job.bench_file, fault) from fault
        self._report(result.evaluation, with_certificate=session is None)
        if session is None:
            self._warn(result)
        return result, result.evaluation.exit_status

    def _check_agreement(self, job: Job, resumption: Resumption | None) -> None:
        """Scripted answers that meet something unusual need a reason for it. Raises SheetError."""
        if self.script is None or resumption is not None:
            return
        if why := self._not_alone(job):
            raise SheetError([job.bench_file.source.problem(("instruments",), why, NOT_ALONE, key=True)])
        if job.program.doubts and not self.script.judges:
            what = f"unusual values on the pack sheet need a reason: {'; '.join(job.program.doubts)}"
            remedy = "add agree: with the reason if the values are right, else leave_out:"
            raise SheetError([Problem(str(self.options.answers), 1, 1, what, remedy)])

    def _not_alone(self, job: Job) -> str:
        """What only a person may agree to, where none is there and no file of answers has a reason for it; else nothing."""
        script, asked = self.script, self.options  # a plan asks nobody
        judged = asked.plan and not asked.unattended if script is UNATTENDED else script is None or script.judges
        return "" if judged else job.program.raised

    def _in_lines(self, job: Job, place: Place, stop: StopFlag, work: Callable[[Operator], Result]) -> Result:
        printer = Printer(job.program.cautions, job.program.prepare, self._out, place.site.clock.utc)
        printer.begin(f"{job.procedure.title}: {job.pack.name}, serial no. {job.pack.serial}, at {job.bench.name}")
        if self.script is not None:
            return work(ScriptedOperator(self.script, printer.told, printer.show, place.eyes))
        printer.every = DISPLAYS_EVERY if place.eyes is not None and job.program.by_hand else PROGRESS_EVERY
        return work(at_displays(PlainOperator(printer, stop, self._operator(job)), place.eyes, job.program.by_hand))

    def _on_screen(
        self, job: Job, place: Place, stop: StopFlag, work: Callable[[Operator], Result], plan: Sequence[str]
    ) -> Result:
        from runner.screen.app import show_run
        from runner.screen.sentences import headings

        simulated = place.site.simulated or job.bench.simulated
        titles = headings(job, *(("REHEARSAL", f"×{place.site.clock.speed:g}") if simulated else ()))
        wanted, eyes = self.script, place.eyes

        def answering(screen: ScreenOperator) -> Operator:
            if wanted is not None:
                return ScriptedOperator(wanted, screen.told, screen.show, eyes)
            return at_displays(screen, eyes, job.program.by_hand)

        return show_run(
            job,
            titles,
            self._operator(job),
            stop,
            work,
            finding_line,
            plan,
            certificate=lambda result: certificate_to_show([result.evaluation], result.folder.path),
            answering=answering,
            watching=wanted is not None,
            speed=place.site.clock.speed,
        )

    def _report(self, evaluation: Evaluation, *, with_certificate: bool) -> int:
        with read_or_not():
            print_json(evaluation) if self.options.json else print_findings(evaluation, alone=with_certificate)
            with self._aside():
                if with_certificate:
                    print_truth([evaluation])
                    print_certificate([evaluation], evaluation.folder.path)
        return evaluation.exit_status

    def _warn(self, result: Result) -> None:
        """The last line of all, where a bench did not confirm that it is off."""
        if not result.outcome.safe:
            self._say(f"\n{danger(result.outcome.urgent)}")

    def _say(self, text: str) -> None:
        print(text, file=self._out)

    @property
    def _out(self) -> TextIO:
        """Where a person reads: standard output belongs to programs with --json."""
        return sys.stderr if self.options.json else sys.stdout

    def _aside(self) -> contextlib.AbstractContextManager[object]:
        """What is not for programs goes to standard error where they read standard output."""
        return contextlib.redirect_stdout(sys.stderr) if self.options.json else contextlib.nullcontext()
