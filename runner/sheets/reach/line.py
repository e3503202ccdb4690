"""How a line to an instrument is set, and which addresses there are."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, WithJsonSchema, field_validator, model_validator

from runner.notation.fields import Pause, Sheet, Timeout
from runner.notation.wrong import Wrong

ENDS = {"CR": "\r", "LF": "\n", "CR LF": "\r\n", "CRLF": "\r\n", "LF CR": "\n\r", "none": ""}
STOP_BITS = (1, 1.5, 2)
LONGEST_END = 4  # characters

# what PyVISA reaches, and Modbus; the backend has the last word
ADDRESSES = {
    "TCPIP": r"TCPIP\d*::[^:\s]+(::\d+)?::SOCKET|TCPIP\d*::[^:\s]+(::[^:\s]+)*(::INSTR)?",
    "ASRL": r"ASRL[^:\s]+(::INSTR)?",
    "USB": r"USB\d*(::[^:\s]+){3,4}(::(INSTR|RAW))?",
    "GPIB": r"GPIB\d*::\d+(::\d+)?(::INSTR)?",
    "PXI": r"PXI\d*::.+",
    "VXI": r"VXI\d*::.+",
    "PRLGX": r"PRLGX-[A-Z]+\d*::.+",
    "MODBUS": r"MODBUS::[^:\s]+::\d{1,5}|MODBUS::(/[^:\s]+|COM\d+)",
}


def _end(text: object) -> str:
    """A line end by its name, or as the characters themselves."""
    if isinstance(text, str) and (text in ENDS or text.upper() in ENDS):
        return ENDS.get(text, ENDS.get(text.upper(), ""))
    if not isinstance(text, str) or not text.isascii() or len(text) > LONGEST_END:
        raise Wrong(f"{'this' if text is None else repr(text)} is no line end", f"write one of {', '.join(ENDS)}")
    return text.encode().decode("unicode_escape") if text.startswith("\\") else text


End = Annotated[
    str,
    BeforeValidator(_end),
    WithJsonSchema(
        {"type": "string", "description": "a line end: CR, LF, CR LF, none, or its characters", "examples": ["CR"]}
    ),
]


class SerialLine(Sheet):
    """How a serial line is set. Ends, ``gap``, ``echo`` and the rest also hold behind a network-to-serial box.

    ``write_end`` follows every command and ``read_end`` every reply. Without a ``read_end``, a reply has a ``length`` in bytes, or
    ends when nothing has come for ``silence``. ``echo``: the instrument sends back what it hears. ``gap``: between the end of an
    exchange and the next command, as long as the kind of line needs where it is not given; ``wake``: from opening to the first
    command; ``quiet``: how long the line has to be silent after a fault before anything is asked, twice the time-out where it is
    not given.
    """

    baud: int = Field(default=9600, ge=50, le=4_000_000)
    data_bits: Literal[5, 6, 7, 8] = 8
    parity: Literal["none", "odd", "even", "mark", "space"] = "none"
    stop_bits: float = Field(default=1.0, json_schema_extra={"enum": list(STOP_BITS)})
    flow: Literal["none", "xon_xoff", "rts_cts", "dtr_dsr"] = "none"
    write_end: End = "\n"
    read_end: End = "\n"
    length: int = Field(default=0, ge=0, le=4096)
    silence: Pause = 0.05
    echo: bool = False
    gap: Pause | None = None
    wake: Pause = 0.0
    quiet: Timeout | None = None

    @field_validator("stop_bits")
    @classmethod
    def _as_a_line_has(cls, bits: float) -> float:
        if bits not in STOP_BITS:
            raise Wrong(f"{bits:g} stop bits cannot be set", "write 1, 1.5 or 2")
        return bits

    @model_validator(mode="after")
    def _can_end(self) -> Self:
        if not self.read_end and not self.length and self.silence < 0.005:
            raise Wrong("a reply without an end needs a silence of at least 5 ms", "give silence or length")
        return self


def address_problem(address: str) -> tuple[str, str] | None:
    """What is wrong with an address and what to do; None for one that a transport may try."""
    kind = next((each for each in ADDRESSES if address.upper().startswith(each)), "")
    if kind and re.fullmatch(ADDRESSES[kind], address, re.IGNORECASE):
        return None
    if kind == "MODBUS":
        return f"{address!r} is not a Modbus address", "write it like MODBUS::192.0.2.10::502 or MODBUS::/dev/ttyUSB0"
    if kind == "ASRL":
        return (
            f"{address!r} is not the address of a serial line",
            "write it like ASRL/dev/ttyUSB0::INSTR or ASRL3::INSTR",
        )
    example = "TCPIP::192.0.2.10::5025::SOCKET, ASRL/dev/ttyUSB0::INSTR or MODBUS::192.0.2.10::502"
    return f"{address!r} is not an address", f"write it like {example}"


def line_problems(address: str, line: SerialLine | None, given: Any) -> Iterator[tuple[str, str]]:
    """What of a ``serial:`` block does not fit an address: what, remedy. ``given``: the keys that were written."""
    kind = address.upper()
    if line is None or kind.startswith(("ASRL", "MODBUS::/", "MODBUS::COM")):
        return
    if not kind.endswith("::SOCKET"):
        yield f"{address} is no serial line", "remove serial:"
    wrong = sorted(set(given) & {"baud", "data_bits", "parity", "stop_bits", "flow"})
    if wrong and kind.endswith("::SOCKET"):
        yield f"{', '.join(wrong)} cannot be set through a network socket", "remove it; set it at the box"
