"""What can happen. The engine is told these and nothing else; the journal stores them.

Every event carries ``t``, seconds on the run's own clock since its start. Readings are SI and °C, and their units are in
the names of the channels. A reading that did not arrive is in ``lost`` with the reason; it is never a zero.

This file is a format: a field added or renamed here is one in every journal written from then on.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

SUPPLY_VOLTAGE = "supply_voltage_V"
SUPPLY_CURRENT = "supply_current_A"
PROBE_TEMPERATURE = "probe_temperature_degC"
METER_VOLTAGE = "meter_voltage_V"
LOAD_VOLTAGE = "load_voltage_V"
LOAD_CURRENT = "load_current_A"
ACTUATOR_TEMPERATURE = "actuator_temperature_degC"
CHANNELS = (
    SUPPLY_VOLTAGE,
    SUPPLY_CURRENT,
    LOAD_VOLTAGE,
    LOAD_CURRENT,
    METER_VOLTAGE,
    PROBE_TEMPERATURE,
    ACTUATOR_TEMPERATURE,
)

# what a further instrument reads has its name in it: probe_by_the_cell_temperature_degC
NAMED = re.compile(r"(probe|meter)_(\w+)_(temperature_degC|voltage_V)")
OWN = "main"  # the name under which the first probe is kept while another one is the reference

CHARGE, DISCHARGE = "charge", "discharge"  # the two paths through a pack that a protection can open
CURRENT_OF = {CHARGE: SUPPLY_CURRENT, DISCHARGE: LOAD_CURRENT}
VOLTAGE_OF = {CHARGE: SUPPLY_VOLTAGE, DISCHARGE: LOAD_VOLTAGE}


def channel_named(channel: str, name: str) -> str:
    """The channel of a further instrument called ``name``; ``channel`` is that of the first one of its role."""
    role, _, quantity = channel.partition("_")
    return f"{role}_{name}_{quantity}"


@functools.cache
def named_by(channel: str) -> str:
    """The further instrument that reads a channel, as "probe by_the_cell"; empty for all other channels."""
    found = NAMED.fullmatch(channel)
    return f"{found[1]} {found[2]}" if found else ""


@dataclass(frozen=True)
class Event:
    """Something that happened at time ``t``."""

    t: float


@dataclass(frozen=True)
class Started(Event):
    """The run begins. ``utc`` is the wall clock, ISO 8601, for people; the run itself goes by ``t``.

    ``simulated`` says whether the bench was a simulated one, by the command that ran; None in records that are older than that.
    """

    utc: str
    simulated: bool | None = None


@dataclass(frozen=True)
class Sampled(Event):
    """What was read at one instant. ``mode`` is the supply's, CC, CV or empty.

    ``output`` is what the instrument polled says of itself: the supply's output or the load's input on. ``by_hand``: a
    person read it off a display, at ``t`` as the key was pressed; the reaction is allowed for afterwards. ``ages``: how old a
    reading was at ``t``, in s, where that is not next to nothing. ``fault``: what ends the run at once, such as settings lost;
    ``unordered``: the role that is on though it was ordered off.
    """

    readings: Mapping[str, float]
    lost: Mapping[str, str] = field(default_factory=dict)
    mode: str = ""
    output: bool | None = None
    by_hand: bool = False
    ages: Mapping[str, float] = field(default_factory=dict)
    fault: str = ""
    unordered: str = ""


@dataclass(frozen=True)
class Answered(Event):
    """Somebody answered a question.

    ``value`` is "go on", "stop", a number in SI, one of the choices, or for an inspection "good", "bad", "not seen".
    ``by`` is who it was, ``note`` what they wrote beside it, ``files`` the attachments as "name sha256".
    """

    question: str
    value: str
    by: str
    note: str = ""
    files: tuple[str, ...] = ()


@dataclass(frozen=True)
class LimitsAreSet(Event):
    """The supply's own over-voltage and over-current protection, as read back, in V and A."""

    voltage: float
    current: float


@dataclass(frozen=True)
class SupplyIsSet(Event):
    """The supply's set points as read back, in V and A."""

    voltage: float
    current: float


@dataclass(frozen=True)
class OutputIsOn(Event):
    """The supply's output reads back as on."""


@dataclass(frozen=True)
class LoadIsSet(Event):
    """The load's current as read back, in A."""

    current: float


@dataclass(frozen=True)
class ActuatorIsSet(Event):
    """What heats and cools on command: the temperature it goes to, in °C, and how fast, in K/s, both as read back."""

    temperature: float
    rate: float


@dataclass(frozen=True)
class LoadIsOn(Event):
    """The load's input reads back as on, or a person has said that it is."""


@dataclass(frozen=True)
class Foreseen(Event):
    """When the pack is expected to come back, in s on the run's clock; ``latest`` is None where that cannot be said."""

    expected: float | None
    earliest: float
    latest: float | None


@dataclass(frozen=True)
class Reckoned(Event):
    """By what share one more repeat would make the interval of a sensor's finding smaller; 0 if by nothing that matters.

    ``why`` says it in words, without a full stop; nothing where there is nothing to say. ``found``: what is known of the
    sensor by then, a line each.
    """

    sensor: str
    gain: float
    why: str
    found: tuple[str, ...] = ()


@dataclass(frozen=True)
class Resumed(Event):
    """A run goes on after a break of ``after`` s. What the journal has before is what happened; ``why`` it had ended.

    ``rested``: s before this break that were no time of the test, as `Rest` counts them.
    """

    utc: str
    why: str
    after: float
    rested: float = 0.0


@dataclass(frozen=True)
class OutputIsOff(Event):
    """Supply and load read back as off; ``confirmed`` is False if the command was sent but nothing answers.

    ``everything``: what heats and cools was switched off with them.
    """

    confirmed: bool
    remark: str = ""
    everything: bool = True


@dataclass(frozen=True)
class OrderFailed(Event):
    """The world did not follow an order."""

    order: str
    what: str


@dataclass(frozen=True)
class StopPressed(Event):
    """Somebody or something wants the run to end: a key, a signal, a closed screen."""

    by: str


@dataclass(frozen=True)
class NobodyConfirmed(Event):
    """Nobody has confirmed that what a person switched on is off: nobody is there, or nobody has answered; ``why`` says which."""

    why: str


@dataclass(frozen=True)
class GuardEnded(Event):
    """The process that would make the bench safe if this program could not has ended."""


@dataclass(frozen=True)
class Suspended(Event):
    """The computer was suspended for so many ``seconds``: nobody watched, whatever was on."""

    seconds: float


@dataclass(frozen=True)
class Complained(Event):
    """An entry that stood in an instrument's error queue before anything of this run was sent to it."""

    instrument: str
    what: str


@dataclass(frozen=True)
class Faulted(Event):
    """The program itself failed. The bench is made safe by whoever noticed."""

    what: str


@dataclass(frozen=True)
class InputsKept(Event):
    """What the run began with: "name sha256" of every file in ``inputs/``. Nobody acts on it; it binds the journal to them."""

    files: tuple[str, ...]


@dataclass(frozen=True)
class SamplesKept(Event):
    """The sample table so far: ``rows`` and ``size`` in bytes, and the SHA-256 of its bytes from ``begin`` to there.

    ``begin`` is where the last of these ended; 0 for the first one, and for the first after a break.
    """

    rows: int
    begin: int
    size: int
    sha256: str
