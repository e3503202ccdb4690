"""The words an instrument understands: what a dialect file says, and which words each role needs.

Rule: every text, pattern and format is tried out when the file is read. What is wrong in one must not be found out when
something is to be switched off.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal, Self

from pydantic import field_validator, model_validator

from runner.errors import SheetError
from runner.notation.fields import Pause, Sheet
from runner.notation.problems import checked
from runner.notation.source import read
from runner.notation.wrong import Wrong
from runner.sheets.instruments import ON_A_CABLE, ROLE_FACTS
from runner.sheets.reach.registers import TABLES
from runner.sheets.reach.texts import a_pattern, fields, sendable
from runner.sheets.reach.words import NUMBER, Command, ErrorQueue, Mode, Query, short_forms
from runner.vocabulary import Role

__all__ = ["NUMBER", "Command", "Dialect", "ErrorQueue", "Mode", "Query", "parse_dialect"]

VALUED = "set_"  # how commands begin that carry a value
PLACED = "select"  # the command that chooses one of several outputs, by what the bench file calls it
CHANNELLED = "select_channel"  # the command that chooses the bench file's channel, before every exchange
OF_TEXTS = ("acknowledge", "identity", "errors", "join")  # what registers, and instruments that talk unasked, have not


class Dialect(Sheet):
    """A dialect file. ``acknowledge`` is appended to every command; its reply shows that the command was taken.

    ``confirms``: the pattern of the line that the instrument sends after every command by itself; ``pause``: how long it needs
    after one. ``join`` puts several questions into one message; None sends each by itself. ``listen``: it talks unasked, and what
    counts is its newest line. ``start`` is sent when a session opens, ``end`` before it closes.
    """

    kind: Literal["dialect"]
    name: str
    role: Literal[ON_A_CABLE]  # type: ignore[valid-type]
    acknowledge: str | None = "*OPC?"
    confirms: str = ""
    pause: Pause = 0.0
    identity: str | None = "*IDN?"
    errors: ErrorQueue | None = ErrorQueue()
    join: str | None = ";:"
    listen: bool = False
    start: tuple[str, ...] = ()
    end: tuple[str, ...] = ()
    commands: dict[str, Command] = {}
    queries: dict[str, Query] = {}
    mode: Mode | None = None

    @model_validator(mode="before")
    @classmethod
    def _without_texts(cls, content: object) -> object:
        """Registers, and an instrument that talks unasked, have no texts of their own to be left out."""
        if isinstance(content, dict) and (content.get("listen") is True or _has_registers(content)):
            return {**dict.fromkeys(OF_TEXTS), **content}
        return content

    @field_validator("queries", mode="before")
    @classmethod
    def _short_queries(cls, value: object) -> object:
        return short_forms(value, "ask")

    @field_validator("commands", mode="before")
    @classmethod
    def _short_commands(cls, value: object) -> object:
        return short_forms(value, "say")

    @field_validator("acknowledge", "identity", "join")
    @classmethod
    def _can_be_sent_as_it_is(cls, text: str | None) -> str | None:
        return None if text is None else sendable(text, ())

    @field_validator("start", "end")
    @classmethod
    def _can_be_sent_too(cls, texts: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(sendable(text, ("channel",)) for text in texts)

    @field_validator("confirms")
    @classmethod
    def _is_a_pattern(cls, pattern: str) -> str:
        return a_pattern(pattern)

    @property
    def by_register(self) -> bool:
        """Whether it speaks Modbus."""
        return any(word.tables for word in (*self.commands.values(), *self.queries.values()))

    @property
    def has_channel(self) -> bool:
        """Whether there is a place for the bench file's channel."""
        texts = [*(each.text for each in self.commands.values()), *(query.text for query in self.queries.values())]
        texts += [*self.start, *self.end, *([self.mode.text] if self.mode is not None else [])]
        return any("channel" in set(fields(text)) for text in texts)

    @property
    def needs_channel(self) -> bool:
        """Whether nothing can be said without one. ``select_channel`` alone is left out where there is none."""
        rest = {name: each for name, each in self.commands.items() if name != CHANNELLED}
        return self.model_copy(update={"commands": rest}).has_channel

    @property
    def unread(self) -> tuple[str, ...]:
        """What it sets or switches and cannot read back, by the names of the queries that are missing."""
        facts = ROLE_FACTS[Role(self.role)]
        return tuple(name for name in facts.optional_queries if name not in self.queries and self._does(name))

    def _does(self, query: str) -> bool:
        what = query.removesuffix("_setting")
        return f"{VALUED}{what}" in self.commands or f"{what}_off" in self.commands

    @model_validator(mode="after")
    def _complete(self) -> Self:
        facts = ROLE_FACTS[Role(self.role)]
        commands, queries, choices = facts.commands, facts.queries, facts.choices
        if choices and not set(self.queries) & set(choices):
            raise Wrong(f"a {self.role} needs more words", f"add queries: {choices[0]}")
        missing = [f"commands: {name}" for name in commands if name not in self.commands]
        missing += [f"queries: {name}" for name in queries if name not in self.queries]
        spare_commands = set(self.commands) - set(commands) - {*facts.optional, CHANNELLED}
        spare_queries = set(self.queries) - {*queries, *choices, *facts.optional_queries}
        spare = ", ".join(sorted(spare_commands | spare_queries))
        if missing:
            unknown = f" and does not know {spare}" if spare else ""
            raise Wrong(f"a {self.role} needs more words{unknown}", f"add {', '.join(missing)}")
        if spare:
            raise Wrong(f"a {self.role} does not know {spare}", "remove it")
        return self

    @model_validator(mode="after")
    def _one_way_of_speaking(self) -> Self:
        words = [*self.commands.values(), *self.queries.values(), *([self.mode] if self.mode else [])]
        if self.by_register and not all(word.tables for word in words):
            raise Wrong("registers and texts are mixed", "an instrument is spoken to in one of the two")
        if self.by_register and any((self.acknowledge, self.identity, self.errors, self.join, self.confirms)):
            raise Wrong(f"registers have no {', '.join(OF_TEXTS)} or confirms", "remove it")
        if self.listen and (self.commands or any(query.text for query in self.queries.values())):
            raise Wrong("an instrument that talks unasked is asked nothing", "remove ask and commands, or listen")
        if not self.listen and not all(query.text for query in self.queries.values()):
            raise Wrong("a query has nothing to ask", "add ask:, or listen: true if the instrument talks unasked")
        if self.acknowledge and self.confirms:
            raise Wrong("acknowledge and confirms are both given", "write acknowledge: null or remove confirms")
        return self


def _has_registers(content: dict[Any, Any]) -> bool:
    tables = [content.get("commands"), content.get("queries")]
    words = [word for table in tables if isinstance(table, dict) for word in table.values()]
    return any(isinstance(word, dict) and set(word) & set(TABLES) for word in words)


def parse_dialect(text: str, file: str) -> Dialect:
    """A dialect from its text. Raises SheetError with all that is wrong."""
    source = read(text, file)
    dialect = checked(source, Dialect)
    problems = []
    for name, what, remedy in _wrong_commands(dialect):
        problems.append(source.problem(("commands", name), f"{name}: {what}", remedy))
    if problems:
        raise SheetError(problems)
    return dialect


def _wrong_commands(dialect: Dialect) -> Iterator[tuple[str, str, str]]:
    said: dict[str, str] = {}
    for name, command in dialect.commands.items():
        text = " ".join(command.text.casefold().split())
        if text in said:  # an off that is the same as on would switch on, again and again
            yield name, f"sends the same as {said[text]}, {command.text!r}", "correct one of them"
        said[text] = name
        try:
            _check_command(name, command)
        except Wrong as error:
            yield name, error.what, error.remedy


def _check_command(name: str, command: Command) -> None:
    """Raises ValueError with what is wrong and what to do."""
    text = command.text
    valued, placed = name.startswith(VALUED), name == PLACED
    more = ("value",) if valued else ("place",) if placed else ()
    sendable(text, ("channel", *more))
    if placed and "place" not in set(fields(text)):
        raise Wrong(f"{text!r} chooses nothing", "put {place} where the output's name belongs")
    if name == CHANNELLED and "channel" not in set(fields(text)):
        raise Wrong(f"{text!r} chooses nothing", "put {channel} where the channel's number belongs")
    if valued and "value" not in set(fields(text)):
        raise Wrong(f"{text!r} carries no value", "put {value} where the number belongs")
