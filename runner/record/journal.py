"""The journal: one JSON object a line, appended and on disk before anything else happens.

Rule 1: a line is on disk (fsync) when ``append`` returns. What it announces is done only after that.
Rule 2: every line carries the SHA-256 of the line before it, so a line changed, left out or put in later shows.
Rule 3: a torn last line is what a crash leaves, and is cut off on reading; anything else that is torn is an error.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from runner import events, orders
from runner.errors import RecordError
from runner.record.appending import Appender

FIRST = "0" * 64  # what the first line carries for the line before it
KINDS: dict[str, type[Any]] = {
    name: kind
    for module in (events, orders)
    for name, kind in vars(module).items()
    if isinstance(kind, type) and dataclasses.is_dataclass(kind)
}


@dataclasses.dataclass(frozen=True)
class JournalEntry:
    """One line of the journal: when, and the event or order."""

    t: float
    utc: str
    what: events.Event | orders.Order


class Journal:
    """An open journal. If ``append`` raises, everything up to the line before is on disk, and the run has to end.

    ``go_on`` opens one that is there: a torn last line is cut off, and the chain goes on from the line before.
    """

    def __init__(self, path: Path, *, go_on: bool = False) -> None:
        self.path = path
        self._last, self._number = FIRST, 0
        if go_on:
            whole = whole_lines(path)
            self._number = whole.count(b"\n")
            self._last = hashlib.sha256(whole.splitlines()[-1]).hexdigest() if whole else FIRST
        self._file = Appender(path, go_on=go_on)

    def append(self, t: float, utc: str, what: events.Event | orders.Order) -> None:
        """Write a line and wait until it is on disk. Raises RecordError."""
        kind = "event" if isinstance(what, events.Event) else "order"
        fields = {key: value for key, value in dataclasses.asdict(what).items() if key != "t"}
        content = {
            "n": self._number,
            "t": round(t, 6),
            "utc": utc,
            kind: type(what).__name__,
            **fields,
            "prev": self._last,
        }
        line = json.dumps(content, ensure_ascii=False, separators=(",", ":")).encode()
        self._file.check_place()
        self._file.append(line + b"\n")
        self._file.sync()
        self._last = hashlib.sha256(line).hexdigest()
        self._number += 1

    def close(self) -> None:
        self._file.close()


def whole_lines(path: Path) -> bytes:
    """What a file holds up to its last newline, after cutting off what a crash left behind that. Raises RecordError."""
    try:
        content = path.read_bytes()
        whole = content[: content.rfind(b"\n") + 1]
        if len(whole) < len(content):
            os.truncate(path, len(whole))
    except OSError as error:
        raise RecordError.cannot_write(str(path), error.strerror or str(error)) from error
    return whole


def read_journal(path: Path) -> Iterator[JournalEntry]:
    """The entries in order, chain checked, a torn last line left out. Raises RecordError for anything else."""
    try:
        lines = path.read_bytes().split(b"\n")
    except FileNotFoundError:
        raise RecordError.missing(str(path)) from None
    except OSError as error:
        raise RecordError(
            f"cannot be read: {error.strerror or error}", str(path), "use a backup of the folder"
        ) from error
    last = FIRST
    for number, line in enumerate(lines[:-1], start=1):  # after the last newline: nothing, or a torn line
        try:
            content = json.loads(line)
            entry = _entry(content, KINDS[content.get("event") or content["order"]])
        except (ValueError, KeyError, AttributeError, TypeError, OverflowError, RecursionError) as error:
            raise RecordError.not_json(str(path), number) from error
        if content.get("prev") != last:
            raise RecordError.broken_chain(str(path), number)
        last = hashlib.sha256(line).hexdigest()
        yield entry


def entry_of(line: str) -> JournalEntry:
    """One line of a journal by itself, its chain not checked. Raises ValueError if it is none."""
    try:
        content = json.loads(line)
        return _entry(content, KINDS[content.get("event") or content["order"]])
    except (KeyError, AttributeError, TypeError, OverflowError, RecursionError) as error:
        raise ValueError(f"is not a line of a journal ({error})") from error


def _entry(content: dict[str, Any], kind: type) -> JournalEntry:
    """The event or order as it was; fields of later formats are left out."""
    names = {field.name for field in dataclasses.fields(kind)}
    fields = {k: tuple(v) if isinstance(v, list) else v for k, v in content.items() if k in names}
    return JournalEntry(float(content["t"]), content["utc"], kind(**fields))
