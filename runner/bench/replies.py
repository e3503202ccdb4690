"""What a reply means: from text to number. The guard has this too, so it knows nothing of dialect files."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

INFINITE = 9.9e37  # SCPI-1999: ±9.9E37 are infinity, 9.91E37 is not a number
LONGEST_NUMBER = 1000  # characters: a reply that is longer is no reading, and no pattern is tried on it


@dataclass(frozen=True)
class Reading:
    """How a reply is read: the ``pattern`` of all of it with one group; ``number`` is decimal, comma or hex.

    ``means``: words in place of numbers; ``bit``: only this bit of a whole number counts; then times ``scale``, plus ``offset``.
    """

    pattern: str
    scale: float = 1.0
    offset: float = 0.0
    number: str = "decimal"
    bit: int | None = None
    means: Mapping[str, float] = field(default_factory=dict)

    def value(self, reply: str) -> float | None:
        """The number, None if it is none, or not a finite one. Never raises."""
        try:
            found = re.fullmatch(self.pattern, reply) if len(reply) <= LONGEST_NUMBER else None
            if found is None:
                return None
            value = self._number(found[1]) * self.scale + self.offset
            return value if abs(value) < INFINITE * abs(self.scale) else None
        except (ValueError, TypeError, IndexError, KeyError, OverflowError, re.error):
            return None

    def _number(self, text: str) -> float:
        if self.means:
            return self.means[text.strip()]
        plain = text.replace(",", ".") if self.number == "comma" else text
        value = float(int(text, 16)) if self.number == "hex" else float(plain)
        if self.bit is None:
            return value
        if value != int(value):
            raise ValueError(text)
        return float(int(value) >> self.bit & 1)
