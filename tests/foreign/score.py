"""How the watcher's words on a foreign record are held against what was true.

Rule 1: each true stop and return wants its word before the next one, seen at its time. Where physics leaves two explanations, the
        word of either is right.
Rule 2: a word that says that the pack has stopped or let flow again, where it did not, is invented.
Rule 3: "cannot tell" (unclear) is right where the truth is among what fits; it is counted apart.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from runner.engine.watch.verdict import Verdict
from runner.engine.watch.watcher import Watcher
from runner.events import CHARGE, METER_VOLTAGE
from runner.vocabulary import WatchWord
from tests.foreign.course import Change
from tests.foreign.world import ForeignRecord

STOPS = ("opens", "keeps alive", "full", "lead off", "supply trips")
WORDS = {  # what happens -> the words that say so
    "opens": {WatchWord.STOPPED},
    "keeps alive": {WatchWord.STOPPED, WatchWord.KEEP_ALIVE},
    "full": {WatchWord.FULL},
    "lead off": {WatchWord.OPEN_LEAD},
    "supply trips": {WatchWord.LIMITED},
    "derates": {
        WatchWord.DERATED,
        WatchWord.LIMITED,
    },  # a supply that is asked for less no longer regulates its voltage
    "chops": {WatchWord.DERATED},
    "retries": {WatchWord.RETRYING, WatchWord.STOPPED},
    "tapers": {WatchWord.TAPERING, WatchWord.FULL},
}
ENDS = {WatchWord.STOPPED, WatchWord.FULL, WatchWord.OPEN_LEAD, WatchWord.LIMITED}  # nothing flows any more
LATE = 0.6  # s: what a fall, a bounce and a supply's settling may take beyond the polling


@dataclass
class Score:
    """What was wrong with one record, and the errors of the plain instants in s, each with the interval of polling."""

    wrong: list[str] = field(default_factory=list)
    unclear: bool = False
    errors: list[float] = field(default_factory=list)


def watched(record: ForeignRecord) -> list[tuple[float, Verdict]]:
    """The words on a record, with the times at which they were said."""
    reading = record.bench.current
    smallest = 3 * reading.noise + 2 * reading.resolution + abs(reading.offset)
    watcher = Watcher({CHARGE: smallest})
    watcher.paced(record.interval)
    watcher.expect(CHARGE, record.set_voltage, record.set_current, record.on_at)
    said = []
    for sample in record.samples:
        if METER_VOLTAGE in sample.readings and record.meter_at != "terminals":
            continue  # a meter at the cells cannot tell a lead from the pack; the bench file says where it is
        said += [(sample.t, verdict) for verdict in watcher.take(sample)]
    return said


def allowed_lateness(record: ForeignRecord) -> float:
    """s between a change and the first reading that can show it."""
    return record.aperture + record.renewal + 2.5 * record.interval + LATE


def scored(record: ForeignRecord) -> Score:
    """Hold the words against the truth."""
    said, score = watched(record), Score()
    changes = [each for each in record.changes if each.what in (*STOPS, "closes")]
    score.unclear = any(verdict.word == WatchWord.UNCLEAR for _, verdict in said)
    for index, change in enumerate(changes):
        until = changes[index + 1].t if index + 1 < len(changes) else float("inf")
        stood = [(t, verdict) for t, verdict in said if t < change.t][-1:]
        full = [each for each in stood if each[1].word == WatchWord.FULL]  # it stays so
        words = full + [(t, verdict) for t, verdict in said if change.t <= t < until + allowed_lateness(record)]
        score.wrong += _missing(record, change, words)
    score.wrong += _invented(record, said)
    if record.about is not None and record.about.what not in (*STOPS, "closes"):
        if "nothing" in record.explanations:
            return score
        fitting = set().union(*(WORDS[each] for each in record.explanations))
        if not any(verdict.word in fitting or verdict.word == WatchWord.UNCLEAR for _, verdict in said):
            score.wrong.append(f"{record.about.what} not said")
    score.errors = list(_instants(record, said))
    return score


def _missing(record: ForeignRecord, change: Change, words: list[tuple[float, Verdict]]) -> list[str]:
    if change.what == "closes":
        wanted = {WatchWord.RETURNED}
        if not _was_stopped(record, change) or "derates" in record.explanations:
            wanted = {WatchWord.RETURNED, WatchWord.STEADY, WatchWord.DROPOUT}
    else:
        explanations = (
            record.explanations if change is record.about else {change.what, *record.explanations & {"retries"}}
        )
        wanted = set().union(*(WORDS[each] for each in explanations)) | {WatchWord.UNCLEAR}
    return [] if any(verdict.word in wanted for _, verdict in words) else [f"{change.what} not said"]


def _was_stopped(record: ForeignRecord, closes: Change) -> bool:
    return any(each.what in STOPS and each.t < closes.t for each in record.changes)


def _invented(record: ForeignRecord, said: list[tuple[float, Verdict]]) -> Iterator[str]:
    late = allowed_lateness(record)
    possible = record.explanations
    for _, verdict in said:
        near = {each.what for each in record.changes if -late <= verdict.since - each.t <= late + each.lasts}
        if verdict.word in ENDS and not near & set(STOPS) and not possible & {"opens", "keeps alive", "full"}:
            if verdict.word == WatchWord.FULL and "tapers" in {each.what for each in record.changes}:
                continue
            yield f"{verdict.word} invented"
        if verdict.word == WatchWord.RETURNED and not near & {"closes", "pre-charges"} and "retries" not in possible:
            yield f"{verdict.word} invented"


def _instants(record: ForeignRecord, said: list[tuple[float, Verdict]]) -> Iterator[float]:
    """since − t of what is plain: one explanation, within a millisecond or fifty."""
    if record.kind not in ("transistor", "contactor", "soft gate"):
        return
    for change in record.changes:
        word = WatchWord.STOPPED if change.what == "opens" else WatchWord.RETURNED
        found = [verdict.since for _, verdict in said if verdict.word == word and abs(verdict.since - change.t) < 5.0]
        yield from (since - change.t for since in found[:1])
