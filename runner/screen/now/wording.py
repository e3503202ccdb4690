"""What is to be done in at most MOST characters, for the large letters; and the line that says what is switched on.

Each has several wordings, the fullest first; the first that fits is taken.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from runner.scale import as_read
from runner.screen.now.to_do import SwitchState, ToDo, Verb
from runner.screen.widgets.big_text import KNOWN, columns
from runner.vocabulary import Observed, Role

MOST, WIDEST = 20, 80  # characters, and columns of a narrow terminal
_ROLES: dict[str, str] = {
    Role.DISPLAY: "PACK DISPLAY",
    Role.METER: "VOLTMETER",
    Role.PROBE: "THERMOMETER",
    Role.CLAMP: "CLAMP",
    Role.COUNTER: "ENERGY METER",
    Role.SUPPLY: "SUPPLY",
    Role.LOAD: "LOAD",
    Role.CHARGER: "CHARGER",
}
_MOMENTS: dict[str, str] = {
    Observed.LOAD_STOPPED: "LOAD STOPS: ENTER",
    Observed.CAME_BACK: "PACK BACK: ENTER",
    Observed.CURRENT_GONE: "CURRENT GONE: ENTER",
    Observed.CURRENT_BACK: "CURRENT BACK: ENTER",
}


def _at(verb: str) -> Callable[[ToDo], list[str]]:
    """A verb at a sensor, with its rate where it has one."""

    def worded(do: ToDo) -> list[str]:
        where = do.what.upper() or "PACK"
        value, unit = as_read(do.value * 60, "K/min")
        rate = f" {value:.2g} {unit.upper()}" if do.value else ""
        return [f"{verb} {where}{rate}", f"{verb}{rate}", verb]

    return worded


def _fast(verb: str) -> Callable[[ToDo], list[str]]:
    return lambda do: [f"{verb} {do.what.upper() or 'PACK'} FAST", f"{verb} FAST"]


def _switch(how: str) -> Callable[[ToDo], list[str]]:
    return lambda do: [f"SWITCH {_ROLES.get(do.what, do.what.upper())} {how}", f"SWITCH {how}"]


def _read(do: ToDo) -> list[str]:
    return [f"READ {_ROLES[do.what]}"] if do.what in _ROLES else ["READ, THEN TYPE"]


_WORDS: dict[Verb, Callable[[ToDo], list[str]]] = {
    Verb.HEAT: _at("HEAT"),
    Verb.COOL: _at("COOL"),
    Verb.HEAT_FAST: _fast("HEAT"),
    Verb.COOL_FAST: _fast("COOL"),
    Verb.HOLD: _at("HOLD"),
    Verb.TAKE_AWAY: lambda do: ["HEAT AND ICE AWAY"],
    Verb.MACHINE_HEATS: lambda do: [f"ACTUATOR HEATS {do.what.upper()}".strip(), "ACTUATOR HEATS"],
    Verb.MACHINE_COOLS: lambda do: [f"ACTUATOR COOLS {do.what.upper()}".strip(), "ACTUATOR COOLS"],
    Verb.READ_CAUTIONS: lambda do: ["READ, THEN ENTER"],
    Verb.CHECK: lambda do: ["CHECK, THEN ENTER"],
    Verb.READ: _read,
    Verb.CHOOSE: lambda do: ["CHOOSE, THEN ENTER"],
    Verb.MARK: lambda do: [_MOMENTS.get(do.what, "MARK IT: ENTER")],
    Verb.SET_BOX: lambda do: [f"BOX {do.value:.6g} Ω", f"BOX {do.value / 1000:.5g} KΩ", "SET THE BOX"],
    Verb.SWITCH_ON: _switch("ON"),
    Verb.SWITCH_OFF: _switch("OFF"),
    Verb.WAIT: lambda do: ["WAIT"],
    Verb.STOPPING: lambda do: ["STOP: WAIT FOR OFF"],
    Verb.LEAVE: lambda do: ["LEAVE THE RUN?"],
    Verb.NOT_OFF: lambda do: [
        *([f"SWITCH {_ROLES.get(do.what, do.what.upper())} OFF"] if do.what else []),
        "SWITCH OFF BY HAND",
    ],
    Verb.OVER: lambda do: ["THE BENCH IS OFF"],
}


def in_large(do: ToDo) -> str:
    """What is to be done, in the letters that are drawn: at most MOST of them, and no wider than WIDEST."""
    worded = _WORDS[do.verb](do)
    fitting = (text for text in worded if len(text) <= MOST and KNOWN.issuperset(text) and columns(text) <= WIDEST)
    return next(fitting, worded[-1])


def switch_line(switches: Sequence[SwitchState], mode: str) -> str:
    """Every switch and how it stands; ``mode`` (CC, CV) is what the supply says of itself."""
    return " · ".join(_state(each, mode) for each in switches) or "nothing here can be switched"


def _state(switch: SwitchState, mode: str) -> str:
    if switch.unordered:
        how = "ON WITHOUT AN ORDER"
    elif switch.on is None:
        how = "NOT CONFIRMED OFF"
    elif switch.on and switch.role == Role.SUPPLY and mode in ("CC", "CV"):
        how = f"ON {mode}"
    else:
        how = "ON" if switch.on else "off"
    return f"{switch.role} {how}{' (by hand)' if switch.by_hand else ''}"
