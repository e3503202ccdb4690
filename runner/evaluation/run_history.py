"""What the journal of a run tells: what was attempted, asked, answered, noted, remarked, and how it ended."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from runner.engine.steps.switches import SWITCHED_ON
from runner.events import Answered, InputsKept, NobodyConfirmed, OutputIsOff, Resumed, Sampled, SamplesKept, Started
from runner.measure.recording import Attempt, Held, Typed
from runner.orders import Ask, BeginRamp, BeginStep, Conclude, End, Judge, Level, Note, Remark
from runner.record.journal import JournalEntry
from runner.sheets.older import ORDINARY, observed_before
from runner.vocabulary import Answer, Observed, Outcome, Role, WatchWord

NOTHING: Mapping[int, str] = {}
WORTH_TELLING = (
    WatchWord.DROPOUT,
    WatchWord.LOST,
    WatchWord.OPEN_LEAD,
    WatchWord.LIMITED,
    WatchWord.UNCLEAR,
    WatchWord.DERATED,
    WatchWord.KEEP_ALIVE,
    WatchWord.RETRYING,
)  # pre-charging is how many packs return, and comes with every return


USED_BY: Mapping[str, str] = {  # what a person does with a key, and with what
    **SWITCHED_ON,
    Observed.CURRENT_GONE: Role.CLAMP,
    Observed.CURRENT_BACK: Role.CLAMP,
}


@dataclass(frozen=True)
class GivenAnswer:
    """One answered question: UTC, what it is evidence of, the answer, who gave it, the note and the files, of which sensor."""

    utc: str
    record: str
    value: str
    by: str
    note: str = ""
    files: tuple[str, ...] = ()
    sensor: str = ""


@dataclass(frozen=True)
class RunHistory:
    """What the journal tells, apart from the numbers; ``by_hand``: the roles that a person has read, set or switched."""

    began: str = ""
    ended: str = ""
    end: End | None = None
    attempts: tuple[Attempt, ...] = ()
    replies: tuple[GivenAnswer, ...] = ()
    notes: tuple[Note, ...] = ()
    remarks: tuple[tuple[float, str], ...] = ()
    typed: tuple[Typed, ...] = ()
    breaks: tuple[tuple[float, float], ...] = ()
    by_hand: frozenset[str] = frozenset()
    simulated: bool | None = None  # as the command that ran wrote it down; None in old records


def tell(
    entries: Sequence[JournalEntry], sampled: Sequence[float] = (), sought: Mapping[int, str] = NOTHING
) -> RunHistory:
    """What happened, from the entries of a journal in order; ``sampled`` are the times (s) of the samples beside it.

    ``sought`` is the outcome that each step, by its index, waited for.
    """
    teller = _Teller(sampled, sought)
    for entry in entries:
        teller.take(entry)
    return teller.story(entries)


class _Teller:
    def __init__(self, sampled: Sequence[float], sought: Mapping[int, str]) -> None:
        self._sampled, self._sought = sampled, sought
        self.attempts: list[Attempt] = []
        self.replies: list[GivenAnswer] = []
        self.notes: list[Note] = []
        self.remarks: list[tuple[float, str]] = []
        self.typed: list[Typed] = []
        self.breaks: list[tuple[float, float]] = []
        self.end: End | None = None
        self.by_hand: set[str] = set()
        self._asked: dict[str, Ask] = {}
        self._replied: dict[str, int] = {}  # the place in ``replies`` of the answer to a question that stands no more
        self._step: BeginStep | None = None
        self._began: dict[int, float] = {}
        self._ramps: dict[int, float] = {}
        self._levels: dict[int, list[Held]] = {}
        self._last = 0.0

    def take(self, entry: JournalEntry) -> None:
        what, t = entry.what, entry.t
        if isinstance(what, Ask):
            self._asked[what.question] = what
            self._replied.pop(what.question, None)
        elif isinstance(what, Answered):
            self._reply(entry.utc, what)
        elif isinstance(what, BeginStep | BeginRamp | Level | Conclude):
            self._in_a_step(what, t)
        elif isinstance(what, Note):
            self.notes.append(what)
            if what.quantity is not None:
                of = Observed(what.of) if what.of else observed_before(what.name, what.dimension)
                self.typed.append(Typed(what.name, what.quantity, t, of))
        elif isinstance(what, Remark | Judge | NobodyConfirmed | OutputIsOff):
            self.remarks += [(t, say) for say in _worth_telling(what)]
        elif isinstance(what, Resumed):
            self._resumed(t, what)
        elif isinstance(what, End):
            self.end = what
        if not isinstance(what, Resumed | Sampled | InputsKept | SamplesKept):
            self._last = t

    def _reply(self, utc: str, what: Answered) -> None:
        """An answer; one more to the same question brings the files of a mark, which were copied after it had counted."""
        if what.files and what.question in self._replied:
            place = self._replied[what.question]
            self.replies[place] = replace(self.replies[place], files=tuple(what.files))
            return
        question = self._asked.get(what.question)
        record = (question.record or question.say) if question else what.question
        if question is not None and what.value != Answer.STOP:
            box = Role.BOX if question.setting is not None else ""
            self.by_hand |= {role for role in (question.role, USED_BY.get(question.of, ""), box) if role}
        self._replied[what.question] = len(self.replies)
        sensor = self._step.sensor if self._step is not None else ""
        self.replies.append(GivenAnswer(utc, record, what.value, what.by, what.note, tuple(what.files), sensor))

    def story(self, entries: Sequence[JournalEntry]) -> RunHistory:
        return RunHistory(
            entries[0].utc if entries else "",
            entries[-1].utc if entries else "",
            self.end,
            tuple(self.attempts),
            tuple(self.replies),
            tuple(self.notes),
            tuple(self.remarks),
            tuple(self.typed),
            tuple(self.breaks),
            frozenset(self.by_hand),
            next((entry.what.simulated for entry in entries if isinstance(entry.what, Started)), None),
        )

    def _in_a_step(self, what: BeginStep | BeginRamp | Level | Conclude, t: float) -> None:
        if isinstance(what, BeginStep):
            self._begin(what, t)
        elif isinstance(what, BeginRamp):
            self._ramps[what.index] = t
        elif isinstance(what, Level):
            self._levels.setdefault(what.index, []).append(Held(what.value, what.since, what.by_hand, what.asked))
        else:
            self._conclude(what, t)

    def _begin(self, step: BeginStep, t: float) -> None:
        self._step = step
        self._began[step.index] = t
        self._ramps.pop(step.index, None)
        self._levels.pop(step.index, None)

    def _conclude(self, what: Conclude, t: float) -> None:
        self._step = None
        self.attempts.append(
            Attempt(
                what.kind,
                what.sensor,
                what.cycle,
                what.rate,
                self._began.get(what.index, 0.0),
                self._ramps.get(what.index),
                what.at,
                what.outcome,
                what.why,
                what.limit,
                tuple(self._levels.get(what.index, ())),
                what.by_hand,
                self._sought.get(what.index, ""),
                t,
            )
        )

    def _resumed(self, t: float, what: Resumed) -> None:
        """What was going on when it broke off is an attempt too, up to the last that was heard of it."""
        before = bisect_left(self._sampled, t)
        if before:
            self._last = max(self._last, float(self._sampled[before - 1]))
        self.breaks.append((self._last, t))
        self.remarks.append((t, f"continued after a break of {(t - self._last) / 60:.0f} min ({what.why})"))
        step = self._step
        if step is not None and step.kind in ("drain", "charge"):
            began = self._began[step.index]
            self.attempts.append(
                Attempt(step.kind, step.sensor, step.cycle, 0.0, began, None, self._last, Outcome.BROKEN_OFF, what.why)
            )
        self._step, self.end = None, None


def _worth_telling(what: Remark | Judge | NobodyConfirmed | OutputIsOff) -> list[str]:
    """What a reader of the certificate should know of it; nothing of most."""
    if isinstance(what, Remark):
        return [what.say] if what.say != ORDINARY else []
    if isinstance(what, Judge):
        return [f"{what.word}: {what.why}"] if what.word in WORTH_TELLING else []
    if isinstance(what, NobodyConfirmed):
        return [f"nobody confirmed that what was switched on by hand is off: {what.why}"]
    return [] if what.confirmed else [f"not confirmed off: {what.remark}"]
