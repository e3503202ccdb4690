"""What procedure, pack sheet and bench file do not agree on: each returns what is wrong in one of them, and what to do."""

from __future__ import annotations

from collections.abc import Sequence

from runner.notation.quantity import shown

# ---- procedure and pack sheet -------------------------------------------------------------------------------------------


def no_such_protection(protection: str, key: str, procedure: str) -> tuple[str, str]:
    """Of a pack sheet without the protection that a procedure tests: its name, and its key."""
    what = f"declares no {protection}, which the procedure {procedure} tests"
    return what, f"add {key}: with trip, tolerance and delay from the data sheet"


def names_no_sensors() -> tuple[str, str]:
    """Of a temperature protection without sensors."""
    return "names no sensors", "add sensors: all, or [T1, T2]"


def no_such_sensor(name: str, known: Sequence[str]) -> tuple[str, str]:
    """Of a sensor asked for by name that the protection has not got."""
    return f"--sensor {name} is not one of its sensors", f"choose one of {', '.join(known) or 'none'}"


def no_curve(sensor: str, pack: str) -> tuple[str, str]:
    """Of a decade box for a sensor whose curve nobody has given; ``pack``: the file."""
    whose = f"sensor {sensor}" if sensor else "a sensor"
    what = f"puts a decade box in the place of {whose}, whose curve the pack sheet does not give"
    return what, f"add curve: to the sensor in {pack}"


def outside_the_curve(why: str) -> tuple[str, str]:
    """Of a level that the curve of a sensor does not reach."""
    return why, "stay inside, or extend the table"


def not_declared(names: Sequence[str], pack: str) -> tuple[str, str]:
    """Of values that an expression names and the pack sheet does not have; ``pack``: the file."""
    return f"needs {', '.join(names)}, which the pack sheet does not declare", f"add it to {pack}"


def no_number(expression: str) -> tuple[str, str]:
    """Of an expression without a value on this pack."""
    return f"{expression} has no value on this pack", "look for a division by zero"


def not_positive(expression: str, value: float, dimension: str) -> tuple[str, str]:
    """Of an expression whose value (SI) has to be more than zero."""
    what = f"{expression} comes to {shown(value, dimension)} on this pack; it must be greater than 0"
    return what, "correct it, or the pack sheet"


# ---- the procedure by itself --------------------------------------------------------------------------------------------


def too_many_steps(most: int) -> tuple[str, str]:
    """Of repeats that become more steps than a procedure may have."""
    return f"the procedure has more than {most} steps once its repeats are written out", "repeat less often"


def too_many_levels(most: int) -> tuple[str, str]:
    """Of a staircase of a decade box with more than so many levels."""
    return f"the staircase would have more than {most} levels", "make step larger"


# ---- procedure and bench file -------------------------------------------------------------------------------------------


def missing(role: str, procedure: str) -> tuple[str, str]:
    """Of an instrument that the bench has not got."""
    return f"has no {role}, which the procedure {procedure} needs", f"add {role}: with its address"


def needs_an_address(role: str, procedure: str) -> tuple[str, str]:
    """Of an instrument by hand where a person is too slow."""
    what = f"the procedure {procedure} needs a {role} with an address (a person is too slow)"
    return what, "give its address, or leave this procedure out"


def of_the_procedure(procedure: str, what: str) -> str:
    """What is wrong at this bench with a procedure, by its name."""
    return f"the procedure {procedure}: {what}"


def other_dimension(instrument: str, given: str, wanted: str) -> tuple[str, str]:
    """Of a reading taken from an instrument that reads something else."""
    return f"{instrument} gives a {given}, the reading is a {wanted}", "name another instrument"


def current_does_not_fit(kind: str, why: str) -> tuple[str, str]:
    """Of a step for whose least current something is too small."""
    return f"{kind} {why}", "use a bench that can do more, or leave this procedure out"


def least_does_not_fit(needed: float, fits: float, why: str) -> str:
    """Why the least current of a step does not fit (A)."""
    return f"needs at least {shown(needed, 'current')}, but not more than {shown(fits, 'current')} fits ({why})"


ADD_A_SUPPLY = "add supply: with its address, or leave this procedure out"

# ---- bench file and pack sheet ------------------------------------------------------------------------------------------


def charger_voltage(gives: float, allowed: float) -> tuple[str, str]:
    """Of a charger that gives more than the pack may have (V)."""
    return f"the charger gives {gives:g} V, the pack sheet allows {allowed:g} V", "use a charger for this pack"


def charger_too_low(gives: float, nominal: float) -> tuple[str, str]:
    """Of a charger whose voltage is no more than the pack has by itself (V)."""
    return f"the charger gives {gives:g} V, the pack has {nominal:g} V by itself", "use a charger for this pack"


def charger_current(gives: float, allowed: float) -> tuple[str, str]:
    """The same in A."""
    return f"the charger gives {gives:g} A, the pack sheet allows {allowed:g} A", "use a smaller charger"


def probe_elsewhere(probe: str, sensor: str, known: Sequence[str], *, reference: bool) -> tuple[str, str]:
    """Of a further probe at a sensor, or the ``reference`` of one, that the pack has not got."""
    what = f"the probe {probe} is {'the reference of' if reference else 'at'} {sensor}, which the pack does not have"
    return what, f"choose one of: {', '.join(known) or 'none'}"


def meter_elsewhere(meter: str, cell: int, cells: int) -> tuple[str, str]:
    """Of a further voltmeter at a cell that the pack has not got."""
    what = f"the meter {meter} is at cell {cell}; the pack has {cells} cells in series"
    return what, "correct one of the two"
