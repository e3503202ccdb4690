"""Lists of SHA-256 sums as ``sha256sum`` writes and checks them: "digest, two spaces, name" a line.

A name with a backslash or a line feed is written as the coreutils do it: escaped, with a backslash before the digest.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from pathlib import Path

PIECE = 1 << 20


def sum_of(path: Path) -> str:
    """SHA-256 of a file. Raises OSError."""
    whole = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(PIECE):
            whole.update(piece)
    return whole.hexdigest()


def listed(root: Path, names: Iterable[str]) -> str:
    """The list for files below a folder, in the order of their names. Raises OSError."""
    return "".join(_line(name, sum_of(root / name)) for name in sorted(names))


def _line(name: str, digest: str) -> str:
    escaped = name.replace("\\", "\\\\").replace("\n", "\\n").replace("\r", "\\r")
    return f"{digest}  {name}\n" if escaped == name else f"\\{digest}  {escaped}\n"


def sums_in(text: str) -> Mapping[str, str]:
    """name -> digest. Raises ValueError with the number of the line that is none."""
    found: dict[str, str] = {}
    if not text.strip():
        raise ValueError("is empty")
    for number, line in enumerate(text.split("\n")[:-1] if text.endswith("\n") else text.split("\n"), start=1):
        escaped, line = line.startswith("\\"), line.removeprefix("\\")
        digest, gap, name = line[:64], line[64:66], line[66:]
        if gap not in ("  ", " *") or not name or set(digest) - set("0123456789abcdef"):
            raise ValueError(f"line {number} is no sum")
        name = _unescaped(name) if escaped else name
        if name in found or name.startswith("/") or ".." in name.split("/"):
            raise ValueError(f"line {number} names a file twice or outside of the folder")
        found[name] = digest
    return found


def _unescaped(name: str) -> str:
    made, letters = "", iter(name)
    for letter in letters:
        made += {"n": "\n", "r": "\r", "\\": "\\"}.get(next(letters, ""), "") if letter == "\\" else letter
    return made
