"""What a step or a ceiling must not be on this pack at this bench: most return what is wrong, and what to do.

``where`` is the place in the pack sheet, as file and line.
"""

from __future__ import annotations

# ---- what is asked for, in the sentences below ------------------------------------------------------------------------


def a_ceiling(value: float, unit: str) -> str:
    """A ceiling of a procedure."""
    return f"a ceiling of {value:g} {unit}"


def a_floor(volts: float) -> str:
    """A floor of a step (V)."""
    return f"a floor of {volts:g} V"


def sets(amps: float) -> str:
    """What a step sets (A)."""
    return f"sets {amps:g} A"


def charges_to(volts: float) -> str:
    """Up to where a step charges (V)."""
    return f"charges to {volts:g} V"


def charges_with(value: float, unit: str) -> str:
    """What a step asks of the supply."""
    return f"charges with {value:g} {unit}"


def draws(amps: float) -> str:
    """What a step asks of the load (A)."""
    return f"draws {amps:g} A"


# ---- what no cell and no sensor is ever taken to ------------------------------------------------------------------------


def never(what: str, side: str, bound: float, cells: int, chemistry: str, where: str) -> tuple[str, str]:
    """Of a voltage on the wrong side of what a cell of this chemistry ever has: the bound of so many cells in series (V)."""
    text = f"{what} is {side} {bound:g} V, {bound / cells:g} V per cell, the limit for a cell of {chemistry}"
    return f"{text} ({cells} in series: {where})", "correct the value; beyond: does not lift this limit"


def not_for_a_sensor(what: str, low: float, high: float, where: str) -> tuple[str, str]:
    """Of a temperature outside what the sensors may have (°C)."""
    text = f"{what} is outside the allowed sensor range, {low:g} to {high:g} °C ({where})"
    return text, "correct it, or sensor_limits: in the pack sheet, if its maker allows it"


# ---- what the pack sheet allows -----------------------------------------------------------------------------------------


def not_allowed(what: str, allowed: float, unit: str, where: str, mark: str) -> tuple[str, str]:
    """Of a step that sets more than the pack sheet allows; ``mark``: what it would have to say if that is meant."""
    text = f"{what}, the pack sheet allows {allowed:g} {unit} ({where})"
    return text, f"set less, or in a test of over-{mark} mark the step with beyond: {mark}"


def floor_too_low(floor: float, allowed: float, where: str) -> tuple[str, str]:
    """Of a floor below the cut-off voltage (V) where that is not tested."""
    what = f"floor {floor:g} V is below the {allowed:g} V that the pack sheet allows outside an under-voltage test ({where})"
    return what, "write cut-off voltage, or more"


def beyond_until(until: str) -> tuple[str, str]:
    """Of a voltage beyond full in a step that ends on something else than a trip."""
    return f"beyond: voltage on a step that goes on until {until}", "write until: stopped"


def beyond_too_long(seconds: float) -> tuple[str, str]:
    """Of levels beyond the largest current that do not end on a trip, or last longer than they may (s)."""
    what = f"levels marked beyond: current must stop at a trip and last at most {seconds:g} s"
    return what, "write until: stopped, and a shorter dwell"


def beyond_the_margin(amps: float, most: float) -> tuple[str, str]:
    """Of a current beyond the trip by more than it may be (A)."""
    what = f"{sets(amps)}; at most {most:g} A is allowed (the upper limit of the trip and 25 %)"
    return what, "set a lower value; beyond: does not allow more"


def may_trip(amps: float, lowest: float, protection: str, where: str) -> tuple[str, str]:
    """Of a current (A) at which another protection than the one that is tested may trip."""
    what = f"{sets(amps)}, at which the pack's own {protection} may trip ({where})"
    return what, f"set less than {lowest:g} A"


# ---- what could not be seen ---------------------------------------------------------------------------------------------


def told_from_open(amps: float, residual: float, least: float, where: str) -> tuple[str, str]:
    """Of a current too close to what flows through an open path (A)."""
    what = f"{sets(amps)}, and {residual:g} A flow through an open path ({where}): a trip could not be seen"
    return what, f"set at least {least:g} A"


def too_small(amps: float, role: str, smallest: float) -> tuple[str, str]:
    """Of a current that an instrument cannot tell from none (A)."""
    what = f"{sets(amps)}, the {role} cannot tell {smallest:g} A from none (its current_accuracy)"
    return what, "use an instrument with a smaller range"


def not_to_full(volts: float, full: float) -> tuple[str, str]:
    """Of a charge before a capacity test that ends below full (V)."""
    what = f"a capacity test must charge to the full charge voltage of {full:g} V, not to {volts:g} V"
    return what, "write full charge voltage"


def end_too_early(amps: float, most: float) -> tuple[str, str]:
    """Of an end current (A) at which a pack is not full for a capacity test."""
    what = f"end_current {amps:g} A is too high for a full charge before a capacity test"
    return what, f"write {most:g} A or less"


def levels_downwards() -> tuple[str, str]:
    """Of a staircase that ends below where it begins."""
    return "the last level is below the first", "raise to, or lower from"


def too_many_levels(most: int) -> tuple[str, str]:
    """Of a staircase of currents with more than so many levels."""
    return f"the staircase would have more than {most} levels", "use a larger step"


def ceiling_comes_first(kind: str, celsius: float, ceiling: float) -> tuple[str, str]:
    """Of a temperature that a step waits for beyond the ceiling (°C)."""
    what = f"{kind} up to {celsius:g} °C, but the procedure's ceiling is {ceiling:g} °C"
    return what, "lower it, or raise ceilings: temperature, if pack sheet and a qualified person allow it"


# ---- what the bench gives -----------------------------------------------------------------------------------------------


def leads_too_thin(procedure: str, amps: float, carry: float) -> tuple[str, str]:
    """Of a current that leads must not carry (A)."""
    return f"the procedure {procedure} {sets(amps)}, the leads carry {carry:g} A", "use thicker leads"


def load_too_small(takes: float, full: float, where: str) -> tuple[str, str]:
    """Of a load for less than the pack's voltage (V)."""
    what = f"the load takes {takes:g} V at most, the pack has up to {full:g} V ({where})"
    return what, "use a load that fits"


def over_its_ceiling(what: str, highest: str) -> tuple[str, str]:
    """Of a step that asks for more than its procedure's own ceiling."""
    text = f"a step {what}, the procedure's own ceiling is {highest}"
    return text, "set less (or raise the ceiling, if a qualified person agrees)"


def over_the_bench(procedure: str, what: str, highest: str, role: str) -> tuple[str, str]:
    """Of a step that asks for more than an instrument of the bench may give."""
    text = f"the procedure {procedure} {what}, but at most {highest} is allowed"
    return text, f"set less in the procedure (or raise the limit, if {role} and pack allow it)"
