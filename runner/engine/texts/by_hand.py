"""What a person is asked and told where they switch charger and load, and read clamp, voltmeter, counter and thermometer.

Values come in SI; they are worded here as people read them. Nothing here decides anything, and nothing is read back.
"""

from __future__ import annotations

from runner.engine.texts import ends
from runner.notation.quantity import shown
from runner.scale import degrees
from runner.vocabulary import CURRENT_KEY, Answer, Until

# ---- switching -----------------------------------------------------------------------------------------------------

CHARGER_OFF = "Switch the charger off and press Enter."
LOAD_OFF = "Switch the load off and press Enter."


def stay(seconds: float) -> str:
    """What a person is told until a reading that is due in so many s."""
    due = f"{seconds:.0f} s" if seconds < 120.0 else f"{seconds / 60.0:.0f} min"
    return f"Stay with the pack. The next reading is due in {due}."


def charger_off(why: str) -> str:
    """The order to switch the charger off; ``why`` the charge ends, where that is no news to be glad of."""
    return f"{CHARGER_OFF} The charge ends here: {why}." if why else CHARGER_OFF


def charger_on(voltage: float, current: float) -> str:
    """The order to switch a charger on that gives these values (V, A)."""
    gives = f"({shown(voltage, 'voltage')}, about {shown(current, 'current')})"
    return f"Keep clear. Switch the charger on and press Enter at the same moment {gives}."


def load_on(current: float) -> str:
    """The order to set (A) and switch on a load."""
    return f"Set the load to {shown(current, 'current')}. Keep clear. Switch it on and press Enter at the same moment."


def load_on_to_the_end(current: float, floor: float, trip: float | None) -> str:
    """The same for a discharge (A) to the cut-off, what to expect, and where (V) a person ends it: nobody else does."""
    cuts_off = "" if trip is None else f" The pack cuts off near {shown(trip, 'voltage')}."
    return (
        f"Set the load to {shown(current, 'current')}. Keep hands off the terminals. "
        "Switch the load on and press Enter at the same moment."
        f"{cuts_off} Switch it off by hand below {shown(floor, 'voltage')}."
    )


def off_now(role: str) -> str:
    """What a person has to do at once with something that may be on."""
    return f"SWITCH THE {role.upper()} OFF BY HAND."


def confirm_off(role: str, *, away: str = "", ends: str = "") -> str:
    """The question whose answer confirms that something switched by hand is off.

    ``away``: what comes first; ``ends``: why the run ends early, and it is urgent.
    """
    order = off_now(role) if ends else f"Switch the {role} off."
    why = f"The run ends: {ends}." if ends else ""
    return " ".join(part for part in (away, order, "Then press Enter.", why) if part)


def off_after_the_mark() -> str:
    """The same after a person has marked that the load stopped; a slip of the thumb can be taken back."""
    return (
        "Look at the load before you switch it off. No current: switch it off, then press Enter. It still draws current, and the "
        f"Enter before was a slip: leave it on, type {Answer.DRAWS} and press Enter."
    )


def look_at(role: str) -> str:
    """The question about something on a cable that cannot report whether it is off."""
    return f"Look at the {role}: its output must be off. If it is not, switch it off by hand. Then press Enter."


# ---- reading -------------------------------------------------------------------------------------------------------

READ_CHARGE_CURRENT = "Read the clamp: the charge current."
READ_DISCHARGE_CURRENT = "Read the clamp: the discharge current."
READ_CLAMP_NOW = "Read the clamp now."
READ_THERMOMETER = "The mark does not count. Read the thermometer."
READ_THERMOMETER_ON_PACK = "Read the thermometer on the pack."
READ_CHARGING_VOLTAGE = "Read the pack's voltage while it charges."
READ_LOADED_VOLTAGE = "Read the pack's voltage under load."
READ_RESTING_VOLTAGE = "Read the pack's voltage with everything off."
TYPE_LAST_VOLTAGE = "Type the last voltage you saw before the load stopped."
WATCH_VOLTMETER = (
    "Watch the voltmeter on the pack's terminals. Press Enter at the moment it shows the pack's voltage again. "
    f"If it shows it already: type {Answer.ALREADY} and press Enter."
)

IS_IT_BACK = (
    "Enter was pressed: the voltmeter shows the pack's voltage again. If that is right, press Enter. "
    f"If that Enter was a slip, type {Answer.WRONG}: the wait goes on."
)
NOT_BACK = "The pack has not come back yet: the mark does not count. The wait goes on."


def read_counter(total: str) -> str:
    """The question for one of the totals of a counter."""
    return f"Read the counter: {total}."


def watch_load(floor: float) -> str:
    """What to watch in a discharge to the cut-off, and where (V) a person ends it."""
    return (
        "Watch the load. If it stops by itself: press Enter at that moment. "
        f"If the pack falls below {shown(floor, 'voltage')}: switch the load off by hand, then type {Answer.OFF} and press Enter."
    )


def watch_clamp(sought: str, *, degrees: bool) -> str:
    """The moment to mark: the current gone, or back; ``degrees``: Enter marks those."""
    key = CURRENT_KEY if degrees else "Enter"
    return f"Watch the clamp. Press {key} at the moment the current is {'gone' if sought == Until.STOPPED else 'back'}."


def at_the_end(away: str) -> str:
    """The reading of the clamp where nothing was marked up to the end of a ramp; ``away``: what to do first."""
    return f"{away} Then read the clamp."


def nobody_saw(sought: str, celsius: float, amps: float) -> str:
    """That the current (A) had gone, or come back, by a temperature (°C), and nobody marked the moment."""
    word = "stopped" if sought == Until.STOPPED else "returned"
    return f"the current had {word} by {degrees(celsius)} ({shown(amps, 'current')}); the moment was not marked"


# ---- what was typed ------------------------------------------------------------------------------------------------


def read_again(why: str, question: str, *, hot: bool = False) -> str:
    """The same question once more, with what was typed in it and what was expected; ``hot``: it may be too hot."""
    first = "Take heat and ice away first. " if hot else ""
    return f"You typed: {why}. {first}Read again and type what you see. {question}"


def is_it_right(value: float, dimension: str, of: str) -> str:
    """A value that decides something by itself, shown again."""
    typed = f"You typed {shown(value, dimension)} for: {of}."
    return f"{typed} If that is right, press Enter. If not, type wrong, and then the right value."


FOR_THIS_PACK = "for this pack"
AFTER_THE_TOTAL = "after the total before"


EARLIER = "in this charge"
SINCE_THE_MARK = "so soon after the last mark"


def after_the_last(value: float, dimension: str) -> str:
    """Where a reading is held against the last one of its kind."""
    return f"after the {shown(value, dimension)} before"


def odd(dimension: str, value: float, usual: tuple[float, float], where: str) -> str:
    """What is odd about a reading, and what would be usual; ``where``: for this pack, or after what was read before."""
    low, high = (shown(each, dimension) for each in usual)
    return f"{dimension} of {shown(value, dimension)}; {low} to {high} would be usual {where}"


# ---- what the clamp shows, and how a step ended ----------------------------------------------------------------------

NO_CHARGE_YET = (
    "The clamp shows no charge current. Look at the charger and at the pack's alarms. "
    "Touch no lead while the charger is on."
)
NO_DISCHARGE_YET = (
    "The clamp shows no discharge current. Look at the load and at the pack's alarms. "
    "Touch no lead while the load is on."
)
NO_CHARGE = "no charge current on the clamp: a protection of the pack is still tripped or has latched, or a lead is off"
NO_DISCHARGE = (
    "no discharge current on the clamp: a protection of the pack is still tripped, a lead is off, or the load is off"
)
TOO_FULL = "the pack is too full for this test, or the charger gives too little; discharge it first"
ENDED_TWICE = "charger or pack ended the charge: no current on the clamp, twice"
MARK_TAKEN_BACK = "The load still draws current: the mark that it had stopped does not count. The discharge goes on."
LOAD_STOPPED = "the operator saw the load stop by itself"
WHO_STOPPED = "what stopped the discharge"
STOPPED_BY_ITSELF = "the load stopped, and nobody saw that the pack did it"
BACK_BEFORE = "the pack was back before anybody looked at the voltmeter"
VOLTAGE_BACK = "the operator saw the voltage return"
SEEN = {Until.STOPPED: "no current", Until.RETURNED: "current again"}


def who_stopped(volts: float, trip: float) -> str:
    """Asked where a load stopped far above the pack's cut-off (V): a load, a lead, or a key too many is no cut-off."""
    return (
        f"The load stopped at {shown(volts, 'voltage')}; the pack's cut-off is declared at {shown(trip, 'voltage')}. "
        f"Type {Answer.PACK} if the pack cut it off: its display says so, or its terminals went dead. "
        f"Else type {Answer.OTHER}."
    )


def not_so(amps: float) -> str:
    """That a mark is contradicted by the clamp (A)."""
    return f"The clamp shows {amps:.3g} A, so the mark does not count. The step goes on."


def shows(amps: float) -> str:
    """What the clamp shows (A)."""
    return f"the clamp shows {amps:.3g} A"


def seen(sought: Until, amps: float) -> str:
    """Why a step ended that a person watched: what they saw, and the clamp (A)."""
    return f"the operator saw {SEEN[sought]}: {amps:.3g} A on the clamp"


def not_steady(path: str, amps: float) -> str:
    """That the current of a path (A) did not become steady."""
    return ends.not_steady(path, f"{amps:.3g} A")


def too_full(amps: float, wanted: float) -> str:
    """That less flows than a ramp needs (A)."""
    return f"{TOO_FULL} ({amps:.3g} A of {wanted:.3g} A)"


def no_taper(amps: float, volts: float) -> str:
    """That the current (A) is small at a voltage (V) at which no charger tapers."""
    return f"the current fell to {amps:.3g} A at {volts:.2f} V, below the charger's voltage: no taper"


def tapered(end: float, readings: tuple[float, float], apart: float) -> str:
    """That two readings (A) so many seconds apart are at or below the end current (A)."""
    first, second = readings
    return f"tapered to the end current of {end:.3g} A: {first:.3g} A and {second:.3g} A on the clamp, {apart / 60:.0f} min apart"


def below_the_floor(volts: float, floor: float) -> str:
    """That a discharge went below its floor (V)."""
    return f"{volts:.2f} V is below the floor of {floor:.2f} V"


def woken(volts: float) -> str:
    """That a pack keeps a voltage (V) with everything off."""
    return f"woken: {volts:.2f} V at the terminals with everything off"
