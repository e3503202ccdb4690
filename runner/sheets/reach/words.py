"""The words of a dialect: questions, commands, what a status says, and how errors are read."""

from __future__ import annotations

import re
from typing import Any, Literal, Self

from pydantic import Field, GetJsonSchemaHandler, field_validator, model_validator
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from runner.notation.fields import Sheet, Timeout
from runner.notation.wrong import Wrong
from runner.sheets.reach.registers import BITS, READ_ONLY, Register
from runner.sheets.reach.texts import a_pattern, sendable, with_one_group

NUMBER = r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*"
WORD = r"\s*(\S(?:.*\S)?)\s*"
PATTERNS = {
    "decimal": NUMBER,
    "comma": r"\s*([+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?)\s*",
    "hex": r"\s*(?:0[xX])?([0-9a-fA-F]+)\s*",
}
FORM = r"0?[0-9]{0,2}(\.[0-9]{1,2})?[fegd]"


class Query(Register):
    """A question and how its reply is read.

    ``ask`` is the text, or a register in its place. ``reply``: the pattern of the whole reply, with one group around the number.
    ``number``: decimal, comma (a decimal comma) or hex. ``on_word`` and ``off_word``: the two words in place of a number.
    ``bit``: of a whole number only this bit counts, from 0. What was read is multiplied by ``scale``, then ``offset`` is added.
    ``within``: lines that do not fit ``reply`` are passed over for so long.
    """

    ask: str = ""
    reply: str = ""
    number: Literal["decimal", "comma", "hex"] = "decimal"
    on_word: str = ""
    off_word: str = ""
    bit: int | None = Field(default=None, ge=0, le=31)
    scale: float = Field(default=1.0, allow_inf_nan=False)
    offset: float = Field(default=0.0, allow_inf_nan=False)
    within: Timeout | None = None

    @classmethod
    def __get_pydantic_json_schema__(cls, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return or_text(schema, handler)

    @field_validator("reply")
    @classmethod
    def _one_group(cls, pattern: str) -> str:
        return with_one_group(pattern) if pattern else pattern

    @field_validator("ask")
    @classmethod
    def _can_be_sent(cls, text: str) -> str:
        return sendable(text, ("channel",))

    @field_validator("scale")
    @classmethod
    def _not_nothing(cls, scale: float) -> float:
        if scale == 0:
            raise Wrong("a scale of 0 makes every reading 0", "write what one step of the reply is")
        return scale

    @model_validator(mode="after")
    def _text_or_register(self) -> Self:
        if self.ask and self.tables:
            raise Wrong("ask and a register are both given", "remove one of them")
        if bool(self.on_word) != bool(self.off_word):
            raise Wrong("only one of on_word and off_word is given", "give both")
        if self.on_word and self.on_word == self.off_word:
            raise Wrong(f"on_word and off_word are both {self.on_word!r}", "write what it replies when it is off")
        if self.means and self.bit is not None:
            raise Wrong("on_word and off_word are words, bit is for numbers", "remove one of them")
        return self

    @property
    def means(self) -> dict[str, float]:
        """What words stand for, where there are words."""
        return {self.on_word: 1.0, self.off_word: 0.0} if self.on_word else {}

    @property
    def text(self) -> str:
        """What is sent; empty where the instrument talks unasked."""
        return f"read {self.place}" if self.tables else self.ask

    @property
    def pattern(self) -> str:
        """The pattern of the whole reply."""
        return self.reply or (WORD if self.means else PATTERNS[self.number])


class Command(Register):
    """A command. ``say`` is the text with ``{value}`` where it carries one, or a register in its place.

    ``scale``: what one step of the number is that is sent, such as 0.01 for hundredths. ``form`` is how it is written: digits
    before and behind the point and f, e, g or d, such as ``05.2f`` or ``04d``. A register that carries
    no value is written ``value``. ``multiple``: written with function 16 even if it is one register.
    """

    say: str = ""
    scale: float = Field(default=1.0, allow_inf_nan=False)
    form: str = ""
    value: int | None = Field(default=None, ge=0, le=65535)
    multiple: bool = False

    @classmethod
    def __get_pydantic_json_schema__(cls, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return or_text(schema, handler)

    @field_validator("form")
    @classmethod
    def _a_form(cls, form: str) -> str:
        if form and not re.fullmatch(FORM, form):
            raise Wrong(f"{form!r} is not the form of a number", "write for example 05.2f, .3e or 04d")
        return form

    @field_validator("scale")
    @classmethod
    def _not_nothing(cls, scale: float) -> float:
        if scale <= 0:
            raise Wrong(f"a scale of {scale:g} cannot be sent", "write what one step of the number is")
        return scale

    @model_validator(mode="after")
    def _text_or_register(self) -> Self:
        if "say" in self.model_fields_set and not self.say and not self.tables:
            sendable("", ())
        if bool(self.say) == bool(self.tables):
            raise Wrong("a command is either a text or a register", 'write for example "VOLT {value}" or {holding: 4}')
        if self.tables and self.tables[0] in READ_ONLY:
            raise Wrong(f"{self.tables[0]} registers cannot be written", "write holding: or coil:")
        if self.tables and self.tables[0] in BITS and self.value not in (0, 1):
            raise Wrong("a coil is written 0 or 1", "add value: 0 or value: 1")
        return self

    @property
    def text(self) -> str:
        """What is sent, with its placeholders."""
        if not self.tables:
            return self.say
        what = "{value}" if self.value is None else str(self.value)
        return f"write {self.place} {what}{' multiple' if self.multiple else ''}"

    def written(self, value: float) -> str:
        """A value as the command carries it."""
        steps = value / self.scale
        if self.form.endswith("d"):
            return format(round(steps), self.form)
        return format(steps, self.form or (".10g" if self.tables else ".6g"))


def or_text(schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
    """The schema of a table for which a text may stand."""
    return {"anyOf": [{"type": "string"}, handler.resolve_ref_schema(handler(schema))]}


def short_forms(value: object, key: str) -> Any:
    """``voltage: VOUT?`` means ``voltage: {ask: VOUT?}``."""
    if not isinstance(value, dict):
        return value
    return {name: {key: item} if isinstance(item, str) else item for name, item in value.items()}


class Mode(Query):
    """What says constant voltage and constant current: bits of a number, or words."""

    constant_voltage_bit: int | None = Field(default=None, ge=0, le=31)
    constant_current_bit: int | None = Field(default=None, ge=0, le=31)
    constant_voltage_word: str = ""
    constant_current_word: str = ""

    @classmethod
    def __get_pydantic_json_schema__(cls, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return handler(schema)

    @model_validator(mode="after")
    def _bits_or_words(self) -> Self:
        bits = {self.constant_voltage_bit, self.constant_current_bit} - {None}
        if bool(bits) == bool(self.modes):
            raise Wrong(
                "a mode is read from bits or from words",
                "give constant_voltage_bit and constant_current_bit, or the words",
            )
        voltage = self.constant_voltage_bit, self.constant_voltage_word
        if voltage == (self.constant_current_bit, self.constant_current_word):
            raise Wrong("constant voltage and constant current are the same", "write what tells them apart")
        return self

    @property
    def modes(self) -> dict[str, str]:
        """What words stand for, where there are words."""
        words = {self.constant_voltage_word: "CV", self.constant_current_word: "CC"}
        return {word: mode for word, mode in words.items() if word}

    @property
    def pattern(self) -> str:
        """The pattern of the whole reply."""
        return self.reply or (WORD if self.modes else PATTERNS[self.number])

    def of(self, bits: int) -> str:
        """CV, CC or nothing."""
        for name, bit in (("CV", self.constant_voltage_bit), ("CC", self.constant_current_bit)):
            if bit is not None and bits >> bit & 1:
                return name
        return ""


class ErrorQueue(Sheet):
    """How the error queue is read, and the pattern of the reply that means none."""

    ask: str = "SYST:ERR?"
    none: str = r"[+-]?0\b.*"

    @field_validator("ask")
    @classmethod
    def _can_be_sent(cls, text: str) -> str:
        return sendable(text, ())

    @field_validator("none")
    @classmethod
    def _is_a_pattern(cls, pattern: str) -> str:
        return a_pattern(pattern)
