"""The watcher looks at a kept run once more: what it says today of each change, and where that differs from what it said live.

Rule 1: what the watcher of today says counts, so a corrected watcher reaches runs of last year; the difference is said.
Rule 2: where both agree, the instant that the journal has is kept, which was written with the sample that showed it.
Rule 3: only the last minutes before a change are looked at; if they say otherwise, all of it since something was switched on.
Rule 4: a run that today's watcher has seen live is not looked at again.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from runner.engine.watch.declared import DeclaredPath
from runner.engine.watch.verdict import Verdict
from runner.engine.watch.watcher import Watcher
from runner.engine.watch.watching import Watching
from runner.evaluation.provenance import digest
from runner.events import Event, LoadIsOn, OutputIsOff, OutputIsOn, Sampled
from runner.measure.recording import Attempt
from runner.orders import BeginStep, Pace
from runner.record.journal import JournalEntry
from runner.record.samples import as_events
from runner.vocabulary import Outcome, Until, WatchWord

if TYPE_CHECKING:
    import pandas as pd

WATCHED = ("heat", "cool", "substitute", "stage", "drain", "charge")  # steps that the watcher's words end
WORDS = (
    Outcome.STOPPED,
    Outcome.RETURNED,
    Outcome.LIMITED,
    Outcome.OPEN_LEAD,
    Outcome.UNCLEAR,
    Outcome.TAPERING,
    Outcome.FULL,
)
ENDS = frozenset(WORDS)
WINDOW = 300.0  # s before a change: longer than anything the watcher remembers
LOOK_ON = 12.0  # s after an attempt was concluded: an earlier watcher may have been satisfied with less
JUST_BEFORE = 2.0  # s before something was switched on: the watcher remembers nothing from before
SAME = 0.005  # s: instants that differ by less are the same; the table has fewer digits than the run had
PATIENT = 1.0


@dataclass(frozen=True)
class _Program:
    """What a run's resolved.json says of its watching."""

    smallest: Mapping[str, float]
    patience: float
    empty_at: float
    over_voltage: bool
    declared: DeclaredPath
    until: Mapping[int, str]
    climb: float = 0.0


def judged_again(
    attempts: Sequence[Attempt], entries: Sequence[JournalEntry], table: pd.DataFrame, resolved: Mapping[str, Any]
) -> tuple[tuple[Attempt, ...], tuple[str, ...]]:
    """(the attempts as today's watcher ends them, in what it differs from what was said live).

    ``entries`` is the journal, ``table`` the samples beside it, ``resolved`` the content of resolved.json.
    """
    if resolved.get("method") == digest():
        return tuple(attempts), ()
    program = _program(resolved["program"])
    found, otherwise = [], []
    for attempt in attempts:
        again, why = _again(attempt, entries, table, program)
        found.append(again)
        if why:
            otherwise.append(why)
    return tuple(found), tuple(otherwise)


def _program(content: Mapping[str, Any]) -> _Program:
    until = {step["index"]: str(step["words"].get("until", "")) for step in content["steps"]}
    smallest = content.get("smallest_current") or {}
    pairs = smallest.items() if isinstance(smallest, Mapping) else smallest
    empty_at = content.get("empty_at", 0.0)  # runs from before it was asked for are judged without
    return _Program(
        dict(pairs),
        content.get("patience", PATIENT),
        empty_at,
        content["protection"] == "over_voltage",
        DeclaredPath.kept(content.get("declared_path", {})),
        until,
        content.get("climb", 0.0),
    )


def _again(
    attempt: Attempt, entries: Sequence[JournalEntry], table: pd.DataFrame, program: _Program
) -> tuple[Attempt, str]:
    if attempt.kind not in WATCHED or attempt.by_hand or attempt.outcome not in ENDS:
        return attempt, ""
    switched = [
        each.t for each in entries if isinstance(each.what, OutputIsOn | LoadIsOn) and each.t <= attempt.at
    ] or [attempt.began]
    for begin in (attempt.at - WINDOW, switched[-1] - JUST_BEFORE):
        verdict = _verdict(attempt, entries, table, program, begin)
        if verdict is None or _agree(attempt, verdict):
            break
    if verdict is None:  # nothing was sampled: there is nothing to judge by
        return attempt, ""
    if _agree(attempt, verdict):
        moved = attempt.outcome in (Outcome.STOPPED, Outcome.RETURNED) and abs(verdict.since - attempt.at) > SAME
        return (replace(attempt, at=verdict.since) if moved else attempt), ""
    outcome = Outcome(verdict.word) if verdict.word in ENDS else Outcome.NOT_SEEN
    where = f"{attempt.kind} {attempt.sensor}".strip()
    when = f"{where}, {attempt.at / 60:.1f} min"
    said = f"{when}: judged {attempt.outcome} during the run; this version says {verdict.word} ({verdict.why})"
    return replace(attempt, outcome=outcome, why=verdict.why, at=verdict.since), said


def _agree(attempt: Attempt, verdict: Verdict) -> bool:
    if attempt.outcome == verdict.word:
        return True
    # a charge that ends by its time or tapers to its end may be full to the watcher, or still taper
    ended = (WatchWord.TAPERING, WatchWord.FULL, WatchWord.STOPPED)
    return attempt.kind == "charge" and attempt.outcome in (Outcome.FULL, Outcome.STOPPED) and verdict.word in ended


def _verdict(
    attempt: Attempt, entries: Sequence[JournalEntry], table: pd.DataFrame, program: _Program, begin: float
) -> Verdict | None:
    """What the watcher says when the attempt was concluded, if it sees the samples from ``begin`` on. None if there are none."""
    watching = Watching(
        Watcher(dict(program.smallest), program.patience, program.empty_at, program.declared, program.climb)
    )
    concluded = attempt.concluded if attempt.concluded is not None else attempt.at
    step, seen, late = -1, False, None
    then = watching.watcher.verdict
    latest: list[Verdict] = []  # a sample may change the word twice, as from returned to steady
    for what in _in_order(entries, table, begin, concluded + LOOK_ON):
        if isinstance(what, BeginStep):
            step = what.index
        elif isinstance(what, Pace):
            watching.ordered(what)
        elif isinstance(what, Event):
            wanted = program.over_voltage and program.until.get(step) == Until.STOPPED
            verdicts = watching.happened(what, over_voltage_wanted=wanted)
            if what.t <= concluded + 1e-6:
                latest = verdicts if verdicts or not isinstance(what, Sampled) else latest
                seen = seen or isinstance(what, Sampled)
                then = watching.watcher.verdict
            elif late is None:  # an earlier watcher had made up its mind sooner
                late = next((each for each in verdicts if each.word == attempt.outcome), None)
                if late is not None or isinstance(what, OutputIsOff):
                    break
    fitting = next((each for each in latest if each.word == attempt.outcome), None)
    if not seen:
        return None
    return fitting or (then if then.word == attempt.outcome else late or then)


def _in_order(
    entries: Sequence[JournalEntry], table: pd.DataFrame, begin: float, end: float
) -> Iterator[Event | BeginStep | Pace]:
    """Journal and samples merged by their times up to ``end`` (s); of the samples, those from ``begin`` on."""
    times = table["t_s"].to_numpy()
    if table["t_s"].is_monotonic_increasing:
        rows = table.iloc[np.searchsorted(times, begin, "left") : np.searchsorted(times, end + 1e-6, "right")]
    else:
        rows = table[(times >= begin) & (times <= end + 1e-6)]
    samples = iter(as_events(rows))
    sample = next(samples, None)
    for entry in entries:
        if entry.t > end + 1e-6:
            break
        while sample is not None and sample.t < entry.t - 1e-9:
            yield sample
            sample = next(samples, None)
        if isinstance(entry.what, Event | BeginStep | Pace) and not isinstance(entry.what, Sampled):
            yield entry.what
    while sample is not None:
        yield sample
        sample = next(samples, None)
