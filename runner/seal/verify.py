"""Has anything changed since a folder was sealed? Everything that differs is named by file, by line or row where that can be.

Status 0: whole. 1: something differs. 3: what cannot be known: no seal, or a key nobody here knows. A run without a seal is
protected against accident by its journal's chain, not against somebody who works the chain out again.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from runner.errors import RecordError
from runner.record.folder import EVENTS, SESSION
from runner.seal.committed import against_the_journal, has_sum
from runner.seal.editions import ABOUT, GROWS, GUARDS_RECORD, editions_of
from runner.seal.sealing import EDITIONS, EVIDENCE, ISSUED, SEAL, SIG, SUMS, evidence_in
from runner.seal.sshsig import Signer, checked
from runner.seal.sums import sum_of, sums_in
from runner.vocabulary import Exit


@dataclass
class Verified:
    """What was found: ``differences``, what is ``unknown``, and what is well (``signed``, how far the record is ``whole``)."""

    what: str
    differences: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)

    @property
    def status(self) -> Exit:
        if self.differences:
            return Exit.FAIL
        return Exit.NOT_ALL_JUDGED if self.unknown else Exit.PASS

    def lines(self) -> list[str]:
        """For people, the verdict first."""
        verdict = {Exit.FAIL: "CHANGED since it was sealed", Exit.PASS: "whole"}.get(self.status, "cannot be known")
        marked = [f"  changed: {each}" for each in self.differences]
        marked += [f"  unknown: {each}" for each in self.unknown]
        return [f"{self.what}: {verdict}", *marked, *(f"  {each}" for each in self.said)]


def verify(folder: Path, known: Mapping[Signer, str]) -> Verified:
    """A run folder or a session. Raises RecordError if it is neither."""
    if (folder / SESSION).is_file():
        return _session(folder, known)
    if not (folder / EVENTS).is_file() and not (folder / EVIDENCE).is_file():
        raise RecordError.missing(str(folder / EVENTS))
    found = Verified(folder.name)
    found.differences += _no_files(folder)
    if found.differences:  # a device or a pipe would be waited for for ever
        return found
    sealed = (folder / EVIDENCE).is_file() or (folder / SUMS).is_file()
    _journal(folder, found)
    if not sealed and not editions_of(folder):
        found.unknown.append("there is no seal: the record is protected against accident only")
        return found
    if not sealed:
        found.unknown.append("what was added after the last edition is not sealed yet")
    else:
        _list(folder, EVIDENCE, found, known)
        _list(folder, SUMS, found, known)
        _strangers(folder, found)
        _about(folder, found)
    for edition in editions_of(folder):
        _edition(folder, edition, found, known)
    return found


def _no_files(folder: Path) -> list[str]:
    """What stands in a folder and is neither a file nor a folder of its own: evidence is in it, not elsewhere."""
    found = []
    for path in sorted(folder.rglob("*")):
        if path.is_symlink() or not (path.is_file() or path.is_dir()):
            found.append(f"{path.relative_to(folder).as_posix()}: is a link or no file, not the evidence itself")
    return found


def evidence_against_its_sums(folder: Path, found: Verified, known: Mapping[Signer, str], said: str) -> None:
    """What travels by itself, as in a PDF: journal, sums, and nothing more than they list."""
    own = Verified(folder.name)
    _journal(folder, own)
    _list(folder, EVIDENCE, own, known)
    _strangers(folder, own)
    _about(folder, own)
    found.differences += [f"{said}{each}" for each in own.differences]
    found.unknown += [f"{said}{each}" for each in own.unknown]
    found.said += [f"{said}{each}" for each in own.said]


def _session(folder: Path, known: Mapping[Signer, str]) -> Verified:
    found = Verified(folder.name)
    if (folder / SUMS).is_file():
        _list(folder, SUMS, found, known)
    else:
        found.unknown.append("the session has no seal")
    try:
        content = json.loads((folder / SESSION).read_text(encoding="utf-8"))
        runs = [str(entry["run"]) for entry in content["entries"] if entry.get("run")]
    except (OSError, ValueError, KeyError, TypeError):
        found.differences.append(f"{SESSION}: cannot be read")
        runs = [path.parent.name for path in sorted(folder.glob(f"*/{EVENTS}"))]
    for run in runs:
        if not (folder / run / EVENTS).is_file():
            found.differences.append(f"{run}: is missing")
            continue
        each = verify(folder / run, known)
        found.differences += [f"{run}/{what}" for what in each.differences]
        found.unknown += [f"{run}: {what}" for what in each.unknown]
    found.said.append(f"{len(runs)} runs looked at")
    return found


# ---- a list of sums and its signature --------------------------------------------------------------------------


def _list(folder: Path, name: str, found: Verified, known: Mapping[Signer, str]) -> None:
    listed = _signed(folder, name, found, known)
    for file, digest in listed.items():
        path = folder / file
        try:
            if sum_of(path) == digest:
                continue
        except FileNotFoundError:
            found.differences.append(f"{file}: is missing (listed in {name})")
            continue
        except OSError as error:
            found.differences.append(f"{file}: cannot be read ({error.strerror})")
            continue
        if name == EVIDENCE and _has_grown(folder, file, digest):
            found.unknown.append(f"{file}: has grown since it was sealed; what was sealed of it is whole")
        else:
            found.differences.append(f"{file}: {_where(folder, file)}")


def _signed(folder: Path, name: str, found: Verified, known: Mapping[Signer, str], said: str = "") -> Mapping[str, str]:
    """The sums of a list, after its signature was looked at."""
    where = f"{said}{name}"
    try:
        content = (folder / name).read_bytes()
        signature = (folder / f"{name}{SIG}").read_text(encoding="utf-8")
    except FileNotFoundError as error:
        found.differences.append(f"{said}{Path(str(error.filename)).name}: is missing")
        return {}
    except (OSError, UnicodeDecodeError):
        found.differences.append(f"{where}{SIG}: cannot be read")
        return {}
    try:
        signer = checked(content, signature)
        if signer in known:
            found.said.append(f"{where}: signed by {known[signer]}, {signer.fingerprint}")
        else:
            found.unknown.append(f"{where}: signed with a key that is not known here, {signer.fingerprint}")
    except ValueError as error:
        found.differences.append(f"{where}{SIG}: {error}")
    try:
        return sums_in(content.decode())
    except (ValueError, UnicodeDecodeError) as error:
        found.differences.append(f"{where}: {error}")
        return {}


def _strangers(folder: Path, found: Verified) -> None:
    """Files that nobody sealed."""
    try:
        listed = sums_in((folder / EVIDENCE).read_text(encoding="utf-8"))
        added = [name for name in evidence_in(folder) if name not in listed]
        if GUARDS_RECORD in added:  # a guard goes on after a run that could not confirm everything off
            found.unknown.append(f"{GUARDS_RECORD}: was written after the run was sealed")
        found.differences += [f"{name}: was added, it is not in {EVIDENCE}" for name in added if name != GUARDS_RECORD]
        covered = sums_in((folder / SUMS).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return
    late = [path.relative_to(folder).as_posix() for path in sorted((folder / EDITIONS).rglob("*")) if path.is_file()]
    late += [name for name in ISSUED if (folder / name).is_file()]
    found.differences += [f"{name}: was added, it is not in {SUMS}" for name in late if name not in covered]


def _about(folder: Path, found: Verified) -> None:
    """What seal.json says beside what is there."""
    about = _read(folder / SEAL)
    try:
        lines = (folder / EVENTS).read_bytes().split(b"\n")[:-1]
        count = int(about["journal_lines"])
        head = hashlib.sha256(lines[count - 1]).hexdigest() if 0 < count <= len(lines) else ""
    except (OSError, KeyError, TypeError, ValueError):
        found.differences.append(f"{SEAL}: cannot be read")
        return
    if head != about.get("journal_head"):
        found.differences.append(f"{EVENTS}: its last sealed line, {count}, is another one")


def _read(path: Path) -> dict[str, Any]:
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return content if isinstance(content, dict) else {}


# ---- an edition ------------------------------------------------------------------------------------------------


def _edition(folder: Path, edition: Path, found: Verified, known: Mapping[Signer, str]) -> None:
    name = f"{EDITIONS}/{edition.name}/"
    if not _read(edition / ABOUT):
        found.differences.append(f"{name}{ABOUT}: is missing or cannot be read")
    _signed(edition, SUMS, found, known, name)
    sizes = _read(edition / SEAL).get("sizes", {})
    for file, digest in _signed(edition, EVIDENCE, found, known, name).items():
        kept = edition / file if (edition / file).is_file() else folder / file
        size = sizes.get(file) if isinstance(sizes, dict) and file in GROWS else None
        if not has_sum(kept, digest, size):
            found.differences.append(f"{name}{file}: is not what this edition sealed")


def _has_grown(folder: Path, file: str, digest: str) -> bool:
    sizes = _read(folder / SEAL).get("sizes", {})
    return file == GUARDS_RECORD and isinstance(sizes, dict) and has_sum(folder / file, digest, sizes.get(file))


def _journal(folder: Path, found: Verified) -> None:
    lines, differences = against_the_journal(folder)
    found.differences += differences
    if (folder / EVENTS).is_file():
        found.said.append(f"{EVENTS}: whole up to line {lines}")


def _where(folder: Path, file: str) -> str:
    """What can be said of where a file differs: its own check says more where it has one."""
    if file == EVENTS:
        return "is not what was sealed (its chain says up to which line it is whole)"
    return "is not what was sealed"
