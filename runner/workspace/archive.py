"""The runs that are kept: what was found on which pack and when, two beside each other, one threshold over the years.

Read from each folder's findings.json and its inputs; nothing is worked out again. Whether the evidence is as it was recorded
takes longer and is a question of its own (``changed_in``). A folder that cannot be read is named
with the reason and left out, because one bad folder must not hide the others.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from runner.errors import RecordError
from runner.measure.finding import Finding
from runner.record.folder import EVENTS, FINDINGS, INPUTS, RESOLVED, SESSION, RunFolder
from runner.seal.verify import verify
from runner.sheets.older import with_kinds

Key = tuple[str, str, str | None]  # protection, name and sensor of a finding


@dataclass(frozen=True)
class PastRun:
    """One run folder. ``utc`` is when it began, ``conformity`` None for a run that was to find nothing."""

    path: Path
    utc: str
    pack: str
    serial: str
    procedure: str
    conformity: str | None
    ended_early: str
    simulated: bool
    findings: tuple[Finding, ...]

    @property
    def day(self) -> str:
        """The date of the run, UTC."""
        return datetime.datetime.fromisoformat(self.utc).strftime("%Y-%m-%d %H:%M")

    @property
    def statement(self) -> str:
        """The statement for the whole run in a word or two."""
        if self.ended_early:
            return "ended early"
        return self.conformity or "not judged"

    def has(self, words: str) -> bool:
        """Whether every one of these words is somewhere in what names the run."""
        text = f"{self.pack} {self.serial} {self.procedure} {self.statement} {self.day}".lower()
        return all(word in text for word in words.lower().split())


@dataclass(frozen=True)
class ComparedFinding:
    """A finding of two runs; ``differs`` says whether the difference is larger than its expanded uncertainty."""

    key: Key
    one: Finding | None
    other: Finding | None

    @property
    def difference(self) -> float | None:
        if self.one is None or self.other is None or self.one.value is None or self.other.value is None:
            return None
        return self.other.value - self.one.value

    @property
    def differs(self) -> bool | None:
        """None where it cannot be said. The uncertainties are taken as independent: U² = U₁² + U₂²."""
        if self.difference is None or self.one is None or self.other is None:
            return None
        one, other = self.one.expanded_uncertainty or 0.0, self.other.expanded_uncertainty or 0.0
        return bool(abs(self.difference) > (one**2 + other**2) ** 0.5)


def past_runs(out: Path) -> tuple[list[PastRun], list[str]]:
    """The runs under a directory, newest first, sessions' runs among them; and what could not be read, with the reason."""
    found, unreadable = [], []
    for path in _folders(out):
        try:
            found.append(_read(path))
        except (RecordError, KeyError, TypeError, ValueError) as error:
            said = str(error) if isinstance(error, RecordError) else f"{path}: findings.json is damaged"
            unreadable.append(said)
    return sorted(found, key=lambda run: run.utc, reverse=True), unreadable


def changed_in(folder: Path) -> tuple[str, ...]:
    """What of a run is not as it was recorded or sealed, in the words of ``verify``; what cannot be looked at is that as well.

    It reads the whole record: 0.1 s for an hour of a run.
    """
    try:
        return tuple(verify(folder, None).differences)
    except RecordError as error:
        return (str(error),)
    except OSError as error:
        return (f"{error.filename or folder}: cannot be read ({error.strerror})",)


def beside(one: PastRun, other: PastRun) -> list[ComparedFinding]:
    """The findings of two runs side by side, in the order of the first."""
    first, second = ({_key(finding): finding for finding in run.findings} for run in (one, other))
    return [ComparedFinding(key, first.get(key), second.get(key)) for key in dict.fromkeys([*first, *second])]


def over_time(runs: Sequence[PastRun], serial: str, key: Key) -> list[tuple[PastRun, Finding]]:
    """One finding of one pack in every run that measured it, oldest first."""
    found = [
        (run, finding)
        for run in runs
        if run.serial == serial
        for finding in run.findings
        if _key(finding) == key and finding.value is not None
    ]
    return sorted(found, key=lambda each: each[0].utc)


def _key(finding: Finding) -> Key:
    return finding.protection, finding.name, finding.sensor


def _folders(out: Path) -> Iterator[Path]:
    if not out.is_dir():
        return
    for path in sorted(out.iterdir()):
        if (path / SESSION).is_file():
            yield from (run for run in sorted(path.iterdir()) if (run / EVENTS).is_file())
        elif (path / EVENTS).is_file():
            yield path


def _read(path: Path) -> PastRun:
    folder = RunFolder(path)
    content = folder.read_json(FINDINGS)
    resolved = folder.read_json(f"{INPUTS}/{RESOLVED}")
    return PastRun(
        path,
        resolved["utc"],
        content["pack"]["name"],
        content["pack"]["serial"],
        content["procedure"],
        content["conformity"],
        content["ended_early"],
        bool(content["simulated"]),
        tuple(Finding.from_json(with_kinds(each)) for each in content["findings"]),
    )
