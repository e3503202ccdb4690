"""What a command can say, and to whom: a closed stream leads nowhere, what could not be written is known at the end.

A defect of ours is said in a sentence: nobody at a bench reads a page of code, and whoever mends it needs all of it.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import tempfile
import threading
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from runner import __version__
from runner.vocabulary import Exit

STANDARD_ERROR = 2  # its descriptor, the last of the three that a process of ours begins with


def open_closed() -> None:
    """A stream that was closed before the program began (``>&-``) leads nowhere from now on; Python has None in its place."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            nowhere = Path(os.devnull).open(mode)  # noqa: SIM115 (until the process ends)
            setattr(sys, name, nowhere)
            if nowhere.fileno() <= STANDARD_ERROR:  # the place that was free: what is started from here has it too
                os.set_inheritable(nowhere.fileno(), True)


def to_nowhere(stream: Any) -> None:
    """What is written from now on, and what waits to be written, is dropped without an error."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, stream.fileno())
    finally:
        os.close(nowhere)


class _Around:
    """A text stream; what is not said here is the stream's own."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


class Unread(_Around):
    """One whose descriptor leads nowhere as soon as it cannot be written."""

    def write(self, text: str) -> int:
        self._tried(lambda: self._stream.write(text))
        return len(text)

    def flush(self) -> None:
        self._tried(self._stream.flush)

    def _tried(self, what: Callable[[], object]) -> None:
        try:
            what()
        except OSError:
            to_nowhere(self._stream)


class Watched(_Around):
    """One that remembers its first error (``lost``)."""

    lost: OSError | None = None

    def write(self, text: str) -> int:
        try:
            return int(self._stream.write(text))
        except OSError as error:
            self.lost = self.lost or error
            raise

    def flush(self) -> None:
        try:
            self._stream.flush()
        except OSError as error:
            self.lost = self.lost or error
            raise

    def settle(self) -> None:
        """Write what still waits; where that cannot be, drop it."""
        try:
            self.flush()
        except OSError:
            with contextlib.suppress(OSError):  # a stream of a test has no descriptor
                to_nowhere(self._stream)


@dataclass(frozen=True)
class Streams:
    """Standard output and error while a command is carried out."""

    out: Watched
    err: Watched

    def lost(self, error: BaseException) -> bool:
        """Whether an error only says that one of them cannot be written."""
        return error in (self.out.lost, self.err.lost)

    def not_whole(self, *, as_json: bool) -> Exit:
        """Say that what was printed is incomplete; a reader who stopped reading lines knows. The exit status."""
        lost = self.out.lost
        if lost is not None and (as_json or not isinstance(lost, BrokenPipeError)):
            again = " For the JSON of a run: tripwitness evaluate RUN_FOLDER --json" if as_json else ""
            why = lost.strerror or str(lost)
            self.complain(f"standard output: cannot be written: {why}. The output is incomplete: do not use it.{again}")
        return Exit.ENDED_EARLY

    def complain(self, what: object) -> None:
        """A line on standard error, where anybody can read it."""
        with contextlib.suppress(OSError):
            sys.stderr.write(f"{what}\n")
            sys.stderr.flush()


@contextlib.contextmanager
def watched() -> Iterator[Streams]:
    """Standard output and error remember what could not be written; nothing of it comes up when the process ends."""
    before = sys.stdout, sys.stderr
    streams = Streams(Watched(sys.stdout), Watched(sys.stderr))
    sys.stdout, sys.stderr = streams.out, streams.err
    try:
        yield streams
    finally:
        streams.out.settle()
        streams.err.settle()
        sys.stdout, sys.stderr = before


@contextlib.contextmanager
def read_or_not() -> Iterator[None]:
    """What is done meanwhile is done to its end, also where nobody can read what is printed: terminal or pipe may be gone.

    What cannot be written goes nowhere from then on, and a terminal that closes ends nothing.
    """
    hangup = getattr(signal, "SIGHUP", None)
    mine = hangup is not None and threading.current_thread() is threading.main_thread()
    before = signal.signal(hangup, signal.SIG_IGN) if hangup is not None and mine else None
    out, err = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = Unread(out), Unread(err)
    try:
        yield
        sys.stdout.flush()
        sys.stderr.flush()
    finally:
        sys.stdout, sys.stderr = out, err
        if hangup is not None and mine:
            signal.signal(hangup, before)


def told(error: BaseException) -> str:
    """The sentence about a defect, with the name of the file in which the details now are."""
    with tempfile.NamedTemporaryFile("w", prefix="tripwitness-defect-", suffix=".txt", delete=False) as file:
        file.write(f"tripwitness {__version__}, Python {sys.version}\n{' '.join(sys.argv)}\n\n")
        traceback.print_exception(error, file=file)
    return f"program error in Tripwitness: {type(error).__name__}: {error}; please report it with the details in {file.name}"
