"""What is said where one thing is changed level by level: a current, a decade box; and where a path is tried again."""

from __future__ import annotations

from runner.notation.quantity import shown
from runner.scale import resistance

NOT_READ = "the current was not read while it was on: nothing is known of it"
NO_CURRENT = "no current: the pack has not recovered from a trip, or a lead is off"
EVERY_LEVEL_HELD = "every level was held"
LOAD_DRAWS_NOTHING = "the load draws no current; once everything is off, check the load and its leads"
CONDUCTS_AGAIN = "the pack conducts again"
BOX_SET = "decade box set"


def at_level(say: str, amps: float) -> str:
    """What is done now, with the current of this level (A)."""
    return f"{say} Set to {amps:.4g} A."


def did_not_trip(amps: float) -> str:
    """That the pack did not stop the highest current (A)."""
    return f"did not trip by {amps:.4g} A"


def did_not_release(volts: float) -> str:
    """That a path was not back by a voltage (V)."""
    return f"did not release by {volts:.2f} V"


def no_release(limit: float) -> str:
    """That a path was not back in a time (s)."""
    return f"no release within {shown(limit, 'time')}"


def gone_at_once(amps: float) -> str:
    """That a current (A) was read, and was gone before anything could be said of it."""
    return f"{amps:.3g} A were read and were gone too soon to be judged: the readings are too far apart for this delay"


def no_reading(seconds: float) -> str:
    """That nobody knows whether a path is back: the current was not read for so long (s)."""
    return f"no current reading for {seconds:.0f} s: it is not known whether the pack conducts again"


def already(title: str, sought: str) -> str:
    """That what a step looks for had happened before it began."""
    return f"{title}: the current had already {sought}"


def set_the_box(say: str, ohms: float, celsius: float) -> str:
    """To what a decade box is set: a resistance (Ω), and the temperature (°C) that it stands for."""
    level = f"{resistance(ohms)} ({shown(celsius, 'temperature')})"
    return f"{say} Set the decade box to {level}, the smallest knob first."


def mark_the_last_knob(say: str) -> str:
    """The same as a question: when Enter is pressed."""
    return f"{say} Press Enter as you turn the last knob."
