"""The pulse between runner and guard: one moment in shared memory, by which the runner has to be heard of again.

Writing it costs a microsecond and no system call, so it can be written before every exchange. It stands there twice, and a
reader takes the later one: half of a write is never early.
"""

from __future__ import annotations

import mmap
import os
import struct
import tempfile
import time

_TWICE = struct.Struct("@qq")
SIZE = mmap.PAGESIZE


class Pulse:
    """``due`` is on the machine's monotonic clock, which both processes share."""

    def __init__(self, fd: int) -> None:
        """On a file of SIZE bytes, which stays the caller's."""
        self.fd = fd
        self._memory = mmap.mmap(fd, SIZE)

    @classmethod
    def new(cls) -> Pulse:
        """On a file that has no name."""
        with tempfile.TemporaryFile() as file:
            file.truncate(SIZE)
            return cls(os.dup(file.fileno()))

    def beat(self, seconds: float) -> None:
        """The next beat comes within so many seconds of real time."""
        due = time.monotonic_ns() + int(seconds * 1e9)
        _TWICE.pack_into(self._memory, 0, due, due)

    @property
    def overdue(self) -> float:
        """By how many seconds the beat that was announced is late; negative while it is not."""
        first, second = _TWICE.unpack_from(self._memory, 0)
        return float(time.monotonic_ns() - max(first, second)) / 1e9

    def close(self) -> None:
        """Give the memory and the file back."""
        self._memory.close()
        os.close(self.fd)
