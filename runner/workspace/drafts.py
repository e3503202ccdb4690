"""What was typed into a form and not saved: kept at every change, so that neither a key nor a crash loses it.

Each opening of a form begins a draft of its own; the file of a form that was saved takes its draft away.
"""

from __future__ import annotations

import contextlib
import datetime
import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from runner.errors import RecordError
from runner.record.folder import write_whole

FOLDER = ".drafts"
MOST = 9  # of one kind that are kept


@dataclass(frozen=True)
class Draft:
    """A kept draft: what was typed by field, and which of it are usual values of the chemistry."""

    path: Path
    values: Mapping[str, str]
    usual: tuple[str, ...] = ()

    @property
    def said(self) -> str:
        """When it was typed and what it is of."""
        stamp = self.path.stem.partition("-")[2]
        when = f"{stamp[:4]}-{stamp[4:6]}-{stamp[6:8]} {stamp[9:11]}:{stamp[11:13]} UTC"
        of = " ".join(self.values[key] for key in ("name", "serial") if self.values.get(key))
        filled = sum(1 for key, value in self.values.items() if value and key != "file")
        return f"draft of {when}: {f'{of}, ' if of else ''}{filled} fields"


def drafts(folder: Path, kind: str) -> list[Draft]:
    """The kept drafts of a form, the newest first; what cannot be read is passed over."""
    found = []
    for path in sorted((folder / FOLDER).glob(f"{kind}-*.json"), reverse=True):
        with contextlib.suppress(OSError, ValueError, TypeError, KeyError):
            content = json.loads(path.read_text(encoding="utf-8"))
            values = {str(key): str(value) for key, value in content["values"].items()}
            found.append(Draft(path, values, tuple(map(str, content["usual"]))))
    return found


def new_path(folder: Path, kind: str) -> Path:
    """Where a form that is opened now keeps its draft."""
    return folder / FOLDER / f"{kind}-{datetime.datetime.now(datetime.UTC):%Y%m%d-%H%M%S-%f}.json"


def keep(path: Path, values: Mapping[str, str], usual: Collection[str]) -> bool:
    """Write a draft; whether that could be done. Older ones than the newest MOST go."""
    try:
        path.parent.mkdir(exist_ok=True)
        write_whole(path, json.dumps({"values": dict(values), "usual": sorted(usual)}, ensure_ascii=False).encode())
        for old in sorted(path.parent.glob(f"{path.stem.partition('-')[0]}-*.json"), reverse=True)[MOST:]:
            old.unlink()
    except (OSError, RecordError):
        return False
    return True


def drop(path: Path) -> None:
    """The form was saved: its draft goes, and the folder with the last."""
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)
        path.parent.rmdir()
