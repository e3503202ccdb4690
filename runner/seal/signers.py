"""Whose keys are known: a file of allowed signers, as ``ssh-keygen -Y verify`` reads it (ssh-keygen(1), ALLOWED SIGNERS).

A line is "names [options] key": one name or several with commas, ``namespaces="file"`` among the options or none, and an Ed25519
key. Empty lines and those that begin with # are left out.
"""

from __future__ import annotations

import contextlib
import os
import re
from dataclasses import dataclass
from pathlib import Path

from runner.errors import Problem, SheetError
from runner.seal.sshsig import KIND, NAMESPACE, Signer, signer_in
from runner.seal.station_key import OWN, KeyUnusable, folder, named_signer, station

KNOWN = "known_stations"
FORM = f'write it as: NAME namespaces="file" {KIND} AAAA… (tripwitness key --export prints such a line)'
FIELD = re.compile(r'(?:[^\s"]|"[^"]*")+')  # a field may have spaces between quotes
LARGEST = 1_000_000  # bytes of such a file


@dataclass(frozen=True)
class AllowedSigner:
    """One line: the station's name and its key."""

    station: str
    signer: Signer
    line: str


def signers_in(path: Path) -> list[AllowedSigner]:
    """The signers in a file. Raises SheetError with every line that is none, or if there is none at all."""
    name = str(path)
    found, problems = [], []
    for number, line in enumerate(_lines(path, name), start=1):
        fields = FIELD.findall(line)
        if not fields or fields[0].startswith("#"):
            continue
        at = next((n for n, field in enumerate(fields) if n and re.match(r"(ssh|ecdsa|sk)-", field)), len(fields))
        spaces = [field.partition("=")[2].strip('"') for field in fields[1:at] if field.startswith("namespaces=")]
        try:
            signer = signer_in(" ".join(fields[at:]))
        except ValueError as error:
            what = f"the key {error}" if at < len(fields) else "there is no key in this line"
            column = line.find(fields[at]) + 1 if at < len(fields) else 1
            problems.append(Problem(name, number, column, what, FORM))
            continue
        if spaces and NAMESPACE not in spaces[0].split(","):
            problems.append(Problem(name, number, 1, f"the key is for {spaces[0]} and not for files", FORM))
            continue
        found.append(AllowedSigner(fields[0].strip('"'), signer, line.strip()))
    if not found and not problems:
        problems.append(Problem(name, 0, 0, "holds no key", FORM))
    if problems:
        raise SheetError(problems)
    return found


def _lines(path: Path, name: str) -> list[str]:
    try:
        if path.exists() and not path.is_file():
            raise SheetError.unreadable(name, "it is no file")
        if path.stat().st_size > LARGEST:
            raise SheetError.unreadable(name, f"it has more than {LARGEST // 1_000_000} MB")
        content = path.read_bytes()
    except OSError as error:
        raise SheetError.unreadable(name, os.strerror(error.errno) if error.errno else "it cannot be opened") from error
    try:
        return content.decode().splitlines()
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise SheetError([Problem(name, line, 1, "is not text (UTF-8)", "give a file of allowed signers")]) from None


def trust(path: Path) -> list[str]:
    """Know the stations in a file of allowed signers from now on; "name, fingerprint" of each. Raises SheetError or KeyUnusable.

    If this raises, nothing is known that was not before.
    """
    told = signers_in(path)
    kept = folder() / KNOWN
    before = {each.signer for each in signers_in(kept)} if kept.is_file() and kept.stat().st_size else set()
    new = "".join(f"{each.line}\n" for each in told if each.signer not in before)
    try:
        kept.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with kept.open("a", encoding="utf-8") as file:
            file.write(new)
    except OSError as error:
        raise KeyUnusable(f"cannot be written: {error.strerror or error}", str(kept)) from error
    return [f"{each.station}  {each.signer.fingerprint}" for each in told]


def known_if_any() -> dict[Signer, str] | None:
    """The same for who only looks: None where the file of what it was told cannot be read."""
    try:
        return known()
    except SheetError:
        return None


def known(more: Path | None = None) -> dict[Signer, str]:
    """Whose keys are known: this station's, now and before, those it was told, and those in another such file.

    Raises SheetError with the lines of these files that are no keys.
    """
    found: dict[Signer, str] = {}
    for path in sorted(folder().glob(f"{OWN}*.pub")):
        with contextlib.suppress(OSError, ValueError):
            words = path.read_text(encoding="utf-8").split()
            found[signer_in(" ".join(words[:2]))] = words[2] if len(words) > 2 else station()
    if (named := named_signer()) is not None:
        found[named] = station()
    kept = folder() / KNOWN
    files = [kept] if kept.is_file() and kept.stat().st_size else []
    for path in (*files, *([] if more is None else [more])):
        found |= {each.signer: each.station for each in signers_in(path)}
    return found
