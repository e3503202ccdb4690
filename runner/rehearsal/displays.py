"""A person at a simulated bench: what its displays show is said to them, and what they say they did is done there."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace

from runner.conduct.answer_parsing import as_read
from runner.conduct.interfaces import Operator
from runner.engine.view import View
from runner.events import LOAD_CURRENT, METER_VOLTAGE, PROBE_TEMPERATURE, SUPPLY_CURRENT, Answered, Sampled
from runner.orders import Ask, Order
from runner.rehearsal.scripted import Eyes
from runner.scale import degrees
from runner.vocabulary import Answer, Observed, Wants

DISPLAYS: dict[str, tuple[str, ...]] = {  # roles whose display has a place among the big digits
    "probe": (PROBE_TEMPERATURE,),
    "meter": (METER_VOLTAGE,),
    "clamp": (SUPPLY_CURRENT, LOAD_CURRENT),
}

STAYS = (Answer.STOP, Answer.DRAWS)  # answers after which nobody has done what the question asked for


class AtSimulatedDisplays:
    """Stands between a run and a person's face. ``by_hand`` are the roles that the person reads and switches."""

    def __init__(self, operator: Operator, eyes: Eyes, by_hand: Collection[str]) -> None:
        self._operator, self._eyes = operator, eyes
        self._channels = [channel for role, channels in DISPLAYS.items() if role in by_hand for channel in channels]
        self._asked: dict[str, Ask] = {}

    def told(self, order: Order, t: float) -> None:
        self._eyes.told(order, t)
        if isinstance(order, Ask):
            self._asked[order.question] = order
            if order.wants == Wants.NUMBER:
                order = replace(
                    order, say=f"{order.say} The simulated display shows {_displayed(order, self._eyes.read(order))}."
                )
        self._operator.told(order, t)

    def show(self, look: Callable[[], View], t: float) -> None:
        self._operator.show(lambda: self._with_displays(look()), t)

    def answers(self, t: float) -> list[Answered | Sampled]:
        found = self._operator.answers(t)
        for each in found:
            if isinstance(each, Answered) and each.value not in STAYS and each.question in self._asked:
                ask = self._asked.pop(each.question)
                self._eyes.act(replace(ask, of=Observed.LOAD_OFF) if each.value == Answer.OFF else ask)
        return found

    def _with_displays(self, view: View) -> View:
        """What the displays show now, before anything that was typed or marked off them earlier."""
        shown = self._eyes.displays()
        lost = {channel: why for channel, why in view.lost.items() if channel not in self._channels}
        readings = {**view.readings, **{channel: shown[channel] for channel in self._channels}}
        return replace(view, readings=readings, lost=lost)


def at_displays(operator: Operator, eyes: Eyes | None, by_hand: Collection[str]) -> Operator:
    """At a simulated bench (``eyes``) a person is told what its displays show, and what they do is done."""
    return operator if eyes is None else AtSimulatedDisplays(operator, eyes, by_hand)


def _displayed(ask: Ask, reading: str) -> str:
    """A reading as a display shows it: a temperature with the one digit that a pack's display has."""
    number, _, unit = reading.partition(" ")
    return degrees(float(number)) if ask.dimension == "temperature" else f"{number} {as_read(unit)}"
