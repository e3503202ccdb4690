"""A strict little SCPI parser for the simulated instruments: long and short forms, paths, an error queue.

Written out again on purpose, from SCPI-1999 volume 1 (syntax) and IEEE 488.2, so that the bench is tested against the
standard and not against its own idea of it.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

UNDEFINED = (-113, "Undefined header")
MISSING = (-109, "Missing parameter")
NOT_ALLOWED = (-108, "Parameter not allowed")
WRONG_TYPE = (-104, "Data type error")
OUT_OF_RANGE = (-222, "Data out of range")
QUEUE_LENGTH = 20


class Complaint(Exception):
    """An entry for the error queue: number and text."""

    def __init__(self, entry: tuple[int, str]) -> None:
        super().__init__(entry)
        self.entry = entry


@dataclass(frozen=True)
class _Word:
    pattern: re.Pattern[str]
    takes: int
    act: Callable[..., str | None]


class Device:
    """An instrument's command table, error queue, and the common commands every instrument has."""

    def __init__(self, identity: str) -> None:
        self._words: list[_Word] = []
        self._known: dict[str, _Word] = {}  # by the headers that came
        self._queue: deque[tuple[int, str]] = deque()
        self.word("*IDN?", 0, lambda: identity)
        self.word("*CLS", 0, self._queue.clear)
        self.word("*OPC?", 0, lambda: "1")
        self.word("SYSTem:ERRor[:NEXT]?", 0, self._next_error)
        self.word("SYSTem:VERSion?", 0, lambda: "1999.0")

    def word(self, header: str, takes: int, act: Callable[..., str | None]) -> None:
        """Add a command: its header as the standard prints it, how many parameters it takes, and what it does."""
        self._words.append(_Word(_compiled(header), takes, act))

    def handle(self, message: str) -> str | None:
        """One program message, possibly of several units; the joined replies, or None if nothing was asked."""
        replies: list[str] = []
        path = ""
        for unit in _split(message, ";"):
            if not unit.strip():
                continue
            header, _, rest = unit.strip().partition(" ")
            if not header.startswith("*"):
                header = header.lstrip(":") if header.startswith(":") or not path else f"{path}:{header}"
                path = header.rpartition(":")[0]
            try:
                reply = self._act(header, rest)
            except Complaint as complaint:
                self.complain(complaint.entry)
                continue
            if reply is not None:
                replies.append(reply)
        return ";".join(replies) if replies else None

    def complain(self, entry: tuple[int, str]) -> None:
        """Put an entry into the error queue; a full queue's newest becomes -350."""
        if len(self._queue) >= QUEUE_LENGTH:
            self._queue[-1] = (-350, "Queue overflow")
        else:
            self._queue.append(entry)

    def _act(self, header: str, rest: str) -> str | None:
        parameters = [part.strip() for part in _split(rest, ",")] if rest.strip() else []
        word = self._known.get(header)
        if word is None:
            word = next((each for each in self._words if each.pattern.fullmatch(header)), None)
            if word is None:
                raise Complaint(UNDEFINED)
            self._known[header] = word
        if len(parameters) < word.takes:
            raise Complaint(MISSING)
        if len(parameters) > word.takes:
            raise Complaint(NOT_ALLOWED)
        return word.act(*parameters)

    def _next_error(self) -> str:
        number, text = self._queue.popleft() if self._queue else (0, "No error")
        return f'{number},"{text}"'


def _split(text: str, at: str) -> list[str]:
    """Cut at a character, but not inside quotes."""
    if '"' not in text:
        return text.split(at)
    parts, quoted, start = [], False, 0
    for index, character in enumerate(text):
        if character == '"':
            quoted = not quoted
        elif character == at and not quoted:
            parts.append(text[start:index])
            start = index + 1
    return [*parts, text[start:]]


def _compiled(header: str) -> re.Pattern[str]:
    """``[SOURce:]VOLTage[:LEVel]`` as a pattern: short or long form of each node, brackets optional, any case."""
    pattern = ""
    for piece in re.findall(r"[A-Za-z]+|\[|\]|:|\*|\?", header):
        if piece in "[]":
            pattern += "(?:" if piece == "[" else ")?"
        elif piece.isalpha() and not header.startswith("*"):
            short = "".join(letter for letter in piece if letter.isupper())
            pattern += f"(?:{short}|{piece.upper()})"
        else:
            pattern += re.escape(piece.upper())
    return re.compile(pattern, re.IGNORECASE)


def number(text: str, lowest: float, highest: float) -> float:
    """A numeric parameter. MINimum and MAXimum are allowed, as the standard requires."""
    if text.upper() in ("MIN", "MINIMUM"):
        return lowest
    if text.upper() in ("MAX", "MAXIMUM"):
        return highest
    try:
        value = float(text)
    except ValueError:
        raise Complaint(WRONG_TYPE) from None
    if not lowest <= value <= highest:
        raise Complaint(OUT_OF_RANGE)
    return value


def boolean(text: str) -> bool:
    """ON, OFF, 1 or 0."""
    if text.upper() in ("ON", "1"):
        return True
    if text.upper() in ("OFF", "0"):
        return False
    raise Complaint(WRONG_TYPE)
