"""The pulse between runner and guard: one moment in shared memory, by which the runner has to be heard of again.

Writing it costs a microsecond and no system call, so it can be written before every exchange.

Rule 1: a moment is written as one machine word. (``struct.pack_into`` clears its place first: a reader that came in between saw
        nought, two hours overdue, and ended a healthy run.)
Rule 2: it stands there twice, and a reader takes the later one.
Rule 3: whoever acts on it looks twice, some time apart.
"""

from __future__ import annotations

import mmap
import os
import tempfile
import time

SIZE = mmap.PAGESIZE


class Pulse:
    """``due`` is on the machine's monotonic clock, which both processes share."""

    def __init__(self, fd: int) -> None:
        """On a file of SIZE bytes, which stays the caller's."""
        self.fd = fd
        self._memory = mmap.mmap(fd, SIZE)
        self._words = memoryview(self._memory).cast("q")

    @classmethod
    def new(cls) -> Pulse:
        """On a file that has no name."""
        with tempfile.TemporaryFile() as file:
            file.truncate(SIZE)
            return cls(os.dup(file.fileno()))

    def beat(self, seconds: float) -> None:
        """The next beat comes within so many seconds of real time."""
        due = time.monotonic_ns() + int(seconds * 1e9)
        self._words[0] = due
        self._words[1] = due

    @property
    def overdue(self) -> float:
        """By how many seconds the beat that was announced is late; negative while it is not."""
        due = max(self._words[0], self._words[1])
        return (time.monotonic_ns() - due) / 1e9

    def close(self) -> None:
        """Give the memory and the file back."""
        self._words.release()
        self._memory.close()
        os.close(self.fd)
