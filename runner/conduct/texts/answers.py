"""What may be answered to a question, and why something that was typed is no answer."""

from __future__ import annotations

from collections.abc import Sequence

from runner.notation.quantity import shown
from runner.vocabulary import CURRENT_KEY

_ADDED = "Note: add ; and your text. File: add @ and its name."
_STOP = "x, then Enter: stop"

CONTINUE = "[Enter] continue    x [Enter] ends the run"
MARK = "[Enter] at that moment    x [Enter] ends the run"
MARK_BOTH = f"{CURRENT_KEY} [Enter] at that moment    [Enter] at each whole degree    x [Enter] ends the run"

NOTHING_TYPED = "Nothing was typed"


def number(unit: str, lowest: float | None, highest: float | None, dimension: str) -> str:
    """How a number is answered, in which unit, and between which values (SI) it is expected, where that is known."""
    fits = ""
    if lowest is not None and highest is not None:
        fits = f" (expected {shown(lowest, dimension)} to {shown(highest, dimension)})"
    return f"Type a number in {unit}, then Enter{fits}. {_ADDED} · {_STOP}"


def choice(choices: Sequence[str]) -> str:
    """How one of several words is answered."""
    listed = "   ".join(f"{at} {word}" for at, word in enumerate(choices, start=1))
    return f"{listed}   Type the number or the word, then Enter. {_ADDED} · {_STOP}"


def mark_or(word: str) -> str:
    """How a moment is marked that may not come; ``word``: what is typed then."""
    return f"Enter: at that moment · {word}, then Enter: as told above · {_STOP}"


def noted(name: str, note: str) -> str:
    """Who answered, with the note they typed, if any."""
    return f"{name}: {note}" if note else name


# ---- why something is no answer --------------------------------------------------------------------------------------


def not_valid(typed: str) -> str:
    """Of what was typed where Enter goes on."""
    return f"{typed!r} is not valid. Press Enter to continue, or type x to stop"


def no_number(typed: str, unit: str) -> str:
    """Of what was typed where a number is asked for."""
    return f"{typed!r} is not a number in {unit}; type it like 24.3"


def script_needs(choices: Sequence[str], unit: str) -> str:
    """Of a file of answers that says go on where one of these words, or else a number in a unit, is needed."""
    needed = f"one of {', '.join(choices)}" if choices else f"a reading such as 24.3 {unit}"
    return f"the answers file says go on, and {needed} is needed: write it into answers:, in the order of the questions"


def no_choice(typed: str, choices: int) -> str:
    """Of what was typed, or of nothing, where one of so many words is asked for."""
    first = f"{typed!r} is not one of the choices" if typed else NOTHING_TYPED
    numbers = "1" if choices == 1 else f"a number from 1 to {choices}"
    return f"{first}. Type {numbers}, or the word"


def file_refused(why: str, say: str) -> str:
    """The question once more, after a file that cannot be attached."""
    return f"{why}. {say}"


def file_of_mark(why: str) -> str:
    """The same of a mark, which counts without its file."""
    return f"{why}. The mark counts; the file is not in the record"
