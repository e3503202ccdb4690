"""What was sealed before stays: an edition is the seal of before and what it covered that has since been made anew.

``editions/0001`` is the first state that was sealed, ``0002`` the next; the newest state is the folder itself. Files that only
grow (the journal, the samples) are not copied: their first bytes, as many as the old seal.json says, are what it covered.
A certificate that is issued again while nothing may be sealed (the evidence has changed, or there is no seal) has an edition of
its own without a seal: the folder's seal stays where it is.
"""

from __future__ import annotations

import datetime
import getpass
import json
import shutil
from collections.abc import Mapping, Sequence
from pathlib import Path

from runner.errors import RecordError
from runner.record.folder import CERTIFICATES, EVENTS, FINDINGS, SAMPLES, SESSION, write_whole
from runner.seal.sealing import EDITIONS, EVIDENCE, OF_EVIDENCE, PASSING, SEALING, SEALS, SIG, SUMS

ABOUT = "edition.json"
GUARDS_RECORD = "guard.jsonl"
GROWS = (EVENTS, SAMPLES, GUARDS_RECORD)
WITHOUT_SEAL = "without_seal"  # key of edition.json: only certificates are in it
MADE_ANEW = (FINDINGS, "truth.json", SESSION, *CERTIFICATES)


def editions_of(folder: Path) -> list[Path]:
    """The earlier editions, the oldest first."""
    place = folder / EDITIONS
    return sorted(path for path in place.glob("[0-9]" * 4) if path.is_dir()) if place.is_dir() else []


def keep_edition(folder: Path, what: Sequence[str], why: str) -> Path | None:
    """Put the seal there is, and what will be made anew, into an edition of its own; None if nothing is sealed.

    A seal that was being written when the program was killed covers nothing that was issued: what is not whole of it goes.

    ``what`` has changed since, ``why`` it was made anew. Raises RecordError; then the folder is as it was, or has a copy more.
    """
    if without_broken_off(folder) or not any((folder / name).is_file() for name in SEALS):
        return None
    return _made(folder, (*SEALS, *MADE_ANEW), {"why": why, "changed": list(what)}, (*SEALS, *CERTIFICATES))


def keep_certificates(folder: Path, changed: Sequence[str], why: str) -> Path | None:
    """Put the certificates there are into an edition without a seal, and leave the folder's seal; None if there are none.

    ``changed``: what of the evidence is not what it was. Raises RecordError; then the folder is as it was, or has a copy more.
    """
    if not any((folder / name).is_file() for name in CERTIFICATES):
        return None
    return _made(folder, CERTIFICATES, {"why": why, "changed": list(changed), WITHOUT_SEAL: True}, CERTIFICATES)


def _made(folder: Path, kept: Sequence[str], about: Mapping[str, object], gone: Sequence[str]) -> Path:
    """An edition with copies of the files ``kept``; those that are ``gone`` are removed from the folder afterwards.

    It has its name once it is whole: what a full disk or a kill leaves of one is passed over, and cleared away by the next.
    """
    number = 1 + max((int(path.name) for path in editions_of(folder)), default=0)
    made = folder / EDITIONS / f"{number:04}"
    when = {"superseded": datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"), "by": _user()}
    content = json.dumps({"schema": 1, **when, **about}, indent=1, ensure_ascii=False)
    part = made.with_name(made.name + PASSING)
    try:
        for broken_off in made.parent.glob(f"*{PASSING}"):
            shutil.rmtree(broken_off)
        part.mkdir(parents=True)
        for name in kept:
            if (folder / name).is_file():
                shutil.copy2(folder / name, part / name)
        write_whole(part / ABOUT, (content + "\n").encode())
        part.rename(made)
        for name in gone:
            (folder / name).unlink(missing_ok=True)
    except OSError as error:
        shutil.rmtree(part, ignore_errors=True)
        raise RecordError.cannot_write(str(made), error.strerror or str(error)) from error
    return made


def without_broken_off(folder: Path) -> bool:
    """Remove what is not whole of a seal that was being written when the program was killed; whether there was one."""
    if not (folder / SEALING).is_file():
        return False
    whole = all((folder / name).is_file() for name in OF_EVIDENCE)
    for name in (SUMS, SUMS + SIG, *(() if whole else OF_EVIDENCE), SEALING):
        (folder / name).unlink(missing_ok=True)
    return True


def is_sealed(folder: Path) -> bool:
    """Whether a run's evidence, or a session, has a seal now."""
    return (folder / EVIDENCE).is_file() or ((folder / SESSION).is_file() and (folder / SUMS).is_file())


def _user() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "unknown"
