"""A session: several procedures on one pack, in one folder, one certificate; stopped today and continued tomorrow.

Rule 1: session.json is written whole after every change, so it can be read whatever happened.
Rule 2: a run that has begun is never begun again; it is continued in its own folder, or left as it is.
        One that a person left out at its first question has its run, which says so, and is not begun again.
Rule 3: the state of charge is carried on from what was counted, and set anew where a pack was full or empty.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from runner.engine.planner import plan
from runner.engine.program import Program
from runner.engine.schedule import EMPTIES, TO_FULL, TO_HALF, Agenda, planned_item, propose
from runner.errors import RecordError, SheetError
from runner.evaluation.evaluate import Evaluation, evaluate
from runner.events import LOAD_CURRENT, SUPPLY_CURRENT
from runner.measure.capacity import FULL
from runner.measure.fits.integral import integrate
from runner.record.folder import SESSION, RunFolder
from runner.seal.editions import is_sealed, keep_edition
from runner.seal.verify import verify
from runner.sheets.bench import parse_bench
from runner.sheets.pack import PackSheet, parse_pack
from runner.sheets.procedure import Procedure, parse_procedure
from runner.vocabulary import Exit, Outcome
from runner.workspace.job import UserFile, find_procedure, procedure_names

REHEARSED = "this was a rehearsal on a simulated bench and cannot be resumed"
UNWANTED = "on request"
TO_DO, BEGUN, DONE, LEFT_OUT = "to do", "begun", "done", "left out"


@dataclass(frozen=True)
class SessionEntry:
    """One procedure of the session: what finds it, where its run is, and how far it has come."""

    procedure: str
    source: str
    why: str
    state: str = TO_DO
    run: str = ""
    status: int | None = None


class Session:
    """A session folder. ``path`` holds session.json, the run folders, and in the end the certificate."""

    def __init__(self, path: Path, content: dict[str, Any]) -> None:
        self.path = path
        self.pack_file, self.bench_file = str(content["pack"]), str(content["bench"])
        self.sensors = tuple(content["sensors"])
        self.state_of_charge: float | None = content["state_of_charge"]
        self.agreed: dict[str, str] = dict(content.get("agreed", {}))  # what is unusual on the sheet: who agreed, why
        self.rehearsed = bool(content.get("rehearsed", False))
        self.left_out = tuple((name, why) for name, why in content["left_out"])
        self.entries = [SessionEntry(**each) for each in content["entries"]]

    @classmethod
    def create(
        cls,
        out: Path,
        stamp: str,
        serial: str,
        agenda: Agenda,
        files: tuple[str, str],
        sensors: tuple[str, ...],
        state_of_charge: float | None,
        *,
        rehearsed: bool = False,
    ) -> Session:
        """A new session. ``files`` are the names of pack sheet and bench file.

        ``rehearsed``: its bench is gone with this process. Raises RecordError; then nothing was made.
        """
        folder = RunFolder.create(out, stamp, serial, "session")
        content = {
            "pack": files[0],
            "bench": files[1],
            "sensors": sensors,
            "state_of_charge": state_of_charge,
            "rehearsed": rehearsed,
            "left_out": agenda.left_out,
            "entries": [{"procedure": item.name, "source": item.source, "why": item.why} for item in agenda.items],
        }
        session = cls(folder.path, content)
        session.write()
        return session

    @classmethod
    def of(cls, path: Path) -> Session | None:
        """The session in a folder, or the one a run folder belongs to; None if there is none. Raises RecordError."""
        for place in (path, path.parent):
            if (place / SESSION).is_file():
                try:
                    return cls(place, RunFolder(place).read_json(SESSION))
                except (KeyError, TypeError, ValueError) as error:
                    raise RecordError(f"is not a session ({error})", str(place / SESSION), "use a backup") from error
        return None

    def write(self) -> None:
        """Keep everything. Raises RecordError; then session.json is as it was."""
        RunFolder(self.path).write_json(
            SESSION,
            {
                "schema": 1,
                "pack": self.pack_file,
                "bench": self.bench_file,
                "sensors": list(self.sensors),
                "state_of_charge": self.state_of_charge,
                "rehearsed": self.rehearsed,
                "agreed": self.agreed,
                "left_out": [list(each) for each in self.left_out],
                "entries": [vars(entry) for entry in self.entries],
            },
        )

    def next(self) -> int | None:
        """The number of the entry to go on with, or None if all are done."""
        for number, entry in enumerate(self.entries):
            if entry.state not in (DONE, LEFT_OUT):
                return number
        return None

    def stopped(self, *, simulated: bool) -> str:
        """What can be done with a session that was stopped: a simulated bench is gone with the program."""
        if simulated:
            return f"{REHEARSED[:1].upper()}{REHEARSED[1:]}: start it again. What was found so far: {self.path}"
        return f"The session can be resumed: tripwitness resume {self.path}"

    def goes_on(self) -> None:
        """What was sealed of an unfinished session so far stays as an edition; not where it has changed since: that is to show."""
        if self.next() is not None and is_sealed(self.path) and not verify(self.path, None).differences:
            keep_edition(self.path, [SESSION], "the session goes on")

    def began(self, number: int, folder: RunFolder) -> None:
        """A run of an entry has its folder."""
        self.entries[number] = replace(self.entries[number], state=BEGUN, run=folder.number)
        self.write()

    def ended(
        self, number: int, evaluation: Evaluation, *, early: bool, doubts: Sequence[str] = (), agreed: str = ""
    ) -> None:
        """A run of an entry is over; one that ended early can be resumed.

        ``agreed``: who agreed to the ``doubts`` about the sheet, and why; it holds for the rest of the session.
        """
        self.agreed |= dict.fromkeys(doubts, agreed) if agreed else {}
        status, entry = evaluation.status_in_session, self.entries[number]
        if evaluation.left_out and not early:
            self.entries[number] = replace(entry, state=LEFT_OUT, status=status, why=evaluation.left_out)
            self.write()
            return
        self.entries[number] = replace(entry, state=BEGUN if early else DONE, status=status)
        self.state_of_charge = state_of_charge_after(evaluation, self.state_of_charge)
        self.write()

    def agreement(self, doubts: Sequence[str]) -> str:
        """Who has agreed to every one of these already, and why; empty if nobody has to all."""
        said = {self.agreed.get(doubt, "") for doubt in doubts}
        return "; ".join(sorted(said)) if "" not in said else ""

    def lines(self) -> list[str]:
        """Where the session stands, a line a procedure, for whoever is at the bench."""
        now = self.next()
        marks = {DONE: "✓", BEGUN: "▶", TO_DO: "·"}
        rows = [
            f"{'▶' if number == now else marks[entry.state]} {number + 1:2} {entry.procedure}: {entry.why}"
            for number, entry in enumerate(self.entries)
            if entry.state != LEFT_OUT
        ]
        left_out = self._left_out()
        charge = "" if self.state_of_charge is None else f"state of charge now about {100 * self.state_of_charge:.0f} %"
        return [*rows, *(f"– {name}: left out: {why}" for name, why in left_out), *([charge] if charge else [])]

    def folders(self) -> list[RunFolder]:
        """The run folders there are, in order, without those of procedures that were left out."""
        begun = [entry for entry in self.entries if entry.run and entry.state != LEFT_OUT]
        return [RunFolder.existing(self.path / entry.run) for entry in begun]

    def _left_out(self) -> list[tuple[str, str]]:
        """What was left out at planning, and by a person since: (procedure, why)."""
        return [*self.left_out, *((each.procedure, each.why) for each in self.entries if each.state == LEFT_OUT)]

    def evaluations(self) -> list[Evaluation]:
        """Every run evaluated. Raises RecordError or SheetError like ``evaluate``."""
        return [evaluate(folder) for folder in self.folders()]

    def status(self, evaluations: Sequence[Evaluation]) -> Exit:
        """The exit status of a session that is over, from its ``evaluations``; what a person left out is work undone."""
        left_out = [Exit.NOT_ALL_JUDGED for entry in self.entries if entry.state == LEFT_OUT]
        status = worst_status([*(each.status_in_session for each in evaluations), *left_out])
        judged = any(each.conformity is not None for each in evaluations)
        nothing_judged = not judged and any(each.findings for each in evaluations)
        return Exit.NOT_ALL_JUDGED if status == Exit.PASS and nothing_judged else status

    def not_begun(self) -> list[tuple[str, str]]:
        """What was planned and not begun, with what was left out: (procedure, why)."""
        not_reached = [(entry.procedure, "not reached") for entry in self.entries if not entry.run]
        return [*self._left_out(), *not_reached]


def agenda_for(
    names: Sequence[str],
    pack_file: UserFile,
    bench_file: UserFile,
    sensors: tuple[str, ...] = (),
    *,
    as_given: bool = False,
    without: Sequence[str] = (),
) -> Agenda:
    """The order for procedures by name or path; all that travel with the program if none is named, but for those ``without``.

    Every one is planned, so that what the three files do not agree on is left out with its reason here and not refused later.
    Raises SheetError if a file is wrong; with ``as_given`` also if a procedure does not fit.
    """
    pack, bench = parse_pack(pack_file.text, pack_file.name), parse_bench(bench_file.text, bench_file.name)
    given = {each.name: source for source in names for each in [_parsed(find_procedure(source))]}
    of_pack, of_bench = pack_file.source, bench_file.source

    def program(procedure: Procedure) -> Program:
        source = find_procedure(given.get(procedure.name, procedure.name)).source
        return plan(
            procedure,
            pack,
            bench,
            (source, of_pack, of_bench),
            of_protection(procedure, pack, sensors),
            as_it_was=False,
        )

    def program_or_why(procedure: Procedure) -> Program | str:
        try:
            return program(procedure)
        except SheetError as error:
            return _reason(error)

    unwanted = dict.fromkeys(_parsed(find_procedure(name)).name for name in without)
    wanted = [_parsed(find_procedure(source)) for source in given.values()] if names else _all()
    wanted = [each for each in wanted if each.name not in unwanted]
    if as_given:
        why, charge = "in the order given", pack.state_of_charge_on_arrival
        agenda = Agenda(tuple(planned_item(each, program(each), why, charge) for each in wanted), ())
    else:
        movers = {name: _parsed(find_procedure(name)) for name in (TO_FULL, TO_HALF, EMPTIES) if name not in unwanted}
        agenda = propose(wanted, movers, pack, bench, pack.state_of_charge_on_arrival, program_or_why)
    found = tuple(replace(item, source=_source(given.get(item.name, item.name))) for item in agenda.items)
    return replace(agenda, items=found, left_out=(*agenda.left_out, *((name, UNWANTED) for name in unwanted)))


def of_protection(procedure: Procedure, pack: PackSheet, sensors: tuple[str, ...]) -> tuple[str, ...]:
    """The sensors a session was asked for, as far as a procedure's protection has them."""
    protection = pack.protection(procedure.protection or "")
    return tuple(sensor for sensor in sensors if sensor in getattr(protection, "sensors", ()))


def _reason(error: SheetError) -> str:
    """What is wrong, in a line of a plan: the first thing, with its place."""
    first = error.problems[0]
    more = f"; and {len(error.problems) - 1} more" if len(error.problems) > 1 else ""
    return f"{first.what} ({Path(first.file).name}:{first.line}){more}"


def _source(name: str) -> str:
    """What finds a procedure also from another folder."""
    return str(Path(name).resolve()) if name not in procedure_names() else name


def _all() -> list[Procedure]:
    """Every procedure that travels with the program, but for those that only move the charge."""
    return [_parsed(find_procedure(name)) for name in procedure_names() if name not in (TO_FULL, TO_HALF)]


def _parsed(file: UserFile) -> Procedure:
    return parse_procedure(file.text, file.name)


def state_of_charge_after(evaluation: Evaluation, before: float | None) -> float | None:
    """The state of charge after a run, as a ratio of the rated capacity: counted, and set anew at full and empty."""
    recording = evaluation.recording
    charge, discharge = recording.of(SUPPLY_CURRENT), recording.of(LOAD_CURRENT)
    begin, known = -1.0, before
    for attempt in recording.attempts:
        if attempt.kind == "charge" and attempt.outcome in FULL and evaluation.procedure.ends in ("full", "empty"):
            begin, known = attempt.at, 1.0
        elif attempt.kind == "drain" and attempt.outcome == Outcome.STOPPED and evaluation.procedure.ends == "empty":
            begin, known = attempt.at, 0.0
    if known is None:
        return None
    last = max([float(series.t[-1]) for series in (charge, discharge) if len(series)], default=begin)
    moved = integrate(charge, begin, last) - integrate(discharge, begin, last) if last > begin else 0.0
    return float(min(max(known + moved / evaluation.pack.rated_capacity, 0.0), 1.0))


def protection_of(name: str) -> str:
    """The protection that a procedure tests, or nothing."""
    file = find_procedure(name)
    return str(parse_procedure(file.text, file.name).protection or "")


def sensors_for(name: str, pack: PackSheet, sensors: tuple[str, ...]) -> tuple[str, ...]:
    """The sensors a session was asked for, as far as a procedure's protection has them."""
    file = find_procedure(name)
    return of_protection(parse_procedure(file.text, file.name), pack, sensors)


# worst first: ended early, wrong input, fails, not all measured, pass
_SEVERITY = {Exit.ENDED_EARLY: 4, Exit.WRONG_INPUT: 3, Exit.FAIL: 2, Exit.NOT_ALL_JUDGED: 1, Exit.PASS: 0}


def worst_status(statuses: Iterable[int]) -> Exit:
    """The exit status of several runs. A run that ended early is the last: nobody knows why before having looked."""
    worst = Exit.PASS
    for status in map(Exit, statuses):
        worst = max(worst, status, key=lambda each: _SEVERITY[each])
        if status == Exit.ENDED_EARLY:
            break
    return worst
