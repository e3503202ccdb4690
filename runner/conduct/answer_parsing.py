"""What a person types in answer to a question, understood: one place for every face and for scripts.

A reply may carry a note and files: ``good; small scratch on the lid @lid.jpg``. A number may leave its unit out.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from runner.conduct.texts import answers as texts
from runner.errors import RecordError
from runner.notation.quantity import QuantityError, parse_quantity
from runner.notation.visible import visible
from runner.orders import Ask, AskTaps
from runner.record.attachments import check
from runner.scale import celsius, fahrenheit, scaled
from runner.vocabulary import Answer, Observed, Wants

GO_WORDS = ("", "g", "go", "go on", "y", "yes", "ok")
STOP_KEY = "x"  # on the screen and in lines
STOP_WORDS = (STOP_KEY, "s", "stop", "n", "no", "q", "quit")
UNITS_AS_READ = {"degC": "°C", "ohm": "Ω"}


class NotUnderstood(Exception):
    """What was typed is no answer; the text says what would be."""


@dataclass(frozen=True)
class Reply:
    """An understood answer: the value as Answered carries it, with the note and the paths of files beside it."""

    value: str
    note: str = ""
    files: tuple[str, ...] = ()


def understood(ask: Ask, text: str) -> Reply:
    """The answer to a question. Raises NotUnderstood."""
    answer, note, files = _parts(text)
    for path in files:
        try:
            check(path)
        except RecordError as error:
            raise NotUnderstood(str(error)) from error
    if ask.wants == Wants.NUMBER:
        return Reply(_number(ask, answer), note, files)
    if ask.wants == Wants.CHOICE:
        return Reply(_choice(ask, answer), note, files)
    if ask.instead and answer.lower() == ask.instead:
        return Reply(ask.instead, note, files)
    if answer.lower() not in GO_WORDS:
        raise NotUnderstood(texts.not_valid(answer))
    return Reply(Answer.GO_ON, note, files)


def is_stop(ask: Ask | None, text: str) -> bool:
    """Whether what was typed, with or without a question that stands, ends the run; where words are picked, only x and stop.

    A note after it, and an exclamation mark, are no reason not to.
    """
    word = text.partition(";")[0].strip(" \t!.").lower()
    return word in (STOP_WORDS if ask is None or ask.wants != Wants.CHOICE else (STOP_KEY, Answer.STOP))


def stopped_by(name: str, text: str) -> str:
    """Who stopped the run, with the note of what they typed."""
    return texts.noted(name, _parts(text)[1])


def marks_current(ask: Ask | None, taps: AskTaps | None) -> bool:
    """Whether two things are marked now: degrees with Enter, and with CURRENT_KEY the current that ``ask`` is about."""
    return ask is not None and taps is not None and ask.of in (Observed.CURRENT_GONE, Observed.CURRENT_BACK)


def hint(ask: Ask, *, two: bool = False) -> str:
    """What may be answered, in a few words; ``two``: degrees are marked beside it, see ``marks_current``."""
    if ask.wants == Wants.NUMBER:
        return texts.number(as_read(ask.unit), ask.lowest, ask.highest, ask.dimension)
    if ask.wants == Wants.CHOICE:
        return texts.choice(ask.choices)
    if ask.instead:
        return texts.mark_or(ask.instead)
    if two:
        return texts.MARK_BOTH
    return texts.MARK if ask.wants == Wants.MARK else texts.CONTINUE


def as_read(unit: str) -> str:
    """A unit as people read it."""
    name = UNITS_AS_READ.get(unit, unit)
    return scaled(name)[2]


def _parts(text: str) -> tuple[str, str, tuple[str, ...]]:
    files = tuple(re.findall(r"(?:^|\s)@(\S+)", text))
    bare = re.sub(r"(?:^|\s)@\S+", " ", text)
    answer, _, note = bare.partition(";")
    return answer.strip(), visible(note.strip()), files


def _number(ask: Ask, answer: str) -> str:
    plain = answer.replace(",", ".") if re.fullmatch(r"[+-]?\d+,\d+\s*\D*", answer) else answer
    text = f"{plain} {ask.unit}" if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", plain) else plain
    if not answer:
        raise NotUnderstood(texts.NOTHING_TYPED)
    try:
        return repr(parse_quantity(_in_celsius(text, plain) if ask.dimension == "temperature" else text, ask.dimension))
    except QuantityError as error:
        raise NotUnderstood(texts.no_number(answer, as_read(ask.unit))) from error


def _in_celsius(text: str, typed: str) -> str:
    """A temperature as files write it, of one that was typed on the scale that people read, with its unit or without."""
    match = re.fullmatch(r"([+-]?(?:\d+\.?\d*|\.\d+))\s*(?:°F|degF|F)?", typed)
    return f"{celsius(float(match[1])):.10g} degC" if match and fahrenheit() else text


def _choice(ask: Ask, answer: str) -> str:
    word = answer.lower()
    if word in GO_WORDS and Answer.GO_ON in ask.choices:
        return Answer.GO_ON.value
    numbered = {str(number): choice for number, choice in enumerate(ask.choices, start=1)}
    if word in numbered:
        return numbered[word]
    found = [choice for choice in ask.choices if word and choice.lower().startswith(word)]
    exact = [choice for choice in ask.choices if choice.lower() == word]
    if len(exact or found) == 1:
        return (exact or found)[0]
    raise NotUnderstood(texts.no_choice(answer, len(ask.choices)))
