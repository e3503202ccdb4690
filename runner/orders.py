"""What the engine asks of the world: of the bench, of the operator, and of the record. The journal stores them.

Orders to the bench come back as an event that says what really happened; until then nothing is assumed.
This file is a format, like events.py.
"""

from __future__ import annotations

from dataclasses import dataclass

from runner.scale import whole
from runner.vocabulary import Wants


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
class SetLoad(Order):
    """Program the load's current, in A. Comes back as LoadIsSet or OrderFailed."""

    current: float


@dataclass(frozen=True)
class LoadOn(Order):
    """Load input on. Comes back as LoadIsOn or OrderFailed."""


@dataclass(frozen=True)
class SwitchOff(Order):
    """Supply and load off, with ``everything`` also what heats and cools. Comes back as OutputIsOff, confirmed or not."""

    everything: bool = False


@dataclass(frozen=True)
class Pace(Order):
    """Poll the current of a path every ``interval`` seconds and the slow channels every ``slow`` seconds."""

    interval: float
    slow: float
    path: str = "charge"


# ---- to the operator ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Ask(Order):
    """A question: comes back as Answered. ``record`` is what the answer will be evidence of.

    ``wants`` is "go on" (a hold point), "number" (typed with or without its ``unit``, the SI value comes back),
    "choice" (one of ``choices``), or "mark" (a key at the very moment that ``say`` names). ``role`` is the instrument whose
    display is to be read, ``lowest`` and ``highest`` (SI) what would fit, where that is known. ``setting`` is the resistance in Ω
    that a decade box is to be set to, where the key marks that. ``of`` is what the answer is of, an Observed or nothing, and
    ``box`` where a hold point leaves the decade box, a BoxPlace or nothing. ``instead`` is a word
    that may be typed where the moment of a mark does not come. ``record`` is for people.
    """

    question: str
    say: str
    record: str = ""
    wants: str = Wants.GO_ON
    unit: str = ""
    dimension: str = ""
    choices: tuple[str, ...] = ()
    role: str = ""
    lowest: float | None = None
    highest: float | None = None
    setting: float | None = None
    of: str = ""
    box: str = ""
    instead: str = ""


@dataclass(frozen=True)
class Reckon(Order):
    """Work out whether one more repeat would help a finding of this sensor. Comes back as Reckoned."""

    sensor: str


@dataclass(frozen=True)
class Withdraw(Order):
    """A question that no longer matters: nothing is waited for any more."""

    question: str


@dataclass(frozen=True)
class AskTaps(Order):
    """From now on, a key as the hand-held thermometer's display passes each whole degree.

    The first tap means ``first`` °C, each one after it the next whole degree in the direction of ``step``, as people read
    degrees. Comes back as Sampled, by hand. ``step`` 0 ends it.
    """

    first: float
    step: float
    say: str


@dataclass(frozen=True)
class Guide(Order):
    """What whoever heats and cools is to do from now on: ``action`` heat, cool, hold, still or substitute.

    ``hold``: the temperature stays as it is; ``still``: neither heat nor cold. ``rate`` is in K/s, positive, or 0 for freely;
    with substitute it is the resistance to set on the decade box, in Ω.
    """

    action: str
    sensor: str
    rate: float
    say: str


def next_degree(degree: float, step: float) -> float:
    """The next whole degree, as people read them, to be marked after one (°C), in the direction of ``step``; in °C."""
    return whole(degree, step, beyond=True)


# ---- to the record -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class BeginStep(Order):
    """A step of the program begins; ``cycle`` is the turn of its loop, ``say`` what no Ask or Guide of it says."""

    index: int
    kind: str
    title: str
    sensor: str = ""
    cycle: int = 0
    say: str = ""


@dataclass(frozen=True)
class BeginRamp(Order):
    """From here on the temperature changes at the wanted ``rate`` (K/s, signed)."""

    index: int
    sensor: str
    cycle: int
    rate: float


@dataclass(frozen=True)
class Level(Order):
    """A stage begins: ``value`` is its current in A, or the temperature in °C that the decade box stands for.

    Of a look whether a path is back, ``value`` is the pack's voltage in V. ``unit`` is that of the value, ``flowed`` False at the
    end of a look in which no current came.
    ``since`` is when it was read back, on the run's clock, and ``asked`` when the instrument was not yet told; ``by_hand`` if a
    person's key said when.
    """

    index: int
    value: float
    since: float
    by_hand: bool = False
    asked: float | None = None
    unit: str = ""
    flowed: bool = True


@dataclass(frozen=True)
class Note(Order):
    """A reading that belongs in the evidence: ``quantity`` in SI under its name, or a word; ``why`` if it is doubtful.

    ``of`` is what was read, an Observed, or nothing where it is evidence for people only.
    """

    index: int
    name: str
    text: str
    quantity: float | None = None
    dimension: str = ""
    why: str = ""
    of: str = ""


@dataclass(frozen=True)
class Judge(Order):
    """The current watcher's word has changed, and on what evidence."""

    word: str
    why: str


@dataclass(frozen=True)
class Conclude(Order):
    """How a step that provokes something ended: ``outcome`` is stopped, returned, full, done, gave up, or the word that
    made it worthless.

    ``limit`` is where it was given up, in °C, V or A. ``at`` is the time of the first sample after the change; the instant
    itself is worked out afterwards, from the samples. ``by_hand``: a person's key said so, and a reaction later than it was.
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
    by_hand: bool = False


@dataclass(frozen=True)
class Remark(Order):
    """Something worth knowing that changes nothing."""

    say: str


@dataclass(frozen=True)
class Found(Order):
    """What is known of a sensor while the run goes on, for people; it is worked out once more when the run is over."""

    say: str


@dataclass(frozen=True)
class End(Order):
    """The run is over and the bench is off.

    ``early`` says that it did not reach its last step; ``safe`` that off was read back; ``undone`` how many steps were planned and
    skipped, those only offered not counted. ``urgent`` is what a person has to do at once: switch off what did not confirm
    that it is off, remove heat and ice. ``left`` is what comes after that, such as putting sensors back. ``left_out``: a person did
    not accept what is unusual, so that no step was begun and nothing was tested.
    """

    early: bool
    safe: bool
    reason: str
    undone: int = 0
    left: str = ""
    urgent: str = ""
    left_out: bool = False
