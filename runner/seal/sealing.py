"""A run folder is sealed: sums of its evidence, signed; then sums of the seal and of the certificate, signed.

Two lists, because the certificate carries the first one inside it. ``seal.json`` stands beside the first list and says what it
covers; it has no digest of anything that covers it. A session's list covers the lists of its runs.

Rule 1: nothing here raises: what cannot be sealed is a run that is not sealed, and says why.
Rule 2: nothing that was sealed is overwritten: what is made anew has the old beside it, in editions/ (runner/seal/editions.py).
"""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import runner
from runner.errors import RecordError, TripwitnessError
from runner.record.folder import CERTIFICATE_NUMBER, CERTIFICATES, EVENTS, SESSION, write_whole
from runner.seal.station_key import StationKey, station_key
from runner.seal.sums import listed

EVIDENCE, SUMS, SEAL, SIG = "EVIDENCE.SHA256SUMS", "SHA256SUMS", "seal.json", ".sig"
EDITIONS = "editions"
OF_EVIDENCE = (EVIDENCE, EVIDENCE + SIG, SEAL)
SEALS = (*OF_EVIDENCE, SUMS, SUMS + SIG)
ISSUED = (*CERTIFICATES, CERTIFICATE_NUMBER)  # the number stays what it is when a certificate is issued again
PASSING = ".part"  # how the name of a file, or of a folder, ends that is being written
SEALING = "sealing.part"  # is there while a seal is written: one that was broken off is no seal that was changed


def evidence_in(folder: Path) -> list[str]:
    """The names, relative to the folder, of everything that is evidence: all there is, but for seals, certificates, editions."""
    found = []
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if name.split("/")[0] not in (*SEALS, *ISSUED, EDITIONS) and path.is_file() and not passing(name):
            found.append(name)
    return found


def passing(name: str) -> bool:
    """Whether a file, by its name relative to the folder, is being written, or is in a folder that is."""
    return any(part.endswith(PASSING) for part in name.split("/"))


def seal_evidence(folder: Path, method: str, *, simulated: bool) -> str:
    """Seal what a run has recorded and what was found in it; "" or why it is not sealed. Never raises.

    ``method``: the digest of the measurement that made the findings.
    """
    try:
        key = station_key()
        names = evidence_in(folder)
        evidence = listed(folder, names)
        about = _json(_about(folder, names, method, key, simulated=simulated))
        signature = key.sign(
            evidence.encode("utf-8", "surrogateescape")
        )  # before anything is written: a key may refuse
        with _sealing(folder):
            write_whole(folder / SEAL, about)
            _write(folder, EVIDENCE, evidence, signature)
            return seal_certificate(folder)
    except (TripwitnessError, OSError) as error:
        return str(error)


def seal_certificate(folder: Path) -> str:
    """Sums of the seal and of the certificate, if there is one, and of earlier editions; "" or why not. Never raises.

    Of a folder whose evidence is not sealed nothing is signed: it would say more than is known.
    """
    try:
        if not (folder / EVIDENCE).is_file():
            return "its evidence is not sealed"
        names = [name for name in (EVIDENCE, EVIDENCE + SIG, SEAL, *ISSUED) if (folder / name).is_file()]
        names += [path.relative_to(folder).as_posix() for path in _files(folder / EDITIONS)]
        key = station_key()
        with _sealing(folder):
            _sign(folder, SUMS, listed(folder, names), key)
    except (TripwitnessError, OSError) as error:
        return str(error)
    return ""


def seal_session(folder: Path) -> str:
    """Sums of session.json, the joint certificate and the seals of the runs in it; "" or why not. Never raises."""
    try:
        names = [name for name in (SESSION, *ISSUED) if (folder / name).is_file()]
        names += [f"{run.parent.name}/{name}" for run in sorted(folder.glob(f"*/{EVIDENCE}")) for name in SEALS]
        names += [path.relative_to(folder).as_posix() for path in _files(folder / EDITIONS)]
        key = station_key()
        with _sealing(folder):
            _sign(folder, SUMS, listed(folder, [name for name in names if (folder / name).is_file()]), key)
    except (TripwitnessError, OSError) as error:
        return str(error)
    return ""


def not_whole(folder: Path) -> None:
    """Say of a folder that has a seal that what was issued since is not in it. Never raises."""
    with contextlib.suppress(OSError):
        if any((folder / name).is_file() for name in SEALS):
            (folder / SEALING).touch()


def _files(folder: Path) -> Iterable[Path]:
    found = (path for path in sorted(folder.rglob("*")) if path.is_file())
    return (path for path in found if not passing(path.relative_to(folder).as_posix()))


@contextlib.contextmanager
def _sealing(folder: Path) -> Iterator[None]:
    """A seal is written meanwhile; who is killed in it leaves the mark. Raises what happens in it, and OSError."""
    (folder / SEALING).touch()
    yield
    (folder / SEALING).unlink(missing_ok=True)


def _sign(folder: Path, name: str, content: str, key: StationKey) -> None:
    _write(folder, name, content, key.sign(content.encode("utf-8", "surrogateescape")))


def _write(folder: Path, name: str, content: str, signature: str) -> None:
    write_whole(folder / name, content.encode("utf-8", "surrogateescape"))  # a name of a file may be any bytes
    write_whole(folder / f"{name}{SIG}", signature.encode())


def _about(folder: Path, names: list[str], method: str, key: StationKey, *, simulated: bool) -> Mapping[str, Any]:
    try:
        lines = (folder / EVENTS).read_bytes().split(b"\n")[:-1]
    except OSError as error:
        raise RecordError.missing(str(folder / EVENTS)) from error
    return {
        "schema": 1,
        "run": folder.name,
        "utc": datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
        "station": key.station,
        "fingerprint": key.signer.fingerprint,
        "version": runner.__version__,
        "method": method,
        "simulated": simulated,
        "journal_lines": len(lines),
        "journal_head": hashlib.sha256(lines[-1]).hexdigest() if lines else "",
        "sizes": {name: (folder / name).stat().st_size for name in names},
    }


def _json(content: Mapping[str, Any]) -> bytes:
    return (json.dumps(content, indent=1) + "\n").encode()
