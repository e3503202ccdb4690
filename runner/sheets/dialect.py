"""The words an instrument understands: what a dialect file says, and which words each role needs."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Literal, Self

from pydantic import Field, field_validator, model_validator

from runner.sheets.fields import Sheet
from runner.sheets.problems import checked
from runner.sheets.source import read

NUMBER = r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*"

# role -> (commands it needs, queries it needs); {value} stands for the number, {channel} for the bench file's channel
NEEDED: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "supply": (
        ("set_voltage", "set_current", "set_overvoltage", "set_overcurrent", "output_on", "output_off"),
        (
            "voltage_setting",
            "current_setting",
            "overvoltage_setting",
            "overcurrent_setting",
            "output",
            "voltage",
            "current",
        ),
    ),
    "probe": ((), ()),
    "meter": ((), ("voltage",)),
    "load": (("set_current", "input_on", "input_off"), ("current_setting", "input", "voltage", "current")),
    "hands": (("heat", "cool", "still", "substitute"), ()),
}


# queries a role may have besides; which of them a bench needs is in its file
MORE_QUERIES: Mapping[str, tuple[str, ...]] = {"probe": ("temperature", "resistance", "voltage")}


class Query(Sheet):
    """A question: its text, the pattern of the reply with one group for the number, and what to multiply it by."""

    ask: str
    reply: str = NUMBER
    scale: float = 1.0

    @field_validator("reply")
    @classmethod
    def _one_group(cls, pattern: str) -> str:
        try:
            groups = re.compile(pattern).groups
        except re.error as error:
            raise ValueError(f"{pattern!r} is not a pattern ({error}); write for example '([0-9.]+) V'") from error
        if groups != 1:
            raise ValueError(f"the pattern {pattern!r} has {groups} groups; put the number, and only it, in brackets")
        return pattern


class Mode(Sheet):
    """Which bits of a status register say constant voltage and constant current."""

    ask: str
    constant_voltage_bit: int = Field(ge=0, le=31)
    constant_current_bit: int = Field(ge=0, le=31)


class ErrorQueue(Sheet):
    """How the error queue is read, and the pattern of the reply that means none."""

    ask: str = "SYST:ERR?"
    none: str = r"[+-]?0\b.*"


class Dialect(Sheet):
    """A dialect file. ``acknowledge`` is appended to every command; its reply shows that the command was taken.

    ``join`` puts several questions into one message; None sends each by itself.
    """

    kind: Literal["dialect"]
    name: str
    role: Literal["supply", "probe", "meter", "load", "hands"]
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

    @model_validator(mode="after")
    def _complete(self) -> Self:
        commands, queries = NEEDED[self.role]
        more = MORE_QUERIES.get(self.role, ())
        if more and not set(self.queries) & set(more):
            raise ValueError(f"a {self.role} needs more words; add queries: {more[0]}")
        missing = [f"commands: {name}" for name in commands if name not in self.commands]
        missing += [f"queries: {name}" for name in queries if name not in self.queries]
        if missing:
            raise ValueError(f"a {self.role} needs more words; add {', '.join(missing)}")
        unknown = sorted((set(self.commands) - set(commands)) | (set(self.queries) - set(queries) - set(more)))
        if unknown:
            raise ValueError(f"nobody asks a {self.role} for {', '.join(unknown)}; take it out")
        return self


def parse_dialect(text: str, file: str) -> Dialect:
    """A dialect from its text. Raises SheetError with all that is wrong."""
    return checked(read(text, file), Dialect)
