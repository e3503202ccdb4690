"""The words an instrument understands: what a dialect file says, and which words each role needs.

Rule: every text, pattern and format is tried out when the file is read. What is wrong in one must not be found out when
something is to be switched off.
"""

from __future__ import annotations

import importlib
import re
import string
import warnings
from collections.abc import Iterable, Iterator
from typing import Any, Literal, Self

from pydantic import Field, field_validator, model_validator

from runner.errors import SheetError
from runner.notation.fields import Sheet
from runner.notation.problems import checked
from runner.notation.source import read
from runner.notation.wrong import Wrong
from runner.sheets.instruments import ON_A_CABLE, ROLE_FACTS
from runner.vocabulary import Role

NUMBER = r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*"

VALUED = "set_"  # how commands begin that carry a value
PLACED = "select"  # the command that chooses one of several outputs, by what the bench file calls it
LONGEST_TEXT = 1000  # characters


class Query(Sheet):
    """A question: its text, the pattern of the reply with one group for the number, and what to multiply it by."""

    ask: str
    reply: str = NUMBER
    scale: float = 1.0

    @field_validator("reply")
    @classmethod
    def _one_group(cls, pattern: str) -> str:
        try:
            groups = _compiled(pattern).groups
        except re.error as error:
            raise Wrong(f"{pattern!r} is not a pattern ({error})", "write for example '([0-9.]+) V'") from error
        if groups != 1:
            raise Wrong(f"the pattern {pattern!r} has {groups} groups", "put the number, and only it, in brackets")
        if _may_be_left_out(pattern):
            raise Wrong(
                f"the pattern {pattern!r} also fits replies without the number",
                "remove ?, * or | around the brackets",
            )
        return pattern

    @field_validator("ask")
    @classmethod
    def _can_be_sent(cls, text: str) -> str:
        return _sendable(text, ("channel",))


class Mode(Sheet):
    """Which bits of a status register say constant voltage and constant current."""

    ask: str
    constant_voltage_bit: int = Field(ge=0, le=31)
    constant_current_bit: int = Field(ge=0, le=31)

    @field_validator("ask")
    @classmethod
    def _can_be_sent(cls, text: str) -> str:
        return _sendable(text, ("channel",))


class ErrorQueue(Sheet):
    """How the error queue is read, and the pattern of the reply that means none."""

    ask: str = "SYST:ERR?"
    none: str = r"[+-]?0\b.*"

    @field_validator("ask")
    @classmethod
    def _can_be_sent(cls, text: str) -> str:
        return _sendable(text, ())

    @field_validator("none")
    @classmethod
    def _is_a_pattern(cls, pattern: str) -> str:
        try:
            _compiled(pattern)
        except re.error as error:
            raise Wrong(f"{pattern!r} is not a pattern ({error})", "write for example '0,.*'") from error
        return pattern


class Dialect(Sheet):
    """A dialect file. ``acknowledge`` is appended to every command; its reply shows that the command was taken.

    ``join`` puts several questions into one message; None sends each by itself.
    """

    kind: Literal["dialect"]
    name: str
    role: Literal[ON_A_CABLE]  # type: ignore[valid-type]
    acknowledge: str | None = "*OPC?"
    identity: str | None = "*IDN?"
    errors: ErrorQueue | None = ErrorQueue()
    join: str | None = ";:"
    commands: dict[str, str] = {}
    queries: dict[str, Query] = {}
    mode: Mode | None = None

    @field_validator("queries", mode="before")
    @classmethod
    def _short_form(cls, value: object) -> object:
        """``voltage: VOUT?`` means ``voltage: {ask: VOUT?}``."""
        if isinstance(value, dict):
            return {key: {"ask": item} if isinstance(item, str) else item for key, item in value.items()}
        return value

    @field_validator("acknowledge", "identity", "join")
    @classmethod
    def _can_be_sent_as_it_is(cls, text: str | None) -> str | None:
        return None if text is None else _sendable(text, ())

    @property
    def has_channel(self) -> bool:
        """Whether there is a place for the bench file's channel."""
        texts = [*self.commands.values(), *(query.ask for query in self.queries.values())]
        texts += [self.mode.ask] if self.mode is not None else []
        return any("channel" in set(_fields(text)) for text in texts)

    @model_validator(mode="after")
    def _complete(self) -> Self:
        facts = ROLE_FACTS[Role(self.role)]
        commands, queries, choices = facts.commands, facts.queries, facts.choices
        if choices and not set(self.queries) & set(choices):
            raise Wrong(f"a {self.role} needs more words", f"add queries: {choices[0]}")
        missing = [f"commands: {name}" for name in commands if name not in self.commands]
        missing += [f"queries: {name}" for name in queries if name not in self.queries]
        if missing:
            raise Wrong(f"a {self.role} needs more words", f"add {', '.join(missing)}")
        spare_commands = set(self.commands) - set(commands) - set(facts.optional)
        unknown = sorted(spare_commands | (set(self.queries) - set(queries) - set(choices)))
        if unknown:
            raise Wrong(f"a {self.role} has no query {', '.join(unknown)}", "remove it")
        return self


def _compiled(pattern: str) -> re.Pattern[str]:
    """A user's pattern. Raises re.error; what a later Python may read otherwise is no matter for a user's screen."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        return re.compile(pattern)


def _fields(text: str) -> Iterator[str]:
    """The names in braces. Raises ValueError for braces that do not close, or that ask for a format."""
    for _, name, form, conversion in string.Formatter().parse(text):
        if name is None:
            continue
        if form or conversion or name not in ("value", "channel", "place"):
            shown = "{" + name + (f"!{conversion}" if conversion else "") + (f":{form}" if form else "") + "}"
            raise Wrong(
                f"{text!r} has an unknown placeholder {shown}", "only {value} and {channel} are allowed in braces"
            )
        yield name


def _sendable(text: str, allowed: Iterable[str]) -> str:
    """A text that can be sent once the allowed names in braces are filled in. Raises ValueError."""
    if not text or not text.isascii() or not text.isprintable() or len(text) > LONGEST_TEXT:
        raise Wrong(
            f"{text[:60]!r} cannot be sent",
            f"write 1 to {LONGEST_TEXT} plain characters, the line end is added by itself",
        )
    try:
        found = set(_fields(text)) - set(allowed)
    except Wrong:
        raise
    except ValueError as error:
        raise Wrong(f"{text!r}: {str(error).lower()}", "close the brace, or double it to send one") from error
    if found:
        raise Wrong(f"{text!r} has {{{found.pop()}}}, which has no meaning here", "remove it")
    return text


def _may_be_left_out(pattern: str) -> bool:
    """Whether a pattern's group may take no part in a match, as in ``(?:([01]))?`` or ``([01])|OFF``."""
    parser: Any = importlib.import_module("re._parser")

    def always(items: Any) -> bool:
        """Whether every match of these items goes through the group."""
        for kind, argument in items:
            name = str(kind)
            if (
                (name == "SUBPATTERN" and (argument[0] == 1 or always(argument[-1])))
                or (
                    name in ("MAX_REPEAT", "MIN_REPEAT", "POSSESSIVE_REPEAT")
                    and argument[0] > 0
                    and always(argument[2])
                )
                or (name == "BRANCH" and all(always(each) for each in argument[1]))
                or (name == "ATOMIC_GROUP" and always(argument))
            ):
                return True
        return False

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        return not always(parser.parse(pattern))


def parse_dialect(text: str, file: str) -> Dialect:
    """A dialect from its text. Raises SheetError with all that is wrong."""
    source = read(text, file)
    dialect = checked(source, Dialect)
    problems = []
    for name, command in dialect.commands.items():
        try:
            _check_command(name, command)
        except Wrong as error:
            problems.append(source.problem(("commands", name), f"{name}: {error.what}", error.remedy))
    if problems:
        raise SheetError(problems)
    return dialect


def _check_command(name: str, text: str) -> None:
    """Raises ValueError with what is wrong and what to do."""
    valued, placed = name.startswith(VALUED), name == PLACED
    more = ("value",) if valued else ("place",) if placed else ()
    _sendable(text, ("channel", *more))
    if placed and "place" not in set(_fields(text)):
        raise Wrong(f"{text!r} chooses nothing", "put {place} where the output's name belongs")
    if valued and "value" not in set(_fields(text)):
        raise Wrong(f"{text!r} carries no value", "put {value} where the number belongs")
