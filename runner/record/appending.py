"""A file that only grows: a piece is in it whole, or not at all.

Rule 1: the system may take less than it was given, as on a disk that is nearly full; the rest is given again.
Rule 2: what could not be written whole is cut off again, so that nothing is ever written behind half a piece.
Rule 3: a file whose name leads elsewhere or nowhere (a folder removed or moved) is as bad as a full disk.
"""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from runner.errors import RecordError


class Appender:
    """An open file. ``append`` raises RecordError with the file as it was before."""

    def __init__(self, path: Path, *, go_on: bool = False) -> None:
        """A new file, or with ``go_on`` one that is there. Raises RecordError."""
        self.path = path
        try:
            self._fd = os.open(path, os.O_WRONLY | os.O_APPEND | (0 if go_on else os.O_CREAT | os.O_EXCL), 0o644)
            self._size = os.fstat(self._fd).st_size
        except OSError as error:
            raise RecordError.cannot_write(str(path), error.strerror or str(error)) from error

    def append(self, piece: bytes) -> None:
        """Hand a piece over to the system, whole. Raises RecordError."""
        left = memoryview(piece)
        try:
            while left:
                left = left[os.write(self._fd, left) :]
        except OSError as error:
            with contextlib.suppress(OSError):
                os.ftruncate(self._fd, self._size)
            raise RecordError.cannot_write(str(self.path), error.strerror or str(error)) from error
        self._size += len(piece)

    def sync(self) -> None:
        """Bring everything to disk. Raises RecordError."""
        try:
            os.fsync(self._fd)
        except OSError as error:
            raise RecordError.cannot_write(str(self.path), error.strerror or str(error)) from error

    def check_place(self) -> None:
        """Raises RecordError if the name does not lead to this file any more."""
        try:
            there, here = self.path.stat(), os.fstat(self._fd)
        except OSError:
            raise RecordError.gone(str(self.path)) from None
        if (there.st_dev, there.st_ino) != (here.st_dev, here.st_ino):
            raise RecordError.gone(str(self.path))

    def close(self) -> None:
        """Close. Nothing more is written."""
        os.close(self._fd)
