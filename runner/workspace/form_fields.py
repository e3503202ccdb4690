"""One field of a form: what is asked, an example, and what is wrong with what was typed."""

from __future__ import annotations

import re
from dataclasses import dataclass

from runner.notation.quantity import QuantityError, parse_quantity
from runner.sheets.chemistry import canonical

RANGE = re.compile(r"^\s*(.+?)\s+(?:to|\.\.|…|–)\s+(.+?)\s*$")


@dataclass(frozen=True)
class Field:
    """One thing that is asked for. ``needed``: may not be empty. ``section``: the heading before it, on the first of a section.

    ``dimension`` empty: a text; "count": a whole number; "date": a day; "sensors": a number or places. ``ranged``: a range may be
    typed, such as "53 to 57 degC".
    """

    key: str
    ask: str
    example: str
    dimension: str = ""
    needed: bool = False
    section: str = ""
    ranged: bool = False
    of: str = ""  # the protection that a field beginning with dots belongs to
    among: tuple[str, ...] = ()  # what may be typed; capitals and hyphens do not matter

    @property
    def label(self) -> str:
        """What is asked, with the protection it belongs to."""
        return self.ask.replace("…", self.of) if self.of else self.ask

    def fault(self, text: str) -> str:
        """What is wrong with what was typed, or nothing."""
        text = text.strip()
        if not text:
            return "missing" if self.needed else ""
        if self.dimension == "count":
            return "" if counted(text) else f"is not a whole number; write for example {self.example}"
        if self.dimension == "date":
            return "" if re.fullmatch(r"\d{4}-\d\d-\d\d", text) else "is no date; write it like 2026-11-26"
        if self.among and canonical(text) not in self.among:
            return f"{text} is not a known {self.ask}; write one of {', '.join(self.among)}"
        if self.dimension in ("", "sensors"):
            return ""
        if self.dimension == "ratio" and not re.fullmatch(r"[0-9.]+ ?%", text):
            return f"is not a percentage; write it like {self.example}"
        try:
            values = [parse_quantity(part, self.dimension) for part in self.parts(text)]
        except QuantityError as error:
            return str(error)
        return "is more than 100 %" if self.dimension == "ratio" and max(values) > 1.0 else ""

    def parts(self, text: str) -> tuple[str, ...]:
        """The value, or the two ends of a range, each with its unit."""
        match = RANGE.match(text) if self.ranged else None
        if match is None:
            return (text.strip(),)
        first, last = match.groups()
        if re.fullmatch(r"[-+0-9.]+", first):
            first = f"{first} {last.lstrip('-+0123456789. ')}"
        return first, last


def counted(text: str) -> int:
    """The whole number that was typed, of four digits at most; 0 of anything else, as of ``²``, which is a digit and no number."""
    return int(text) if re.fullmatch(r"[0-9]{1,4}", text) else 0


def given(values: object, key: str) -> str:
    """What was typed under a key, without spaces around it."""
    return str(values.get(key, "")).strip() if isinstance(values, dict) else ""
