"""Has anything changed since a folder was sealed? Everything that differs is named by file, by line or row where that can be.

Status 0: whole. 1: something differs. 3: what cannot be known: no seal, or a key nobody here knows. A run without a seal is
protected against accident by its journal's chain, not against somebody who works the chain out again.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

from runner.errors import RecordError
from runner.record.folder import CERTIFICATES, EVENTS, SESSION
from runner.seal.committed import against_the_journal, has_sum
from runner.seal.editions import ABOUT, GROWS, GUARDS_RECORD, editions_of
from runner.seal.listed import Known, against_a_list, kept_in, list_at, never_sealed, object_at, signed_list
from runner.seal.sealing import (
    EDITIONS,
    EVIDENCE,
    ISSUED,
    OF_EVIDENCE,
    SEAL,
    SEALING,
    SEALS,
    SIG,
    SUMS,
    evidence_in,
    passing,
)
from runner.seal.verified import Verified

NAMED = 3  # run folders that an error names


def verify(folder: Path, known: Known) -> Verified:
    """A run folder, a session, or the folder of a certificate of several runs.

    Raises RecordError if it is none of them; of a folder that holds run folders, with their names.
    """
    try:
        is_a_run = (folder / EVENTS).exists() or (folder / EVIDENCE).exists()
        is_a_session = (folder / SESSION).is_file() or ((folder / SUMS).is_file() and not is_a_run)
    except OSError as error:
        raise RecordError(f"cannot be read: {error.strerror or error}", str(folder)) from error
    if not is_a_session and not is_a_run:
        raise _no_run(folder)
    found = Verified(folder.name)
    try:
        found.differences += _no_files(folder)
        if found.differences:  # a device or a pipe would be waited for for ever
            return found
        (_session if is_a_session else _run)(folder, found, known)
    except OSError as error:  # no permission, a disk that fails: what was found until then stays
        where = Path(error.filename or folder)
        name = where.relative_to(folder).as_posix() if where.is_relative_to(folder) else str(where)
        found.differences.append(f"{name}: cannot be read ({error.strerror or error})")
    return found


def _run(folder: Path, found: Verified, known: Known) -> None:
    broken_off = _broken_off(folder, found)
    there = [(folder / name).is_file() for name in (SEALS if not broken_off else OF_EVIDENCE)]
    found.sealed = all(there) if broken_off else any(there)
    _journal(folder, found)
    if not found.sealed and all(never_sealed(edition) for edition in editions_of(folder)):
        found.unknown.append("there is no seal: the record is protected against accident only")
        return
    if not found.sealed:
        found.unknown.append("what was added after the last edition is not sealed yet")
    else:
        against_a_list(folder, EVIDENCE, found, known)
        if not broken_off:
            against_a_list(folder, SUMS, found, known)
        _strangers(folder, found)
        _about(folder, found)
        _named(folder, found)
    for edition in editions_of(folder):
        _edition(folder, edition, found, known)


def _broken_off(folder: Path, found: Verified) -> bool:
    """Whether a seal was being written when the program was killed."""
    if (folder / SEALING).is_file():
        found.unknown.append("the seal is not complete: make the certificate again, or resume")
        return True
    return False


def _no_run(folder: Path) -> RecordError:
    inside = sorted({path.parent.name for name in (EVENTS, SESSION) for path in folder.glob(f"*/{name}")})
    if not inside:
        return RecordError.missing(str(folder / EVENTS))
    more = f" and {len(inside) - NAMED} more" if len(inside) > NAMED else ""
    return RecordError.holds_runs(str(folder), f"{', '.join(inside[:NAMED])}{more}")


def _no_files(folder: Path) -> list[str]:
    """What stands in a folder and is neither a file nor a folder of its own: evidence is in it, not elsewhere."""
    found = []
    for path in sorted(folder.rglob("*")):
        if path.is_symlink() or not (path.is_file() or path.is_dir()):
            found.append(f"{path.relative_to(folder).as_posix()}: is a link or no file, not the evidence itself")
    return found


def evidence_against_its_sums(folder: Path, found: Verified, known: Known, said: str) -> None:
    """What travels by itself, as in a PDF: journal, sums, and nothing more than they list."""
    own = Verified(folder.name)
    _journal(folder, own)
    against_a_list(folder, EVIDENCE, own, known)
    _strangers(folder, own)
    _about(folder, own)
    found.take(own, said)
    found.said += [f"{said}{each}" for each in own.said]


# ---- a session -------------------------------------------------------------------------------------------------


def _session(folder: Path, found: Verified, known: Known) -> None:
    broken_off = _broken_off(folder, found)
    found.sealed = not broken_off and any((folder / name).is_file() for name in (SUMS, SUMS + SIG))
    listed = against_a_list(folder, SUMS, found, known, lambda name, digest: _of_a_run(folder, name, digest, found))
    if not found.sealed and not broken_off:
        found.unknown.append("the session has no seal")
    there = {path.parent.name for name in (EVENTS, EVIDENCE) for path in folder.glob(f"*/{name}")}
    runs = _runs(folder, found, there)
    for run in runs:
        if run not in there:
            found.missing(run)
            continue
        each = verify(folder / run, known)
        found.take(each, f"{run}/")
    if found.sealed and listed:
        own = (path for path in sorted(folder.rglob("*")) if path.is_file())
        names = (name for path in own if not passing(name := path.relative_to(folder).as_posix()))
        late = [name for name in names if name.split("/")[0] not in there and name not in (*listed, SUMS, SUMS + SIG)]
        late = _to_name(folder, late, listed, found)
        found.differences += [f"{name}: was added, it is not in {SUMS}" for name in late]
    for edition in editions_of(folder):
        _session_edition(folder, edition, found, known)
    found.said.append(f"{len(runs)} runs looked at")


def _runs(folder: Path, found: Verified, there: set[str]) -> list[str]:
    """The names of the runs of a session, in its order. A certificate of several runs has none beside it."""
    if not (folder / SESSION).exists():
        return sorted(there)
    try:
        content = json.loads((folder / SESSION).read_text(encoding="utf-8"))
        runs = [str(entry["run"]) for entry in content["entries"] if entry.get("run")]
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        found.differences.append(f"{SESSION}: cannot be read")
        return sorted(there)
    found.differences += [f"{run}: was added, it is not in {SESSION}" for run in sorted(there - {*runs})]
    return runs


def _of_a_run(folder: Path, name: str, digest: str, found: Verified) -> bool:
    """Whether a run's seal that a session covers is one of the run's earlier ones: the run was sealed again since."""
    run, _, seal = name.partition("/")
    if not any(has_sum(edition / seal, digest) for edition in editions_of(folder / run)):
        return False
    what = f"{run}: was sealed again after the session was"
    found.unknown += [] if what in found.unknown else [what]
    return True


def _session_edition(folder: Path, edition: Path, found: Verified, known: Known) -> None:
    name = f"{EDITIONS}/{edition.name}/"
    if never_sealed(edition):
        return
    if not object_at(edition / ABOUT):
        found.differences.append(f"{name}{ABOUT}: is missing or cannot be read")
    for file, digest in signed_list(edition, SUMS, found, known, name).items():
        kept = edition / file if (edition / file).is_file() else folder / file
        in_a_run = any(
            has_sum(each / file.partition("/")[2], digest) for each in editions_of(folder / file.split("/")[0])
        )
        elsewhere = in_a_run or bool(kept_in(folder, file, digest))
        if not file.startswith(f"{EDITIONS}/") and not has_sum(kept, digest) and not elsewhere:
            found.differences.append(f"{name}{file}: is not what this edition sealed")


def _strangers(folder: Path, found: Verified) -> None:
    """Files that nobody sealed."""
    listed = list_at(folder / EVIDENCE)
    if listed:
        added = [name for name in evidence_in(folder) if name not in listed]
        if GUARDS_RECORD in added:  # a guard goes on after a run that could not confirm everything off
            found.unknown.append(f"{GUARDS_RECORD}: was written after the run was sealed")
        found.differences += [f"{name}: was added, it is not in {EVIDENCE}" for name in added if name != GUARDS_RECORD]
    covered = list_at(folder / SUMS)
    if covered and not (folder / SEALING).is_file():
        kept = (path for path in sorted((folder / EDITIONS).rglob("*")) if path.is_file())
        late = [name for path in kept if not passing(name := path.relative_to(folder).as_posix())]
        late += [name for name in ISSUED if (folder / name).is_file()]
        late = [name for name in late if name not in covered]
        late = _to_name(folder, late, covered, found)
        found.differences += [f"{name}: was added, it is not in {SUMS}" for name in late]


def _about(folder: Path, found: Verified) -> None:
    """What seal.json says beside what is there."""
    about = object_at(folder / SEAL)
    try:
        lines = (folder / EVENTS).read_bytes().split(b"\n")[:-1]
        count = int(about["journal_lines"])
        head = hashlib.sha256(lines[count - 1]).hexdigest() if 0 < count <= len(lines) else ""
    except (OSError, KeyError, TypeError, ValueError, OverflowError):
        if (folder / SEAL).exists():
            found.differences.append(f"{SEAL}: cannot be read")
        else:
            found.missing(SEAL)
        return
    if head != about.get("journal_head"):
        found.differences.append(f"{EVENTS}: its last sealed line, {count}, is another one")


def _named(folder: Path, found: Verified) -> None:
    """The name of the folder is no evidence, but a run is looked for by it."""
    name = object_at(folder / SEAL).get("run")
    if isinstance(name, str) and name != folder.resolve().name:
        found.unknown.append(f"the folder was called {name} when it was sealed: it was renamed or copied")


# ---- an edition ------------------------------------------------------------------------------------------------


def _edition(folder: Path, edition: Path, found: Verified, known: Known) -> None:
    name = f"{EDITIONS}/{edition.name}/"
    if never_sealed(edition):
        return
    if not object_at(edition / ABOUT):
        found.differences.append(f"{name}{ABOUT}: is missing or cannot be read")
    signed_list(edition, SUMS, found, known, name)
    sizes = object_at(edition / SEAL).get("sizes", {})
    for file, digest in signed_list(edition, EVIDENCE, found, known, name).items():
        kept = edition / file if (edition / file).is_file() else folder / file
        size = sizes.get(file) if isinstance(sizes, dict) and file in GROWS else None
        if not has_sum(kept, digest, size):
            found.differences.append(f"{name}{file}: is not what this edition sealed")


def _to_name(folder: Path, late: list[str], covered: Mapping[str, str], found: Verified) -> list[str]:
    """Which of the files that a seal does not cover are differences: all but certificates that were kept without a seal.

    Those that are what was sealed make no difference; of others it is not known, if it is known that the evidence has changed.
    """
    changed = bool(found.differences)
    named = []
    for place in dict.fromkeys(name.rpartition("/")[0] for name in late):
        here = [name for name in late if name.rpartition("/")[0] == place]
        kept = {name.rpartition("/")[2] for name in here} - {ABOUT}
        if not place.startswith(f"{EDITIONS}/") or not never_sealed(folder / place) or not kept <= {*CERTIFICATES}:
            named += here
        elif kept and all(has_sum(folder / place / file, covered.get(file, "")) for file in kept):
            continue
        elif changed:
            found.unknown.append(f"{place}: was issued after the change, it is not sealed")
        else:
            named += here
    return named


def _journal(folder: Path, found: Verified) -> None:
    lines, differences = against_the_journal(folder)
    found.differences += differences
    if (folder / EVENTS).is_file():
        found.said.append(f"{EVENTS}: whole up to line {lines}")
