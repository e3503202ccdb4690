"""A folder held against one of its lists of sums, and the list against its signature."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from runner.record.folder import CERTIFICATES, EVENTS
from runner.seal.committed import has_sum
from runner.seal.editions import ABOUT, GUARDS_RECORD, WITHOUT_SEAL, editions_of
from runner.seal.sealing import EDITIONS, EVIDENCE, SEAL, SEALS, SIG
from runner.seal.sshsig import Signer, checked
from runner.seal.sums import sum_of, sums_in
from runner.seal.verified import Verified

Known = Mapping[Signer, str] | None  # whose keys are known; None: whose a key is is not asked


def against_a_list(
    folder: Path, name: str, found: Verified, known: Known, elsewhere: Callable[[str, str], bool] = lambda *_: False
) -> Mapping[str, str]:
    """Hold a folder against a list; the list. ``elsewhere`` knows of files that have gone on since, and says so itself."""
    if not found.sealed:
        return {}
    listed = signed_list(folder, name, found, known)
    for file, digest in listed.items():
        path = folder / file
        try:
            if sum_of(path) == digest or elsewhere(file, digest):
                continue
        except FileNotFoundError:
            found.missing(file, name)
            continue
        except (OSError, ValueError) as error:
            found.differences.append(
                f"{file}: cannot be read ({getattr(error, 'strerror', None) or 'no name of a file'})"
            )
            continue
        if name == EVIDENCE and _has_grown(folder, file, digest):
            found.unknown.append(f"{file}: has grown since it was sealed; what was sealed of it is whole")
        else:
            found.differences.append(f"{file}: {_where(file)}{kept_in(folder, file, digest)}")
    return listed


def signed_list(folder: Path, name: str, found: Verified, known: Known, said: str = "") -> Mapping[str, str]:
    """The sums of a list, after its signature was looked at."""
    where = f"{said}{name}"
    try:
        content = (folder / name).read_bytes()
    except FileNotFoundError:
        found.missing(where)
        content = None
    except OSError as error:
        found.differences.append(f"{where}: cannot be read ({error.strerror})")
        content = None
    try:
        signature = (folder / f"{name}{SIG}").read_text(encoding="utf-8")
        if content is not None:
            _signer(content, signature, where, found, known)
    except FileNotFoundError:
        found.missing(f"{where}{SIG}")
    except (OSError, UnicodeDecodeError):
        found.differences.append(f"{where}{SIG}: cannot be read")
    try:
        return {} if content is None else sums_in(content.decode("utf-8", "surrogateescape"))
    except ValueError as error:
        found.differences.append(f"{where}: {error}")
        return {}


def _signer(content: bytes, signature: str, where: str, found: Verified, known: Known) -> None:
    try:
        signer = checked(content, signature)
    except ValueError as error:
        found.differences.append(f"{where}{SIG}: {error}")
        return
    if known is None:
        return
    if signer in known:
        found.said.append(f"{where}: signed by {known[signer]}, {signer.fingerprint}")
    else:
        found.unknown.append(f"{where}: signed with a key that is not known here, {signer.fingerprint}")


def list_at(path: Path) -> Mapping[str, str]:
    """The sums of a list, or none where it cannot be read: that is said where it is looked at."""
    try:
        return sums_in(path.read_bytes().decode("utf-8", "surrogateescape"))
    except (OSError, ValueError):
        return {}


def object_at(path: Path) -> dict[str, Any]:
    """The object that a JSON file holds; empty where it cannot be read or holds none."""
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return content if isinstance(content, dict) else {}


def never_sealed(edition: Path) -> bool:
    """Whether an edition has certificates only: the folder's seal covers it, or nothing does."""
    return object_at(edition / ABOUT).get(WITHOUT_SEAL) is True and not any(
        (edition / name).is_file() for name in SEALS
    )


def kept_in(folder: Path, file: str, digest: str) -> str:
    """Where a certificate is that was sealed, and issued again since without a seal: words that follow what differs.

    Where nothing else has changed, the run is whole again once it has been copied back.
    """
    kept = (edition for edition in editions_of(folder) if file in CERTIFICATES and has_sum(edition / file, digest))
    return next((f"; the sealed one is in {EDITIONS}/{edition.name}" for edition in kept), "")


def _has_grown(folder: Path, file: str, digest: str) -> bool:
    sizes = object_at(folder / SEAL).get("sizes", {})
    return file == GUARDS_RECORD and isinstance(sizes, dict) and has_sum(folder / file, digest, sizes.get(file))


def _where(file: str) -> str:
    """What can be said of where a file differs: its own check says more where it has one."""
    if file == EVENTS:
        return "is not what was sealed (its chain says up to which line it is whole)"
    return "is not what was sealed"
