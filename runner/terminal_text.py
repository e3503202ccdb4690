"""What is printed steers no terminal: names, notes and file names may hold anything, and are shown as what they are."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from typing import Any

from runner.notation.visible import visible


class _Plain:
    """A text stream that shows what is hidden; everything else is the stream's own."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        self._stream.write(visible(text))
        return len(text)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextlib.contextmanager
def plainly() -> Iterator[None]:
    """Standard output and error show control characters and marks of direction as their numbers meanwhile."""
    out, err = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = _Plain(out), _Plain(err)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = out, err
