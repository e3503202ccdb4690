"""Names and layout of a run folder. The layout is a format that other programs rely on."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from runner.errors import RecordError
from runner.record.attachments import keep

EVENTS = "events.jsonl"
SESSION = "session.json"
SAMPLES = "samples.csv"
FINDINGS = "findings.json"
TRUTH = "truth.json"
CERTIFICATE_HTML = "certificate.html"
CERTIFICATE_PDF = "certificate.pdf"
SUMMARY, LABEL = "summary", "label"  # with .html and .pdf
CERTIFICATES = (  # what is made of a run and may be made again; every other file in its folder is evidence
    CERTIFICATE_HTML,
    CERTIFICATE_PDF,
    *(f"{name}.{kind}" for name in (SUMMARY, LABEL) for kind in ("html", "pdf")),
)
CERTIFICATE_NUMBER = "certificate-number.json"
INPUTS = "inputs"
ATTACHMENTS = "attachments"
RESOLVED = "resolved.json"
BACKUP = "take the folder from a backup"
LONGEST = 60  # characters of a serial number or a procedure in the name of a folder


class RunFolder:
    """A run folder that exists. ``path.name`` is the run's number, unique within its parent."""

    def __init__(self, path: Path) -> None:
        self.path = path

    @classmethod
    def create(cls, parent: Path, stamp: str, serial: str, procedure: str) -> RunFolder:
        """A new, empty folder named after time, pack and procedure. Raises RecordError; then nothing was made."""
        name = re.sub(r"[^A-Za-z0-9._-]+", "-", f"{stamp}-{serial[:LONGEST]}-{procedure[:LONGEST]}")
        for number in range(1, 1000):
            path = parent / (name if number == 1 else f"{name}-{number}")
            try:
                path.mkdir(parents=True)
                (path / INPUTS).mkdir()
            except FileExistsError:
                continue
            except OSError as error:
                raise RecordError.cannot_make(str(path), error.strerror or str(error)) from error
            return cls(path)
        raise RecordError.cannot_make(str(parent / name), "a thousand runs of that name exist")

    @classmethod
    def existing(cls, path: Path) -> RunFolder:
        """A folder that holds a run. Raises RecordError if it does not."""
        if path.is_file():
            raise RecordError.is_a_file(str(path))
        if (path / SESSION).is_file():
            raise RecordError.is_a_session(str(path))
        if not path.exists():
            raise RecordError.no_folder(str(path))
        if not (path / EVENTS).is_file() and next(path.glob(f"*/{EVENTS}"), None) is not None:
            raise RecordError.holds_runs(str(path))
        if not (path / EVENTS).is_file():
            raise RecordError.missing(str(path / EVENTS))
        return cls(path)

    @property
    def number(self) -> str:
        return self.path.name

    def keep_input(self, name: str, text: str) -> None:
        """Keep an input exactly as it was read."""
        write_whole(self.path / INPUTS / name, text.encode())

    def input(self, name: str) -> str:
        """An input as it was read. Raises RecordError if it is missing or cannot be read."""
        return _text_of(self.path / INPUTS / name)

    def input_sums(self) -> list[str]:
        """ "name sha256" of every input there is."""
        found = sorted(path for path in (self.path / INPUTS).glob("*") if path.is_file() and path.suffix != ".part")
        return [f"{path.name} {hashlib.sha256(path.read_bytes()).hexdigest()}" for path in found]

    def keep_attachment(self, path: str) -> str:
        """Copy a file into the folder; "name sha256" of it. Raises RecordError; then the folder is as it was."""
        return keep(path, self.path / ATTACHMENTS)

    def write_json(self, name: str, value: Mapping[str, Any]) -> None:
        """A JSON file, whole or not at all."""
        write_whole(self.path / name, (json.dumps(value, indent=1, ensure_ascii=False) + "\n").encode())

    def read_json(self, name: str) -> dict[str, Any]:
        """A JSON file. Raises RecordError if it is missing, cannot be read or holds something else."""
        path = self.path / name
        try:
            found = json.loads(_text_of(path))
        except (ValueError, RecursionError) as error:
            raise RecordError(f"is not JSON ({error})", str(path), BACKUP) from error
        if not isinstance(found, dict):
            raise RecordError("is not what this program writes", str(path), BACKUP)
        return found


def _text_of(path: Path) -> str:
    """Raises RecordError."""
    try:
        return path.read_text(encoding="utf-8")
    except (FileNotFoundError, NotADirectoryError):
        raise RecordError.missing(str(path)) from None
    except OSError as error:
        raise RecordError(f"cannot be read: {error.strerror or error}", str(path), BACKUP) from error
    except ValueError as error:
        raise RecordError("is not text", str(path), BACKUP) from error


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that after a crash it is the old one or the new one, whoever else writes it too. Raises RecordError."""
    beside = path.with_name(f"{path.name}.{os.getpid()}-{threading.get_ident()}.part")
    try:
        with beside.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise RecordError.cannot_write(str(path), error.strerror or str(error)) from error
