"""What is said of a ceiling that is passed, or that cannot be watched, and of a floor that may be."""

from __future__ import annotations

from runner.notation.quantity import hours_and_minutes
from runner.scale import as_read, degrees


def over(name: str, value: float, ceiling: float, unit: str, whose: str = "") -> str:
    """That a reading is over its ceiling; both in ``unit``. ``whose``: by which of several thermometers."""
    (now, read), (most, _) = as_read(value, unit), as_read(ceiling, unit)
    return f"{name} {_plain(now)} {read}{f' ({whose})' if whose else ''} is over its ceiling of {_plain(most)} {read}"


def _plain(value: float) -> str:
    """Four digits that count, and never a power of ten: a slip of the finger may be large."""
    return f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"


def took_too_long(seconds: float, rested: float, most: float) -> str:
    """That a run takes longer than it may (s); ``rested``: s of it that do not count."""
    counts = f"run time {hours_and_minutes(seconds - rested)}"
    if rested >= 60:
        counts += f" (without {hours_and_minutes(rested)} of waiting with everything off)"
    return f"{counts} is over its ceiling of {hours_and_minutes(most)}"


def too_cold(celsius: float, lowest: float) -> str:
    """That a sensor is colder than any may be (°C)."""
    return f"temperature {degrees(celsius, '.4g')} is below the lower limit of {degrees(lowest, '.4g')}"


def under_the_floor(volts: float, floor: float) -> str:
    """That a pack is discharged below its floor (V)."""
    return f"voltage {volts:.4g} V is below its floor of {floor:.4g} V"


def blind(instrument: str, name: str, seconds: float, *, on: bool) -> str:
    """That a ceiling could not be watched for so long (s) while something was on, or while a machine heated or cooled."""
    meanwhile = "with the output on" if on else "while the actuator heats or cools"
    return f"the {instrument} gave no valid {name} for {seconds:.0f} s {meanwhile}"


def look_at_the_load(volts: float, floor: float, seconds: float) -> str:
    """What whoever is at the load does when the terminals fall below the floor (V) in one step, and in how many seconds."""
    return (
        "Look at the load. If it draws current, switch it off now. If it has stopped, answer so. "
        f"The pack's terminals fell to {volts:.4g} V at once, below the floor of {floor:.4g} V; the run ends in {seconds:.0f} s."
    )
