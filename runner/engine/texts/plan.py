"""What a plan says: its lines, why a procedure comes where it does or is left out, and what was fitted to pack and bench."""

from __future__ import annotations

from collections.abc import Sequence

from runner.notation.quantity import hours_and_minutes, shown

WIDTH = 10  # columns of a planned time
NAMES = {
    "probe": "thermometer (probe)",
    "meter": "voltmeter (meter)",
    "box": "decade box (box)",
}  # roles as people read them

# ---- the lines ----------------------------------------------------------------------------------------------------------


def headline(count: int, seconds: float) -> str:
    """How many procedures there are, and about how long they take (s)."""
    return f"PLAN: {count} procedure{'' if count == 1 else 's'}, about {hours_and_minutes(seconds)}"


def line(number: int, name: str, seconds: float, why: str, *, added: bool) -> str:
    """One procedure with its time (s) and the reason for its place; ``added``: nobody asked for it by name."""
    return f"  {number:2} {name:31} {hours_and_minutes(seconds):>{WIDTH}}  {why}{' (added)' if added else ''}"


def note(said: str) -> str:
    """What was fitted in the procedure of the line above."""
    return f"     {'':31} {'':>{WIDTH}}  {said}"


def to_agree(said: str) -> str:
    """What a person will be asked to agree to before the procedure begins, or to leave it out."""
    return f"you will be asked to agree: {said}"


def left_out(name: str, why: str) -> str:
    """A procedure that is not in the plan."""
    return f"   – {name:31} left out: {why}"


# ---- why a procedure is where it is ---------------------------------------------------------------------------------------

AT_THE_START = "at the start: no current"
AT_THE_END = "at the end: empties the pack"
ANY_CHARGE = "any state of charge"
BRINGS_THERE = "brings the pack to the state of charge that the next ones need"
DISCHARGES = "discharges the pack for the next ones"


def needs_charge(lowest: float, highest: float, assumed: float) -> str:
    """Between which states of charge a procedure runs, and which is assumed (ratios)."""
    return f"needs {100 * lowest:.0f} to {100 * highest:.0f} % charge; assumed: {100 * assumed:.0f} %, not measured"


# ---- why it is left out ---------------------------------------------------------------------------------------------------


def not_declared(protection: str) -> str:
    """That the pack sheet does not have the protection."""
    return f"the pack sheet declares no {protection}"


def not_there(roles: Sequence[str]) -> str:
    """That the bench has not got these instruments."""
    return f"the bench has no {' and no '.join(NAMES.get(role, role) for role in roles)}"


def needs_an_address(roles: Sequence[str]) -> str:
    """That a person is too slow for these instruments."""
    return f"needs {' and '.join(roles)} with an address (a person is too slow)"


def no_curve(sensors: Sequence[str]) -> str:
    """That a decade box cannot stand for these sensors."""
    return f"the pack sheet gives no curve of {', '.join(sensors)}"


def not_brought_there(charge: float) -> str:
    """That nothing brings the pack from a state of charge (a ratio) to where what is left could run."""
    return f"no procedure can bring the pack from about {100 * charge:.0f} % to the required state of charge"


# ---- what was fitted ------------------------------------------------------------------------------------------------------

CHARGER_INSTEAD = (
    "The charger takes the place of a supply; the clamp goes around one of its leads. Switch it on and off only when the program "
    "tells you to."
)


def fitted(path: str, amps: float, wanted: float, why: str) -> str:
    """That a current on a path is smaller than a procedure asks for (A)."""
    return f"{path} current {shown(amps, 'current')} instead of {shown(wanted, 'current')}: {why}"


def on_the_sheet(path: str, amps: float) -> str:
    """That the pack sheet allows no more on a path (A)."""
    return f"maximum {path} current {shown(amps, 'current')} on the pack sheet"


def may_trip(protection: str, amps: float) -> str:
    """That a protection of the pack may trip above this (A)."""
    return f"the pack's own {protection} may trip at {shown(amps, 'current')}"


def limit_of(role: str, amps: float) -> str:
    """That an instrument gives no more (A)."""
    return f"{role} limit {shown(amps, 'current')}"


def leads_carry(role: str, amps: float) -> str:
    """That its leads carry no more (A)."""
    return f"leads of the {role} carry {shown(amps, 'current')}"


def ceiling_raised(procedure: str, ceiling: float, raised: float, gives: float | None, draws: float | None) -> str:
    """That a ceiling of the current is higher than the procedure's, for what a charger gives or a load draws (A)."""
    needs = [] if gives is None else [f"the charger gives {shown(gives, 'current')}"]
    needs += [] if draws is None else [f"the load draws {shown(draws, 'current')}"]
    return (
        f"the procedure {procedure} ends at {shown(ceiling, 'current')}, {' and '.join(needs)}: "
        f"with that it would end only at {shown(raised, 'current')}"
    )


# ---- values that a procedure's own texts name -----------------------------------------------------------------------------

THE_SENSOR = "the sensor"
NO_LIMIT = "(no limit)"
NO_RELEASE = "(no release declared)"
NO_RESISTANCE = "(no resistance declared for 25 °C)"


def not_declared_here(name: str) -> str:
    """In place of a value that the pack sheet does not have."""
    return f"(no {name} declared)"


def between(low: float, high: float, dimension: str) -> str:
    """In place of a trip that is known by its limits only."""
    return f"{shown(low, dimension)} to {shown(high, dimension)}"


def second_probe(place: str, probe: str) -> str:
    """The place of a sensor that has a second probe."""
    return f"{place}; probe {probe} goes on it too, on the other side"
