"""Words that decide something, each defined once. Text that people read is made from these and never read back.

Their values stand in journals, findings and YAML files: a changed value is a changed format.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, StrEnum


class Exit(IntEnum):
    """Exit statuses of every command."""

    PASS = 0
    FAIL = 1
    WRONG_INPUT = 2
    NOT_ALL_JUDGED = 3  # not everything was measured, judged or done
    ENDED_EARLY = 4  # or never began: an instrument, a lock, the disk
    DEFECT = 70


class Role(StrEnum):
    """What an instrument is on a bench. ROLE_FACTS in runner/sheets/instruments.py says what each can do."""

    SUPPLY = "supply"
    PROBE = "probe"
    METER = "meter"
    LOAD = "load"
    CHARGER = "charger"
    CLAMP = "clamp"
    COUNTER = "counter"
    DISPLAY = "display"
    BOX = "box"
    ACTUATOR = "actuator"


class WatchWord(StrEnum):
    """What the watcher takes a current for."""

    IDLE = "idle"
    SETTLING = "settling"
    STEADY = "steady"
    TAPERING = "tapering"
    FULL = "full"
    STOPPED = "stopped"
    RETURNED = "returned"
    LIMITED = "limited"
    OPEN_LEAD = "open lead"
    UNCLEAR = "unclear"
    LOST = "lost"
    DROPOUT = "dropout"
    DERATED = "limited by the pack"
    KEEP_ALIVE = "keep-alive"
    RETRYING = "retrying"
    PRE_CHARGING = "pre-charging"


class Explanation(StrEnum):
    """What may be behind a current that has stopped or gone down, where readings cannot tell which of two it is."""

    TRIPPED = "a protection opened the path"
    FULL = "the pack is full"
    EMPTY = "the pack is empty"
    LIMITED = "the pack asks for less current"
    UNKNOWN = "cannot tell"
    LOOK = "switch off and look"  # the program is to find out: off, wait, on again (engine/watch/look.py)


class Outcome(StrEnum):
    """How a step that provokes something ended. Those of the watcher's words say that the current was worth nothing."""

    STOPPED = "stopped"
    RETURNED = "returned"
    FULL = "full"
    DONE = "done"
    GAVE_UP = "gave up"
    NO_CURRENT = "no current"
    NO_END = "no end"
    NOT_SEEN = "not seen"
    BROKEN_OFF = "broken off"
    TAPERING = "tapering"
    LIMITED = "limited"
    OPEN_LEAD = "open lead"
    UNCLEAR = "unclear"
    LOST = "lost"


TOLD = {WatchWord.LIMITED.value: "limited by supply or load"}  # words that people read otherwise than they are recorded


def as_told(word: str) -> str:
    """A watcher's word or an outcome as people read it."""
    return TOLD.get(word, str(word))


class Until(StrEnum):
    """Until when a step goes on. ``stopped`` and ``returned`` are the outcomes that it looks for."""

    STEADY = "steady"
    FULL = "full"
    STOPPED = "stopped"
    RETURNED = "returned"
    TIME = "time"
    DONE = "done"


class Rule(StrEnum):
    """How a statement of conformity is made; runner/measure/conformity.py says what each means."""

    SIMPLE = "simple acceptance"
    GUARD_BAND = "guard band"
    WITH_CONDITIONS = "guard band with conditions"
    CONSUMER = "maximum consumer risk"
    PRODUCER = "maximum producer risk"


MAXIMUM_RISK = (Rule.CONSUMER, Rule.PRODUCER)  # the rules with a risk of their own


class Answer(StrEnum):
    """Words that answer a question, other than readings and choices of a procedure."""

    GO_ON = "go on"
    STOP = "stop"
    AGREE = "agree"
    LEAVE_OUT = "leave out"
    ONE_MORE = "one more"
    OFF = "off"
    DRAWS = "draws"
    WRONG = "wrong"
    ALREADY = "already"
    READ = "read"
    READ_AGAIN = "read again"
    PACK = "pack"
    OTHER = "other"


EVIDENCE_CHANGED = "EVIDENCE CHANGED since it was recorded"  # of a run, wherever its findings are shown
CURRENT_KEY = "c"  # marks the current, where Enter marks the degrees


class Seen(StrEnum):
    """What a person says of a thing that was to be looked at."""

    GOOD = "good"
    BAD = "bad"
    NOT_SEEN = "not seen"


class Wants(StrEnum):
    """What a question wants: agreement, a typed number, one of its choices, or a key at the very moment."""

    GO_ON = "go on"
    NUMBER = "number"
    CHOICE = "choice"
    MARK = "mark"


class BoxPlace(StrEnum):
    """Where a hold point leaves the decade box: in the sensor's place, or out and the sensor plugged back in."""

    IN = "in"
    OUT = "out"


class Observed(StrEnum):
    """What a reading, an inspection or a mark is of. A procedure says it with ``as:``; other readings are evidence only."""

    def __new__(cls, text: str, dimension: str = "") -> Observed:
        """``dimension`` is that of a number, empty for a word that is picked and for a mark."""
        member = str.__new__(cls, text)
        member._value_ = text
        member.dimension = dimension
        return member

    dimension: str

    AMBIENT_TEMPERATURE = "ambient temperature", "temperature"
    PACK_TEMPERATURE = "pack temperature", "temperature"
    OPEN_CIRCUIT_VOLTAGE = "open-circuit voltage", "voltage"
    LOWEST_CELL_VOLTAGE = "lowest cell voltage", "voltage"
    HIGHEST_CELL_VOLTAGE = "highest cell voltage", "voltage"
    ALARM = "alarm"
    CONDITION = "condition"
    LOADED_VOLTAGE = "voltage under load", "voltage"
    LAST_VOLTAGE = "voltage just before the cut-off", "voltage"
    CHARGE_BEFORE = "charge total before the discharge", "charge"
    CHARGE_AFTER = "charge total after the discharge", "charge"
    ENERGY_BEFORE = "energy total before the discharge", "energy"
    ENERGY_AFTER = "energy total after the discharge", "energy"
    LOAD_ON = "load on"
    LOAD_STOPPED = "load stopped"
    LOAD_OFF = "load off"
    CAME_BACK = "pack came back"
    CHARGER_ON = "charger on"
    CHARGER_OFF = "charger off"
    SUPPLY_OFF = "supply off"
    CURRENT_GONE = "current gone"
    CURRENT_BACK = "current back"
    CLAMP_CURRENT = "current on the clamp", "current"
    CHARGING_VOLTAGE = "voltage while charging", "voltage"
    WOKEN_VOLTAGE = "voltage after waking", "voltage"
    THERMOMETER = "temperature on the thermometer", "temperature"


SAID_BY_A_PROCEDURE = (
    Observed.AMBIENT_TEMPERATURE,
    Observed.PACK_TEMPERATURE,
    Observed.OPEN_CIRCUIT_VOLTAGE,
    Observed.LOWEST_CELL_VOLTAGE,
    Observed.HIGHEST_CELL_VOLTAGE,
    Observed.ALARM,
    Observed.CONDITION,
)


class BudgetSource(StrEnum):
    """Where a part of an uncertainty comes from, with what would make it smaller (``advice``).

    A budget may add of which thing: "coupling of probe and sensor T1". ``own``: one more ramp averages it out.
    """

    def __new__(cls, text: str, advice: str = "", own: bool = False) -> BudgetSource:
        """The text is what a budget prints."""
        member = str.__new__(cls, text)
        member._value_ = text
        member.advice, member.own = advice, own
        return member

    advice: str
    own: bool

    def of(self, what: str) -> BudgetLine:
        """The line of a budget for this source of that thing."""
        return BudgetLine(self, f"{self} {what}")

    COUPLING = (
        "contact of probe and sensor",
        "closer contact of probe and sensor, or mounting them again between ramps",
    )
    PROBE_CALIBRATION = "probe calibration", "a better calibrated thermometer"
    PROBE_RESOLUTION = "probe resolution", "a thermometer that shows more digits"
    RAMP_FIT = "fit of the ramps", "a longer and steadier ramp", True
    RAMP_WANDER = "unsteady ramps", "heating more slowly, with the heat gun further away", True
    EDGE_INSTANTS = "moments of switching", "a faster current reading, or a slower ramp", True
    EDGE_INSTANT = "moment of switching", "a faster current reading"
    TRIP_INSTANT = "moment of the trip"
    POLLING = "polling interval of the pack", "a slower ramp, or more repeats: the pack polls only at intervals", True
    DELAY_IN_LOOKS = "delay as a number of polls", "information on how the pack counts its delay"
    DELAY = "delay of the pack", "ramps at two or three rates: the delay then cancels"
    TRIP_DELAY = (
        "trip delay of the pack",
        "a trip delay that is declared with its tolerance",
    )  # of a voltage, where no ramp helps
    SENSOR_LAG = "lag of the sensor", "ramps at two or three rates: the lag then cancels"
    PROBE_LAG = "lag of the probe", "ramps at two or three rates: the lag then cancels"
    SECOND_PROBE = "difference of the two probes", "both probes held more firmly on the sensor"
    COUPLING_GROWTH = "contact of probe and sensor, growing with the temperature", "insulation over probe and sensor"
    COUPLING_DIRECTION = (
        "contact of probe and sensor, heating against cooling",
        "slower ramps, and heat that comes from all sides",
    )
    REPEATABILITY = "repeatability of the pack", "more repeats at the same rates", True
    PACK_NOISE = "noise of the pack, which makes it act early", "faster ramps: fewer polls are near the threshold"
    LEVELS = "step size", "smaller steps"
    LOOKS = "interval between tries", "a shorter interval between tries"
    READINGS = "interval between readings", "more frequent readings"
    BOX = "accuracy of the decade box", "a better decade box"
    GAIN = "gain of the", "a better calibrated meter"
    OFFSET = "offset of the", "a meter with less offset, or a larger current"
    RESOLUTION = "resolution of the", "a meter that shows more digits"
    COUNTER_DIGITS = "digits of the counter", "a counter that shows more digits"
    LEADS = "resistance of the leads", "a voltmeter on the pack's own terminals, sense leads, or measured leads"
    VOLTAGE_FIT = "fit of the voltage", "a faster voltage reading near the cut-off"
    STAMPS = "time stamps of the readings", "an instrument that answers at once"
    GAPS = "gaps without readings", "a run without interruptions"
    KEY = "moment at which the operator pressed Enter", "an instrument with an address"
    METER_READINGS = "readings of the voltmeters", "more readings at each current"
    SCATTER = "scatter around the fitted line", "more currents, and firmly fixed clamps"
    CHARGE_COUNTED = "charge counted"
    CELL_NOISE = "noise of the pack's cell readings", "cell_noise: on the pack's sheet"
    PACK_FILTER = (
        "filter of the pack",
        "filter_lag: on the pack's sheet, a smaller current, or levels that are held for longer",
    )
    VOLTAGE_AGE = "age of the voltage readings", "averages: for the voltmeter in the bench file"
    RIPPLE = "ripple of the voltage", "a load or supply with less ripple"
    VOLTAGE_SHAPE = "shape of the voltage"
    VOLTAGE_AFTER = "voltage after the return"
    RETURN_INSTANT = "moment of the return"
    RELAXATION = "relaxation before the return"
    VOLTAGE_SLOPE = "slope before the cut-off", "an instrument with an address"
    LAST_SEEN = "voltage seen last"
    GLANCE = "reading of the display"
    DISPLAY_DIGITS = "digits of the display"
    REACTION = "reaction at the", "an instrument with an address"
    REFRESH = "refresh of the display"
    MARKS = (
        "moments at which the operator marked the current",
        "a supply or a load with an address, or a slower ramp",
        True,
    )
    CLAMP_REFRESH = "refresh of the clamp", "a clamp that renews its reading more often, or a slower ramp", True
    CURRENT_THERE = "time at which the current was on"


@dataclass(frozen=True)
class BudgetLine:
    """A source of uncertainty of one thing: "gain of the voltmeter". ``text`` is what a budget prints."""

    source: BudgetSource | None
    text: str
