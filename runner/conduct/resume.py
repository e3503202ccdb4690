"""Where a run broke off, and what it takes to go on with it in its own folder.

Rule 1: a step that was concluded is not done again, unless by a fault of the bench. The one that was going on begins again
        at its ``restart``: the beginning of its sensor's steps, or the step that switched on what it goes on from. A
        discharge that was going on goes on: the charge drawn before the break counts.
        Cells that were compared before a long break are compared again, and the steps between are not done again for that.
        Breaks with nothing of the procedure between them are one break: a comparison that broke off itself has compared nothing.
Rule 2: a run that reached its end is not continued. Where the program was killed before it was evaluated and sealed, that
        is done.
Rule 3: the steps are those of the files as they were read then, not as they are now.
"""

from __future__ import annotations

import datetime
import math
import shlex
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from runner.conduct.texts import runs as texts
from runner.engine.opening import agreed_to
from runner.engine.program import Program
from runner.engine.steps.base import SPOILED
from runner.engine.steps.switches import Rest
from runner.errors import RecordError
from runner.evaluation.evaluate import Evaluation, evaluate
from runner.evaluation.provenance import digest
from runner.events import Answered, Event, InputsKept, Resumed
from runner.orders import BeginStep, Conclude, End, Order
from runner.record.folder import EVENTS, FINDINGS, INPUTS, RESOLVED, SAMPLES, RunFolder
from runner.record.journal import JournalEntry, read_journal
from runner.record.samples import read_samples
from runner.seal.editions import is_sealed, keep_edition
from runner.seal.sealing import seal_evidence
from runner.seal.verify import verify
from runner.vocabulary import Outcome
from runner.workspace.job import Job, UserFile, load
from runner.workspace.session import Session

BENCH_FAULTS = (*SPOILED, Outcome.LOST)  # outcomes that say nothing of the pack


@dataclass(frozen=True)
class Resumption:
    """How a run goes on: with which step, at what time since its start (s), and what is known of the pack.

    ``began`` is the UTC of its start, by the clock of the journal's last line, which is of ``heard`` (s). ``last`` is the time (s)
    up to which journal and samples go, ``why`` it had ended. ``agreed``: who accepted what is unusual, and why; empty if it broke
    off before. ``rested``: s of earlier breaks after which nothing of the procedure began again. ``no_test``: s of all breaks, and
    of waiting for a person with nothing on.
    """

    step: int
    began: str
    last: float
    why: str
    awake: bool = True
    agreed: str = ""
    rested: float = 0.0
    heard: float = 0.0
    no_test: float = 0.0

    def elapsed(self, utc: str) -> float:
        """Seconds since the run's start at a UTC stamp; never before what the journal has."""
        return max(self._passed(utc), self.last + 1.0)

    def rested_before(self, utc: str) -> float:
        """``rested``, and without end where the computer's clock is behind the journal: nobody knows how long this break is."""
        return math.inf if self._passed(utc) < self.heard else self.rested

    def _passed(self, utc: str) -> float:
        passed = datetime.datetime.fromisoformat(utc) - datetime.datetime.fromisoformat(self.began)
        return passed.total_seconds()


def broken_off(folder: RunFolder, bench: UserFile | None = None) -> tuple[Job, Resumption]:
    """The job of an unfinished run and where it goes on. ``bench`` stands in for the file kept, if addresses have changed.

    Raises RecordError if the run is complete, was a rehearsal whose instruments are gone, or its folder is not as it was;
    SheetError if its inputs no longer parse.
    """
    broken = verify(folder.path, None).differences
    if broken:
        raise _refused(texts.changed(broken[0]), folder.path)
    files = [
        UserFile(f"{folder.number}/{INPUTS}/{name}", folder.input(name)) for name in ("procedure.yaml", "pack.yaml")
    ]
    kept = bench or UserFile(str(folder.path / INPUTS / "bench.yaml"), folder.input("bench.yaml"))
    resolved = folder.read_json(f"{INPUTS}/{RESOLVED}")
    job = load(files[0], files[1], kept, tuple(resolved["program"]["sensors"]))
    entries = list(read_journal(folder.path / EVENTS))
    resumption = where(entries, job.program, folder.path)
    if resolved.get("rehearsed") and bench is None:
        raise _refused(texts.REHEARSED, folder.path)
    sampled = read_samples(folder.path / SAMPLES)["t_s"]
    last = max(resumption.last, float(sampled.max()) if len(sampled) else 0.0)
    return job, replace(resumption, last=last, no_test=no_test(entries, job.program, last))


def no_test(entries: Sequence[JournalEntry], program: Program, last: float) -> float:
    """How much (s) of a run up to ``last`` (s) was no time of its test."""
    rest = Rest(program.by_hand, program.looked_at)
    for entry in entries:
        if isinstance(entry.what, Event):
            rest.happened(entry.what)
        elif isinstance(entry.what, Order):
            rest.ordered(entry.what, entry.t)
    return rest.until(last)


def at_its_end(folder: RunFolder) -> Evaluation | None:
    """A run that reached its end, evaluated, and sealed if it has no seal yet; None of one that can go on.

    Raises RecordError if its folder is not as it was, SheetError if its inputs no longer parse.
    """
    end, commits = None, False
    for entry in read_journal(folder.path / EVENTS):
        end = entry.what if isinstance(entry.what, End) else end
        commits = commits or isinstance(entry.what, InputsKept)
    if end is None or end.early or not commits:  # a record of before there were seals is read as it is
        return None
    evaluation = evaluate(folder)
    if evaluation.broken:
        raise _refused(texts.changed(evaluation.broken[0]), folder.path)
    if not is_sealed(folder.path):
        keep_edition(folder.path, [FINDINGS], texts.NOT_SEALED)
        seal_evidence(folder.path, digest(), simulated=evaluation.simulated)
    return evaluation


def how_to_go_on(path: Path) -> str:
    """The command that goes on with a run, or with the session it is of; nothing where there is none.

    What it takes is asked by the command: that the folder is as it was recorded, and a bench.
    """
    try:
        session = Session.of(path)
        resolved = RunFolder(path).read_json(f"{INPUTS}/{RESOLVED}")
        entries = list(read_journal(path / EVENTS))
    except RecordError:
        return ""
    end = next((entry.what for entry in reversed(entries) if isinstance(entry.what, End)), None)
    if end is not None and not end.early:
        can = not is_sealed(path) and any(isinstance(entry.what, InputsKept) for entry in entries)
    else:
        can = bool(entries) and not resolved.get("rehearsed")
    if not can or (session is not None and session.rehearsed):
        return ""
    return texts.goes_on_with(shlex.quote(str(session.path if session is not None else path)))


def _refused(said: tuple[str, str], path: Path) -> RecordError:
    """``said``: what is wrong with a run folder, and what to do."""
    return RecordError(said[0], str(path), said[1])


def where(entries: Sequence[JournalEntry], program: Program, path: Path) -> Resumption:
    """Where a run goes on, from its journal. Raises RecordError if it is complete."""
    if not entries:
        raise _refused(texts.NOT_STARTED, path)
    end = next((entry.what for entry in reversed(entries) if isinstance(entry.what, End)), None)
    if end is not None and not end.early:
        raise _refused(texts.COMPLETE, path)
    step, awake, agreed, rested, before = 0, True, "", 0.0, entries[0].utc
    for entry in entries:
        what = entry.what
        if isinstance(what, BeginStep) and what.kind == "cells" and what.index < step:
            pass  # compared again after a break; that counts once the step that it is for has begun
        elif isinstance(what, BeginStep):
            step, rested = what.index, 0.0
        elif isinstance(what, Resumed):
            rested += what.after if entry.utc >= before else math.inf
        elif isinstance(what, Answered):
            agreed = agreed_to(what) or agreed
        elif isinstance(what, Conclude):
            step = what.index if what.outcome in BENCH_FAULTS else what.index + 1
            if what.kind == "drain" and what.outcome == Outcome.STOPPED:
                awake = False
            elif what.kind in ("recover", "wake") and (what.outcome == Outcome.RETURNED or _back_unseen(what)):
                awake = True
        before = entry.utc
    if step < len(program.steps):
        step = program.steps[step].restart
    heard = entries[-1]
    began = datetime.datetime.fromisoformat(heard.utc) - datetime.timedelta(seconds=heard.t)
    last = max(entry.t for entry in entries)
    why = end.reason if end is not None else texts.NO_END
    return Resumption(step, began.isoformat(), last, why, awake, agreed, rested, heard.t)


def _back_unseen(what: Conclude) -> bool:
    """Whether a person said that the pack was back before they looked."""
    return what.kind == "recover" and what.by_hand and what.outcome == Outcome.NOT_SEEN
