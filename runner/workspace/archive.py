"""The runs that are kept: what was found on which pack and when, two beside each other, one threshold over the years.

Read from each folder's findings.json and its inputs; nothing is recalculated. Whether the evidence is as it was recorded
takes longer and is a question of its own (``changed_in``).

Rule: whatever a folder holds, nothing is raised here. A run that cannot be read is named with the reason and left out, because
one bad folder must not hide the others; evidence that cannot be verified counts as changed, with the reason.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from runner.errors import RecordError, SheetError
from runner.measure.finding import Finding
from runner.notation.visible import in_one_line
from runner.record.folder import EVENTS, FINDINGS, INPUTS, RESOLVED, SESSION, RunFolder
from runner.seal.verify import verify
from runner.sheets.pack import parse_pack
from runner.workspace.kept_findings import findings_in, text_in
from runner.workspace.locks import is_held

RUNNING, NOT_ENDED = "running", "not ended"  # another process has the folder; nobody has, and it has no findings
Key = tuple[str, str, str | None]  # protection, name and sensor of a finding


@dataclass(frozen=True)
class PastRun:
    """One run folder. ``utc`` is when it began, ``conformity`` None for a run that was to find nothing.

    ``standing`` says of a run that is not over what it is at; nothing of others.
    """

    path: Path
    utc: str
    pack: str
    serial: str
    procedure: str
    conformity: str | None
    ended_early: str
    simulated: bool
    findings: tuple[Finding, ...]
    standing: str = ""

    @property
    def day(self) -> str:
        """The date of the run, UTC."""
        return datetime.datetime.fromisoformat(self.utc).strftime("%Y-%m-%d %H:%M")

    @property
    def statement(self) -> str:
        """The statement for the whole run in a word or two."""
        if self.standing:
            return self.standing
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
    found: list[PastRun] = []
    unreadable: list[str] = []
    for path in _folders(out, unreadable):
        try:
            found.append(_with_its_standing(path))
        except RecordError as error:
            unreadable.append(in_one_line(str(error)))
    return sorted(found, key=lambda run: run.utc, reverse=True), unreadable


def changed_in(folder: Path) -> tuple[str, ...]:
    """What of a run is not as it was recorded or sealed, in the words of ``verify``; what cannot be looked at is that as well.

    It reads the whole record: 0.1 s for an hour of a run.
    """
    try:
        return tuple(map(in_one_line, verify(folder, None).differences))
    except RecordError as error:
        return (in_one_line(str(error)),)


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


def _folders(out: Path, unreadable: list[str], *, in_session: bool = False) -> Iterator[Path]:
    """The run folders in a directory, and in the sessions in it; a folder that cannot be looked into joins ``unreadable``."""
    try:
        inside = sorted(out.iterdir()) if out.is_dir() else []
    except OSError as error:
        unreadable.append(_no_access(out, error))
        return
    for path in inside:
        try:
            is_session, is_run = (path / SESSION).is_file(), (path / EVENTS).is_file()
        except OSError as error:
            unreadable.append(_no_access(path, error))
            continue
        if is_session and not in_session:
            yield from _folders(path, unreadable, in_session=True)
        elif is_run:
            yield path


def _no_access(folder: Path, error: OSError) -> str:
    return in_one_line(f"{folder}: cannot be read ({error.strerror or error})")


def _with_its_standing(path: Path) -> PastRun:
    """A run that goes on, again or for the first time, or that broke off, has no findings to be read, or older ones."""
    has_findings = (path / FINDINGS).exists()
    run = _read(path) if has_findings else _unfinished(RunFolder(path))
    return replace(run, standing=RUNNING if is_held(path) else "" if has_findings else NOT_ENDED)


def _unfinished(folder: RunFolder) -> PastRun:
    """A run without findings, from what was kept when it began."""
    resolved = folder.read_json(f"{INPUTS}/{RESOLVED}")
    try:
        pack = parse_pack(folder.input("pack.yaml"), str(folder.path / INPUTS / "pack.yaml"))
        utc, procedure = str(resolved["utc"]), str(resolved["program"]["name"])
        datetime.datetime.fromisoformat(utc)
    except (SheetError, KeyError, TypeError, ValueError) as error:
        raise RecordError(f"is damaged ({error})", str(folder.path / INPUTS)) from error
    simulated = bool(resolved.get("simulated"))
    return PastRun(folder.path, utc, pack.name, pack.serial, procedure, None, "", simulated, ())


def _read(path: Path) -> PastRun:
    """Raises RecordError, whatever the two files hold."""
    folder = RunFolder(path)
    content, resolved = folder.read_json(FINDINGS), folder.read_json(f"{INPUTS}/{RESOLVED}")
    try:
        utc = text_in(resolved, "utc")
        datetime.datetime.fromisoformat(utc)
    except ValueError as error:
        raise RecordError(f"is damaged ({error})", str(path / INPUTS / RESOLVED)) from error
    try:
        pack, conformity = content.get("pack"), content.get("conformity")
        if not isinstance(pack, dict):
            raise ValueError("it names no pack")
        return PastRun(
            path,
            utc,
            text_in(pack, "name"),
            text_in(pack, "serial"),
            text_in(content, "procedure"),
            None if conformity is None else text_in(content, "conformity"),
            text_in(content, "ended_early"),
            bool(content.get("simulated")),
            findings_in(content),
        )
    except ValueError as error:
        raise RecordError(f"is damaged ({error})", str(path / FINDINGS)) from error
