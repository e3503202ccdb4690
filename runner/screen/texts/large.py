"""The large letters, and the line that says what is switched on. Each order in several wordings, the fullest first."""

from __future__ import annotations

from runner.scale import as_read, resistance
from runner.vocabulary import Observed, Role

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
_PACK = "PACK"  # where no sensor is named

HEAT, COOL, HOLD = "HEAT", "COOL", "HOLD"
ACTUATOR_HEATS, ACTUATOR_COOLS = "ACTUATOR HEATS", "ACTUATOR COOLS"
ON, OFF = "ON", "OFF"

TAKE_AWAY = ("HEAT AND ICE AWAY",)
READ_CAUTIONS = ("READ, THEN ENTER",)
CHECK = ("CHECK, THEN ENTER",)
CHOOSE = ("CHOOSE, THEN ENTER",)
WAIT = ("WAIT",)
STOPPING = ("STOP: WAIT FOR OFF",)
LEAVE = ("LEAVE THE RUN?",)
OVER = ("THE BENCH IS OFF",)


def at(verb: str, sensor: str, rate: float) -> tuple[str, ...]:
    """A verb at a sensor, with its rate (K/s) where it has one."""
    value, unit = as_read(rate * 60, "K/min")
    said = f" {value:.2g} {unit.upper()}" if rate else ""
    return f"{verb} {sensor.upper() or _PACK}{said}", f"{verb}{said}", verb


def fast(verb: str, sensor: str) -> tuple[str, ...]:
    """The same as fast as it goes."""
    return f"{verb} {sensor.upper() or _PACK} FAST", f"{verb} FAST"


def actuator(verb: str, sensor: str) -> tuple[str, ...]:
    """What the actuator does, at which sensor."""
    return f"{verb} {sensor.upper()}".strip(), verb


def switch(role: str, how: str) -> tuple[str, ...]:
    """An instrument to be switched on or off."""
    return f"SWITCH {_role(role)} {how}", f"SWITCH {how}"


def not_off(role: str) -> tuple[str, ...]:
    """What did not go off; ``role``: where it is one instrument."""
    return (*((f"SWITCH {_role(role)} OFF",) if role else ()), "SWITCH OFF BY HAND")


def read(role: str) -> tuple[str, ...]:
    """An instrument to be read, where it is known which."""
    return (f"READ {_ROLES[role]}" if role in _ROLES else "READ, THEN TYPE",)


def mark(moment: str) -> tuple[str, ...]:
    """A moment to be marked."""
    return (_MOMENTS.get(moment, "MARK IT: ENTER"),)


def box(ohms: float) -> tuple[str, ...]:
    """A resistance (Ω) to be set."""
    return f"BOX {resistance(ohms)}", f"BOX {ohms / 1000:.5g} KΩ", "SET THE BOX"


def _role(role: str) -> str:
    return _ROLES.get(role, role.upper())


# ---- what is switched on ---------------------------------------------------------------------------------------------

NO_SWITCH = "nothing here can be switched"
IS_ON, IS_OFF = "ON", "off"
UNORDERED = "ON WITHOUT AN ORDER"
NOT_CONFIRMED = "NOT CONFIRMED OFF"


def on_in(mode: str) -> str:
    """That a supply is on, and its mode (CC, CV)."""
    return f"ON {mode}"


def switch_is(role: str, how: str, *, by_hand: bool) -> str:
    """How a switch stands; ``by_hand``: a person has it in hand."""
    return f"{role} {how}{' (by hand)' if by_hand else ''}"
