"""What the engine asks of the world: of the bench, of the operator, and of the record. The journal stores them.

Orders to the bench come back as an event that says what really happened; until then nothing is assumed.
This file is a format, like events.py.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Order:
    """Something that is to be done."""


# ---- to the bench ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class SetLimits(Order):
    """Program the supply's own protection, in V and A. Comes back as LimitsAreSet or OrderFailed."""

    voltage: float
    current: float


@dataclass(frozen=True)
class SetSupply(Order):
    """Program voltage (V) and current (A). Comes back as SupplyIsSet or OrderFailed."""

    voltage: float
    current: float


@dataclass(frozen=True)
class SwitchOn(Order):
    """Supply output on. Comes back as OutputIsOn or OrderFailed."""


@dataclass(frozen=True)
class SwitchOff(Order):
    """Supply and load off. Comes back as OutputIsOff, confirmed or not."""


@dataclass(frozen=True)
class Pace(Order):
    """Poll the current every ``interval`` seconds and the slow channels every ``slow`` seconds."""

    interval: float
    slow: float


# ---- to the operator ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Ask(Order):
    """A hold point: comes back as Answered. ``record`` is what the answer will be evidence of."""

    question: str
    say: str
    record: str = ""


@dataclass(frozen=True)
class Guide(Order):
    """What the hands are to do from now on: ``action`` heat, cool or still; ``rate`` in K/s, positive, or 0 for freely."""

    action: str
    sensor: str
    rate: float
    say: str


# ---- to the record -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class BeginStep(Order):
    """A step of the program begins; ``cycle`` is the turn of its loop."""

    index: int
    kind: str
    title: str
    sensor: str = ""
    cycle: int = 0


@dataclass(frozen=True)
class BeginRamp(Order):
    """From here on the temperature changes at the wanted ``rate`` (K/s, signed)."""

    index: int
    sensor: str
    cycle: int
    rate: float


@dataclass(frozen=True)
class Judge(Order):
    """The current watcher's word has changed, and on what evidence."""

    word: str
    why: str


@dataclass(frozen=True)
class Conclude(Order):
    """How a heating or cooling ended: ``outcome`` is stopped, returned, gave up, or the word that made it worthless.

    ``limit`` is the temperature in °C at which it was given up, where it was. ``at`` is the time of the first sample
    after the change; the instant itself is worked out afterwards, from the samples.
    """

    index: int
    kind: str
    sensor: str
    cycle: int
    rate: float
    outcome: str
    why: str
    at: float
    limit: float | None = None


@dataclass(frozen=True)
class Remark(Order):
    """Something worth knowing that changes nothing."""

    say: str


@dataclass(frozen=True)
class End(Order):
    """The run is over and the bench is off.

    ``early`` says that it did not reach its last step; ``safe`` that off was read back.
    """

    early: bool
    safe: bool
    reason: str
