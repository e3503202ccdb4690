"""Text from outside as it is shown: what would steer a terminal, turn the direction of writing or hide is shown as what it is.

Names, notes and replies of instruments may hold anything. In the record they stay as they came; on paper and screen a control
character is its number.
"""

from __future__ import annotations

import contextlib
import re
import sys
from collections.abc import Iterator
from typing import Any

# C0 and C1 controls but tab and line feed; marks of direction (Unicode Standard Annex 9); invisible ones; separators of lines
_HIDDEN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u00ad\u061c\u180e\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb]"
)


def visible(text: str) -> str:
    """The text with everything hidden written as ⟨U+202E⟩; a lone surrogate is one of them."""
    shown = _HIDDEN.sub(lambda found: f"⟨U+{ord(found.group()):04X}⟩", text)
    return shown if shown.isascii() else "".join(f"⟨U+{ord(c):04X}⟩" if "\ud800" <= c <= "\udfff" else c for c in shown)


def in_one_line(text: str) -> str:
    """The same, line feeds and tabs as well: a name cannot make a line of its own."""
    return visible(text).replace("\n", "⟨U+000A⟩").replace("\t", "⟨U+0009⟩")


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
