"""Files that a person adds to the evidence: regular files of a sensible size, copied piece by piece and named by digest."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import stat
from pathlib import Path

from runner.errors import RecordError

MOST_BYTES = 100_000_000
PIECE = 1 << 20  # bytes


def check(path: str) -> None:
    """Raises RecordError for what cannot be attached: a link, a folder or device, too large a file, none at all."""
    try:
        found = os.lstat(path)
    except (OSError, ValueError) as error:
        raise _refused(path, getattr(error, "strerror", None) or str(error)) from error
    if stat.S_ISLNK(found.st_mode):
        leads = "nowhere"
        with contextlib.suppress(OSError):
            leads = os.path.realpath(path)
        raise _refused(path, f"it is a link that leads to {leads}; name the file itself")
    if not stat.S_ISREG(found.st_mode):
        raise _refused(path, "it is not a regular file")
    if found.st_size > MOST_BYTES:
        raise _refused(path, f"it has {found.st_size / 1e6:.0f} MB, at most {MOST_BYTES / 1e6:.0f} MB are taken")


def keep(path: str, folder: Path) -> str:
    """Copy a file into a folder, which is made if need be; "name sha256" of it. Raises RecordError; then no copy is left."""
    check(path)
    digest, size = hashlib.sha256(), 0
    beside = folder / f"{os.getpid()}-{os.urandom(4).hex()}.part"
    try:
        folder.mkdir(exist_ok=True)
        # it may have been exchanged since it was checked: never through a link, never waiting for a pipe's other end
        source = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
        with os.fdopen(source, "rb", buffering=0) as reading, beside.open("wb") as writing:
            if not stat.S_ISREG(os.fstat(source).st_mode):
                raise _refused(path, "it is not a regular file")
            while piece := reading.read(PIECE):
                size += len(piece)
                if size > MOST_BYTES:
                    raise _refused(path, f"it has more than {MOST_BYTES / 1e6:.0f} MB")
                digest.update(piece)
                writing.write(piece)
            writing.flush()
            os.fsync(writing.fileno())
        name = f"{digest.hexdigest()[:8]}-{re.sub(r'[^A-Za-z0-9._-]+', '-', Path(path).name)}"
        beside.replace(folder / name)
    except OSError as error:
        raise _refused(path, error.strerror or str(error)) from error
    finally:
        with contextlib.suppress(OSError):
            beside.unlink()
    return f"{name} {digest.hexdigest()}"


def _refused(path: str, why: str) -> RecordError:
    return RecordError(f"cannot be attached: {why}", path, "give another file, or answer without it")
