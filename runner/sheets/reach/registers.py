"""Registers of a Modbus instrument, and the line of text that stands for one exchange with it.

The tables and their order of bytes are those of the MODBUS Application Protocol Specification V1.1b3. Which of two registers
comes first in a value of 32 bits it does not say: ``order`` does.
"""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from runner.notation.fields import Sheet
from runner.notation.wrong import Wrong

RegisterType = Literal["u16", "s16", "u32", "s32", "f32"]
READ_ONLY = ("input", "discrete")
BITS = ("coil", "discrete")
TABLES = ("holding", "input", "coil", "discrete")
MOST = 65535


class Register(Sheet):
    """Where a value is: the number of one register or bit, counted from 0, in one of four tables; and how it is written there.

    ``type``: u16, s16, u32, s32 or f32; ``order``: which register of a 32-bit value comes first, the high or the low one.
    """

    holding: int | None = Field(default=None, ge=0, le=MOST)
    input: int | None = Field(default=None, ge=0, le=MOST)
    coil: int | None = Field(default=None, ge=0, le=MOST)
    discrete: int | None = Field(default=None, ge=0, le=MOST)
    type: RegisterType = "u16"
    order: Literal["high", "low"] = "high"

    @property
    def tables(self) -> tuple[str, ...]:
        """The tables that are named; one, or none for a text."""
        return tuple(name for name in TABLES if getattr(self, name) is not None)

    @property
    def place(self) -> str:
        """The register as a line of text has it, such as ``holding 16 u32 high``; empty for a text."""
        if not self.tables:
            return ""
        table = self.tables[0]
        number = getattr(self, table)
        return f"{table} {number}" if table in BITS else f"{table} {number} {self.type} {self.order}"

    @model_validator(mode="after")
    def _one_table(self) -> Self:
        if len(self.tables) > 1:
            raise Wrong(f"a value is in one register, not in {' and '.join(self.tables)}", "remove all but one")
        number = getattr(self, self.tables[0]) if self.tables else 0
        if self.type.endswith("32") and number == MOST:
            raise Wrong("a 32-bit value needs two registers", "correct its number")
        return self
