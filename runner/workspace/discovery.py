"""Which sheets there are in a folder, found without reading them as sheets: the first screen has to be there at once."""

from __future__ import annotations

import re
from pathlib import Path

HEAD = 4000  # characters of a file in which its kind has to stand to be listed


def sheets_in(folder: Path, kind: str) -> list[Path]:
    """The files of a kind in a folder, by their ``kind:`` line alone: what is wrong in one is said when it is used."""
    line = re.compile(rf"^kind:\s*{kind}\s*(#.*)?$", re.MULTILINE)
    found = []
    for path in sorted(folder.glob("*.y*ml")):
        try:
            head = path.read_text(encoding="utf-8", errors="replace")[:HEAD]
        except OSError:
            continue
        if line.search(head):
            found.append(path)
    return found
