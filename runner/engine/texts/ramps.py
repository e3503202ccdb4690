"""What is said where a sensor is heated or cooled: what to do, how a ramp ended, what is odd about marks and readings."""

from __future__ import annotations

from runner.scale import degrees, per_minute
from runner.vocabulary import Until

# ---- why a ramp could show nothing ----------------------------------------------------------------------------------

EVERYTHING_OFF = "everything was off, so a change of the current could not be detected"
NO_CURRENT_BEFORE = "no current flowed before the ramp, so a trip could not be detected"
CURRENT_BEFORE = "current already flowed before the ramp, so the release could not be detected"


def already_beyond(celsius: float, give_up: float) -> str:
    """That a sensor was beyond the end of a ramp before it began (°C)."""
    return f"{degrees(celsius)} was already beyond {degrees(give_up)} when the ramp began"


# ---- how a ramp ended ----------------------------------------------------------------------------------------------


def nothing_by(sought: str, celsius: float) -> str:
    """That the current neither stopped nor came back, whichever was sought, by a temperature (°C)."""
    word = "trip" if sought == Until.STOPPED else "release"
    return f"did not {word} by {degrees(celsius)}"


def less_flowed(celsius: float, why: str) -> str:
    """That only a part of the current flowed at the end of a ramp (°C), by the watcher's reason."""
    return f"less current flowed at {degrees(celsius)}: not a trip, and not the full current: {why}"


def no_trip(why: str) -> str:
    """That a current which went down was no trip, by the watcher's reason."""
    return f"not judged as a trip: {why}"


# ---- what to do ----------------------------------------------------------------------------------------------------

REACHED = "The temperature is reached. Nothing to do."

_PACK = "the pack"  # where no sensor is named
_ACTUATOR = {
    "heat": "The actuator heats {where}{rate}.",
    "cool": "The actuator cools {where}{rate}.",
    "hold": "The actuator holds the temperature of {where}.",
    "still": "The actuator stops heating and cooling {where}.",
}


def take_away(sensor: str, *, now: bool = False) -> str:
    """What whoever heats or cools ``sensor`` ("" is the pack) is told to do; ``now``: the run ends, and this comes first."""
    return f"Remove heat and ice from {sensor or _PACK}{' now' if now else ''}."


def actuator(action: str, sensor: str, rate: float) -> str:
    """What an actuator does at ``sensor`` ("" is the pack), at a rate (K/s) or, with 0, freely."""
    at = f" at {per_minute(rate, '.3g')}" if rate else ""
    return _ACTUATOR[action].format(where=sensor or _PACK, rate=at)


def to_the_beginning(action: str, sensor: str, celsius: float) -> str:
    """Heat or cool quickly to where the slow ramp begins (°C)."""
    return f"{action.capitalize()} {sensor} quickly to {degrees(celsius, '.0f')}. The slow ramp starts there."


def mark_degrees(first: float) -> str:
    """When Enter is pressed where a person reads the thermometer: from this temperature (°C) on."""
    return f"Press Enter as the thermometer reaches {degrees(first, '.0f')}, and then at each whole degree."


def keep_away(sensor: str) -> str:
    """That nobody heats or cools while readings are lost."""
    return f"A reading is missing. Keep heat and ice away from {sensor} until it is back."


def bring_back_title(sensor: str) -> str:
    """The title of the step that comes before a ramp is done again."""
    return f"Bring {sensor} back"


def bring_back(action: str, sensor: str, celsius: float) -> str:
    """To where (°C) a sensor is brought before a ramp is done again."""
    return (
        f"Readings were lost, so this ramp is repeated. {action.capitalize()} {sensor} to "
        f"{degrees(celsius, '.0f')} and continue until current flows."
    )


def not_brought_back(limit: float) -> str:
    """That a sensor was not brought back in a time (s)."""
    return f"the sensor did not reach the start temperature for a repeat within {limit / 60:.0f} min"


def not_reached(title: str, limit: float) -> str:
    """That a temperature which was waited for did not come in a time (s)."""
    return f"{title}: not reached within {limit / 60:.0f} min"


# ---- past the release of a protection that may still be tripped -----------------------------------------------------


def still_tripped(volts: tuple[float, float] | None) -> str:
    """That nothing flows though the sensor is past its release; ``volts``: of supply and pack, where both are read."""
    at = "" if volts is None else f" (supply {volts[0]:.2f} V, pack {volts[1]:.2f} V)"
    return f"No current: the pack is still tripped, or a lead is off{at}. Touch no lead while the output is on."


def past_its_release(action: str, sensor: str, side: str, celsius: float) -> str:
    """To where (°C) a sensor is brought so that its protection lets go."""
    return f"No current yet. {action.capitalize()} {sensor} {side} {degrees(celsius, '.0f')}."


# ---- what is odd or missing ------------------------------------------------------------------------------------------

NO_READING = "no reading"


def marked_backwards(celsius: float, before: float) -> str:
    """That a mark (°C) came after one that lies beyond it."""
    return f"{degrees(celsius, '.0f')} was marked after {degrees(before, '.0f')}: the later mark counts."


def odd_mark(celsius: float, *, twice: bool) -> str:
    """That a mark (°C) came sooner than a degree can (``twice``), or later."""
    what = "A degree may be marked twice" if twice else "A degree may be missed"
    return f"{what} at {degrees(celsius, '.0f')}: compare with the thermometer, and give the degree that it shows."


def actuator_lost(why: str) -> str:
    """That the machine that heats and cools cannot be read."""
    return f"the actuator cannot be read: {why}"


def temperature_lost(seconds: float, why: str) -> str:
    """That the temperature was not read for so long (s)."""
    return f"no valid temperature for {seconds:.1f} s: {why}"


def nobody_marks(seconds: float, action: str, sensor: str) -> str:
    """That the person who reads the thermometer has not marked it for so long (s)."""
    return f"no thermometer mark for {seconds / 60:.0f} min during a ramp ({action} {sensor})"


def stands_still(celsius: float, seconds: float) -> str:
    """That the thermometer does not move in the last digit (°C, s) while its sensor is heated or cooled."""
    stands = degrees(celsius, ".6g")
    return f"the thermometer has shown exactly {stands} for {seconds:.0f} s of a ramp; check the probe"
