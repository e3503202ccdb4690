"""A run seen from outside: its folder read while it grows, and made into the same views and orders a face is shown.

Rule 1: nothing is written and nothing at the bench is touched; who follows cannot answer, stop or hold up a run.
Rule 2: what happened is taken from the journal, not worked out again: the orders in it say which step is on and what was
        asked. A line that is not whole yet is left for the next look.
"""

from __future__ import annotations

import csv
import os
from collections.abc import Iterator
from pathlib import Path

from runner.conduct.texts import runs as texts
from runner.engine.bench_state import BenchState
from runner.engine.ceilings import Ceilings
from runner.engine.steps.switches import SWITCHED_OFF, SWITCHED_ON
from runner.engine.view import StepLine, View
from runner.errors import RecordError
from runner.events import (
    CHARGE,
    DISCHARGE,
    Answered,
    Event,
    LoadIsOn,
    OutputIsOff,
    OutputIsOn,
    Sampled,
)
from runner.orders import Ask, BeginStep, End, Guide, Judge, Order, Withdraw
from runner.record.folder import EVENTS, INPUTS, RESOLVED, SAMPLES, RunFolder
from runner.record.journal import entry_of
from runner.record.samples import sample_of
from runner.vocabulary import Answer, WatchWord
from runner.workspace.job import Job, UserFile, load
from runner.workspace.session import Session

READ_AT_ONCE = 1 << 18  # bytes of a file that are taken in one look: a long run is caught up with in many short ones


class GrowingFile:
    """A file that is written while it is read. ``lines`` gives the whole lines that have come since the last call."""

    def __init__(self, path: Path) -> None:
        self._path, self._at, self._rest = path, 0, b""

    def lines(self) -> Iterator[str]:
        """Raises RecordError if the file cannot be read."""
        try:
            with self._path.open("rb") as file:
                if file.seek(0, os.SEEK_END) < self._at:  # a torn last line was cut off before the run went on
                    self._at, self._rest = self._at - len(self._rest), b""
                file.seek(self._at)
                new = file.read(READ_AT_ONCE)
        except OSError as error:
            what, remedy = texts.unreadable(str(error.strerror))
            raise RecordError(what, str(self._path), remedy) from error
        self._at += len(new)
        *whole, self._rest = (self._rest + new).split(b"\n")
        for line in whole:
            yield line.decode("utf-8", "replace")


class Follower:
    """One run folder, followed. ``look`` takes in what is new; ``view`` is the run as it was when it was last looked at.

    ``asked`` is the question that stands now, ``ended`` how the run ended, if it has.
    """

    def __init__(self, folder: Path) -> None:
        """Raises RecordError if it is no run folder, SheetError if its inputs no longer parse."""
        self.folder = RunFolder.existing(folder)
        self.job = _job_of(self.folder)
        self.known = BenchState()
        self.ended: End | None = None
        self.asked: Ask | None = None
        self._journal, self._samples = GrowingFile(folder / EVENTS), GrowingFile(folder / SAMPLES)
        self._header: list[str] = []
        self._ceilings = Ceilings(self.job.program.ceilings, self.job.program.patience, self.job.program.by_hand)
        self._sentence, self._now = texts.BEGINS, -1
        self._verdict = (WatchWord.SETTLING.value, "")
        self._begun: set[int] = set()
        self._number = 0

    def look(self) -> tuple[list[tuple[Order | Event, float]], list[Sampled]]:
        """What was ordered and what happened since the last look, with its time in s, and what was sampled. Raises RecordError."""
        samples = [sample for line in self._samples.lines() if (sample := self._sample(line)) is not None]
        for sample in samples:
            self.known.take(sample)
            self._ceilings.passed(sample)
        told = [self._entry(line) for line in self._journal.lines()]
        return told, samples

    @property
    def view(self) -> View:
        """The run as it was at the last look."""
        program, known = self.job.program, self.known
        return View(
            known.t,
            "ended" if self.ended is not None else "watching",
            texts.ended(self.ended.reason) if self.ended is not None else self._sentence,
            dict(known.latest),
            dict(known.lost),
            known.rate(),
            known.path,
            known.mode,
            *self._verdict,
            self._steps(),
            None,
            self._ceilings.headroom(),
            None,
            program.trip_limits,
            known.by_hand_on,
        )

    # ---- taking in -------------------------------------------------------------------------------------------

    def _entry(self, line: str) -> tuple[Order | Event, float]:
        self._number += 1
        try:
            entry = entry_of(line)
        except ValueError as error:
            raise RecordError.not_json(str(self.folder.path / EVENTS), self._number) from error
        what, t = entry.what, entry.t
        self.known.t = max(self.known.t, t)
        self._happened(what, t)
        return what, t

    def _happened(self, what: Order | Event, t: float) -> None:
        asked = self.asked
        if isinstance(what, Answered) and asked is not None and what.question == asked.question:
            role = SWITCHED_OFF.get(asked.of)
            if role is not None and what.value != Answer.STOP:
                self.known.switched_by_hand(role, on=False)
        if isinstance(what, OutputIsOn | LoadIsOn):
            self.known.path = CHARGE if isinstance(what, OutputIsOn) else DISCHARGE
            self._ceilings.armed(t, self.known.path)
        elif isinstance(what, OutputIsOff):
            self.known.switched_off()
            self._ceilings.disarmed()
        elif isinstance(what, BeginStep):
            self._now = what.index
            self._begun.add(what.index)
            step = self.job.program.steps[what.index]
            self._sentence = step.say or step.title
        elif isinstance(what, Guide):
            self._sentence = what.say
        elif isinstance(what, Judge):
            self._verdict = (what.word, what.why)
        elif isinstance(what, Ask):
            self.asked = what
            if what.of in SWITCHED_ON:
                self.known.switched_by_hand(SWITCHED_ON[what.of], on=True)
        elif isinstance(what, Answered | Withdraw) and self.asked is not None and self.asked.question == what.question:
            self.asked = None
        elif isinstance(what, End):
            self.ended, self.asked = what, None

    def _sample(self, line: str) -> Sampled | None:
        cells = next(csv.reader([line]), [])
        if not self._header:
            self._header = cells
            return None
        try:
            return sample_of(dict(zip(self._header, cells, strict=False)))
        except (KeyError, ValueError) as error:
            what, remedy = texts.no_samples(str(error))
            raise RecordError(what, str(self.folder.path / SAMPLES), remedy) from error

    def _steps(self) -> tuple[StepLine, ...]:
        lines = []
        for step in self.job.program.steps:
            if step.index == self._now and self.ended is None:
                mark = "now"
            elif step.index in self._begun:
                mark = "done"
            else:
                mark = "skipped" if step.index < self._now or self.ended is not None else "next"
            lines.append(StepLine(step.title, mark))
        return tuple(lines)


def newest_run(folder: Path) -> Path:
    """The run folder itself, or of a session the run that was begun last. Raises RecordError."""
    session = Session.of(folder) if not (folder / EVENTS).is_file() else None
    if session is None:
        return folder
    runs = [entry.run for entry in session.entries if entry.run]
    if not runs:
        what, remedy = texts.NONE_STARTED
        raise RecordError(what, str(folder), remedy)
    return session.path / runs[-1]


def _job_of(folder: RunFolder) -> Job:
    names = ("procedure.yaml", "pack.yaml", "bench.yaml")
    files = [UserFile(str(folder.path / INPUTS / name), folder.input(name)) for name in names]
    sensors = folder.read_json(f"{INPUTS}/{RESOLVED}")["program"]["sensors"]
    return load(files[0], files[1], files[2], tuple(sensors), as_it_was=True)
