"""What instruments of few words leave to a person, and what they cannot report: said before a run and on its certificate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from runner.engine.program import Program
from runner.sheets.dialect import Dialect
from runner.sheets.instruments import facts_of

KNOBS = {"set_overvoltage": ("over-voltage", "V"), "set_overcurrent": ("over-current", "A")}
UNREAD = {
    "voltage_setting": "its set voltage",
    "current_setting": "its set current",
    "overvoltage_setting": "its over-voltage limit",
    "overcurrent_setting": "its over-current limit",
    "output": "whether its output is off",
    "input": "whether its input is off",
}


def with_words(program: Program, dialects: Mapping[str, Dialect]) -> Program:
    """The program, with what its dialects have no words for."""
    knobs, unread, looked_at = list[str](), list[str](), list[str]()
    supply = dialects.get("supply")
    if supply is not None:
        limits = zip(KNOBS.items(), program.protect, strict=True)
        knobs = [
            f"Set the {what} limit of the supply to {value:.1f} {unit} by hand."
            for (name, (what, unit)), value in limits
            if name not in supply.commands
        ]
    for role, dialect in dialects.items():
        off = facts_of(role).off
        if off is not None and off[1] in dialect.unread:
            looked_at.append(role)
        if names := [UNREAD[name] for name in dialect.unread if name in UNREAD]:
            listed = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
            unread.append(f"The {role} cannot report {listed}: not read back.")
        if role in looked_at and facts_of(role).carries:
            unread.append(
                f"If somebody switched the {role} on at its front, only its own current reading would show it."
            )
    return replace(program, knobs=tuple(knobs), unread=tuple(unread), looked_at=tuple(looked_at))
