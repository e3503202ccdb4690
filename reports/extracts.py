"""What is printed beside a certificate: a summary of one page, and a label of any size for the pack.

Rule 1: neither says more than the certificate: the statement never stands without what it is of. A label too small for that
        refers to the certificate and has no statement.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from runner.errors import Problem, SheetError
from runner.record.folder import LABEL, SUMMARY

LEAST_MM, MOST_MM = 12.0, 300.0
LARGEST_PT, LEAST_PT = 14.0, 4.5  # of the letters; smaller ones nobody reads
LINE, LETTER = 1.25, 0.64  # height of a line and width of a letter in bold, in letters' heights
PT = 25.4 / 72.0  # mm
MARGIN = 1.2  # mm
CODE = 0.42  # of the width, at most, for the code
TALL = 1.2  # height to width from which on the code stands above the text
SEE = "result: see the certificate"


@dataclass(frozen=True)
class Label:
    """A label that fits: its size, the side of the code and where the text begins (from left, top) in mm; letters in pt; lines."""

    width: float
    height: float
    code: float
    letters: float
    lines: tuple[str, ...]
    text: tuple[float, float]


@dataclass(frozen=True)
class Extracts:
    """What is asked for: a ``summary``, and a label of ``size`` mm × mm."""

    summary: bool = False
    size: tuple[float, float] | None = None

    @classmethod
    def asked(cls, *, summary: bool, label: str) -> Extracts:
        """As the command line has it, the size as "62x29". Raises SheetError for what is no size of a label."""
        if not label:
            return cls(summary)
        found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*[xX×]\s*(\d+(?:\.\d+)?)\s*(?:mm)?\s*", label)
        size = (float(found[1]), float(found[2])) if found else (0.0, 0.0)
        if not all(LEAST_MM <= side <= MOST_MM for side in size):
            what = f"{label!r} is no size of a label"
            remedy = f"write width x height in mm, each from {LEAST_MM:g} to {MOST_MM:g}, such as 62x29"
            raise SheetError([Problem("--label", 0, 0, what, remedy)])
        return cls(summary, size)

    def templates(self) -> tuple[str, ...]:
        """The names of the templates that are filled beside the certificate's."""
        return tuple(name for name, wanted in ((SUMMARY, self.summary), (LABEL, self.size is not None)) if wanted)


def fitted(size: tuple[float, float], texts: Sequence[str]) -> Label:
    """A label of a size: the largest letters with which all texts fit; the first is the statement with what it is of.

    If it does not fit with letters that can be read, the certificate is referred to in its place; then only the last two texts
    (number and date) are left, the date, or the code alone, which has the number. A tall label has its code above the text.
    """
    width, height = size
    upright = height > TALL * width
    code = min(width - 2 * MARGIN, CODE * height) if upright else min(height - 2 * MARGIN, CODE * width)
    beside = (0.0, code + MARGIN) if upright else (code + MARGIN, 0.0)
    room = width - 2 * MARGIN - beside[0], height - 2 * MARGIN - beside[1]
    for lines in (tuple(texts), (SEE, *texts[1:]), (SEE, *texts[-2:]), tuple(texts[-2:]), tuple(texts[-1:])):
        letters = _letters(lines, *room)
        if letters is not None:
            return Label(width, height, code, letters, lines, beside)
    return Label(width, height, code, LEAST_PT, (), beside)


def _letters(lines: Sequence[str], width: float, height: float) -> float | None:
    """The size of letters in pt with which lines fit into mm × mm; None if they cannot. Only numbers break within a word."""
    words = [word for line in lines for word in line.split() if not any(letter.isdigit() for letter in word)]
    longest = max(map(len, words), default=0)
    for half in range(int(2 * LARGEST_PT), int(2 * LEAST_PT) - 1, -1):
        size = half / 2 * PT
        most = math.floor(width / (LETTER * size))
        if max(longest, 1) <= most and sum(_rows(line, most) for line in lines) * LINE * size <= height:
            return half / 2
    return None


def _rows(line: str, most: int) -> int:
    """How many rows a line takes, at most so many letters in each; a word that is longer begins a row and takes several."""
    rows, used = 1, 0
    for word in line.split():
        if used and used + 1 + len(word) > most:
            rows, used = rows + 1, 0
        used += len(word) + (1 if used else 0)
        while used > most:
            rows, used = rows + 1, used - most
    return rows
