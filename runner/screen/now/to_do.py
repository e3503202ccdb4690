"""What a person is to do now as a verb, a thing and a value, and what is switched on: the large letters and the line of switches.

Rule 1: made of orders and of the question that stands, never of a text.
Rule 2: a switch that was ordered off counts as off only once nothing flows any more, or the end of the run says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto

from runner.engine.opening import CAUTIONS
from runner.engine.steps.ramp import HURRY
from runner.engine.steps.switches import SIGHTS, SWITCHED_OFF, SWITCHED_ON
from runner.events import CHARGE, DISCHARGE
from runner.orders import Ask, BeginRamp, BeginStep, End, Guide, LoadOn, Order, SwitchOff, SwitchOn
from runner.vocabulary import Role, Wants


class Verb(Enum):
    """What is to be done, or that there is nothing to do."""

    HEAT = auto()
    COOL = auto()
    HEAT_FAST = auto()
    COOL_FAST = auto()
    HOLD = auto()
    TAKE_AWAY = auto()
    MACHINE_HEATS = auto()
    MACHINE_COOLS = auto()
    READ_CAUTIONS = auto()
    CHECK = auto()
    READ = auto()
    CHOOSE = auto()
    MARK = auto()
    SET_BOX = auto()
    SWITCH_ON = auto()
    SWITCH_OFF = auto()
    WAIT = auto()
    STOPPING = auto()
    LEAVE = auto()
    NOT_OFF = auto()
    OVER = auto()


@dataclass(frozen=True)
class ToDo:
    """``what``: a sensor ("" is the pack), a role, what is marked (an Observed), a path. ``value``: K/s, or Ω for the box."""

    verb: Verb
    what: str = ""
    value: float = 0.0


@dataclass(frozen=True)
class SwitchState:
    """What can be on. ``on`` is None where it may be either: ordered off and not read back, or not confirmed off.

    ``unordered``: it is on though it was ordered off.
    """

    role: str
    on: bool | None
    by_hand: bool = False
    unordered: bool = False


def of_question(ask: Ask) -> ToDo:
    """What a question wants of a person."""
    if ask.question == CAUTIONS:
        return ToDo(Verb.READ_CAUTIONS)
    if ask.of in SWITCHED_ON:
        return ToDo(Verb.SWITCH_ON, SWITCHED_ON[ask.of])
    if ask.of in SWITCHED_OFF:
        return ToDo(Verb.SWITCH_OFF, SWITCHED_OFF[ask.of])
    if ask.of in SIGHTS:
        return ToDo(Verb.MARK, ask.of)
    if ask.setting is not None:
        return ToDo(Verb.SET_BOX, Role.BOX, ask.setting)
    if ask.wants == Wants.NUMBER:
        return ToDo(Verb.READ, ask.role)
    return ToDo(Verb.CHOOSE if ask.wants == Wants.CHOICE else Verb.CHECK)


class Now:
    """Told every order; ``to_do`` is what stands where nothing is asked, ``switches`` what is on."""

    def __init__(self, has: Sequence[str], by_hand: Sequence[str], *, by_machine: bool) -> None:
        """``has``: the roles of the bench, ``by_hand`` those that a person has in hand; ``by_machine``: an actuator heats."""
        self._has, self._by_hand, self._by_machine = has, by_hand, by_machine
        self.to_do = ToDo(Verb.WAIT)
        self.sensor = ""  # that the present step belongs to
        self._heats = self._going_off = False
        self._end: End | None = None
        self._switched = [role for role in (Role.SUPPLY, Role.CHARGER, Role.LOAD, Role.ACTUATOR) if role in has]

    def told(self, order: Order) -> None:
        """One more order."""
        if isinstance(order, BeginStep):
            self.sensor, self._going_off = order.sensor, False
            self.to_do = ToDo(Verb.WAIT)
        elif isinstance(order, Guide):
            self._guided(order)
        elif isinstance(order, BeginRamp):
            self.to_do = self._ramp(order.sensor, abs(order.rate), heat=order.rate > 0)
        elif isinstance(order, SwitchOn | LoadOn):
            self._going_off = False
        elif isinstance(order, SwitchOff):
            self._going_off = True
            self._heats = self._heats and not order.everything
        elif isinstance(order, End):
            self._end = order
            at_once = (
                Verb.TAKE_AWAY if order.urgent else Verb.OVER
            )  # of a bench that is off, only heat and ice are left
            only = (
                self._switched[0] if len(self._switched) == 1 else ""
            )  # of more, the sentence names those that are meant
            self.to_do = ToDo(at_once) if order.safe else ToDo(Verb.NOT_OFF, only)

    def confirmed_off(self) -> None:
        """A person has switched off by hand what did not confirm it."""
        self.to_do = ToDo(Verb.OVER)

    def _guided(self, order: Guide) -> None:
        if order.action == "substitute":
            self.to_do = ToDo(Verb.SET_BOX, Role.BOX, order.rate)
            return
        self._heats = order.action in ("heat", "cool", "hold")
        if order.action in ("heat", "cool"):
            slow = 0.0 < order.rate < HURRY
            self.to_do = self._ramp(order.sensor, order.rate if slow else 0.0, heat=order.action == "heat")
        elif self._by_machine:
            self.to_do = ToDo(Verb.WAIT)
        else:
            self.to_do = ToDo(Verb.HOLD if order.action == "hold" else Verb.TAKE_AWAY, order.sensor)

    def _ramp(self, sensor: str, rate: float, *, heat: bool) -> ToDo:
        """``rate`` in K/s, positive; 0: as fast as it goes."""
        if self._by_machine:
            return ToDo(Verb.MACHINE_HEATS if heat else Verb.MACHINE_COOLS, sensor, rate)
        if not rate:
            return ToDo(Verb.HEAT_FAST if heat else Verb.COOL_FAST, sensor)
        return ToDo(Verb.HEAT if heat else Verb.COOL, sensor, rate)

    def switches(self, path: str, on_by_hand: Sequence[str], unordered: str = "") -> tuple[SwitchState, ...]:
        """Every switch of the bench. ``path``: which is on, ``on_by_hand``: the roles that a person may have switched on.

        ``unordered``: the role that is on though it was ordered off.
        """
        found, lost = [], self._end is not None and not self._end.safe
        for role, of in ((Role.SUPPLY, CHARGE), (Role.CHARGER, CHARGE), (Role.LOAD, DISCHARGE)):
            if role not in self._has:
                continue
            by_hand = role in self._by_hand or role == Role.CHARGER
            on: bool | None = role in on_by_hand if by_hand else path == of and not on_by_hand
            if role in on_by_hand and not by_hand:  # on a cable, and cannot say that it is off
                on = None
            if (lost and (on or not by_hand)) or (on and self._going_off and not by_hand):
                on = None
            found.append(SwitchState(role, True if role == unordered else on, by_hand, role == unordered))
        if Role.ACTUATOR in self._has:
            found.append(SwitchState(Role.ACTUATOR, None if lost else self._heats))
        return tuple(found)
