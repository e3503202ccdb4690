"""What steps share in which a person switches and reads: one question after the other, each answer noted."""

from __future__ import annotations

from runner.engine.steps.base import Step
from runner.engine.texts import by_hand as texts
from runner.engine.watch.verdict import Verdict
from runner.events import METER_VOLTAGE, Answered, Event, Sampled
from runner.notation.quantity import shown
from runner.orders import Ask, Level, Note, Order
from runner.vocabulary import Observed, Role, Wants

UNITS = {"current": "A", "voltage": "V", "temperature": "degC"}
# of the current that flowed, and A: no more than this is left by a pack that has opened the path (common practice, no source)
NONE_LEFT, MOST_LEFT = 0.15, 0.5
# of the current before: less than this between two readings in a charge is rather a slip of the finger (common practice, no source)
FALLS_TO = 0.3


class ByPerson(Step):
    """``_put`` puts a question, ``_is_answer`` knows its answer, ``_noted`` writes a number down."""

    _standing: Ask | None = None
    _count = 0

    def _put(
        self,
        of: Observed,
        say: str,
        *,
        marks: bool = False,
        lowest: float | None = None,
        highest: float | None = None,
    ) -> list[Order]:
        """A question about ``of``: a number with the unit of its dimension, or a key at the very moment (``marks``).

        ``lowest``: a number below it decides something; with ``highest``, what lies outside of both is asked for again.
        """
        self._count += 1
        wants = Wants.MARK if marks else Wants.NUMBER
        unit = "" if marks else UNITS[of.dimension]
        question = f"step-{self.planned.index}-{of.name.lower().replace('_', '-')}-{self._count}"
        roles = {
            Observed.CLAMP_CURRENT: Role.CLAMP,
            Observed.THERMOMETER: Role.PROBE,
            Observed.CHARGING_VOLTAGE: Role.METER,
            Observed.WOKEN_VOLTAGE: Role.METER,
            Observed.LOADED_VOLTAGE: Role.METER,
        }
        role = "" if marks else roles.get(of, "")
        self._standing = Ask(question, say, of.value, wants, unit, of.dimension, (), role, lowest, highest, of=of)
        return [self._standing]

    def _is_answer(self, event: Event) -> Ask | None:
        """The question that an event answers, which then stands no more; None if it answers none of this step."""
        asked = self._standing
        if not isinstance(event, Answered) or asked is None or event.question != asked.question:
            return None
        self._standing = None
        return asked

    def _noted(self, event: Answered, asked: Ask) -> list[Order]:
        if asked.wants != Wants.NUMBER:
            return []
        value = float(event.value)
        if asked.of == Observed.CLAMP_CURRENT:
            self.around.known.clamp_read(value)
        text = shown(value, asked.dimension)
        return [Note(self.planned.index, asked.record, text, value, asked.dimension, of=asked.of)]

    def _level(self, current: float, t: float) -> Level:
        """That a current is on from now, or off (0), by the word of a person."""
        return Level(self.planned.index, current, t, by_hand=True, unit="A", flowed=current > 0)

    def _reads(self, role: Role) -> bool:
        """Whether a person reads this instrument."""
        return role in self.around.program.by_hand

    def _nothing_flows(self, amps: float, before: float = 0.0) -> bool:
        """Whether a clamp shows none: no more than it can tell from none, or than a pack leaves of what flowed ``before``."""
        smallest = self.around.program.smallest_current.get(self.path, 0.0)
        return abs(amps) <= max(smallest, min(NONE_LEFT * before, MOST_LEFT))

    @property
    def _meter(self) -> float | None:
        """V at the pack, where a voltmeter on a cable reads it."""
        return None if self._reads(Role.METER) else self.around.known.latest.get(METER_VOLTAGE)

    def sentence(self) -> str:
        return self._standing.say if self._standing is not None else self._meanwhile or super().sentence()

    @property
    def _meanwhile(self) -> str:
        """What a person is told between two questions, in place of what the procedure says of an instrument on a cable."""
        return ""


class SwitchedByPerson(ByPerson):
    """A step that a person switches on and off. ``_answered`` takes an answer, ``_meantime`` a sample between two questions."""

    _on_at: float | None = None  # s: since when it is on, by the person's key
    _next = 0.0  # s: when the clamp is read next

    @property
    def _meanwhile(self) -> str:
        return texts.stay(max(0.0, self._next - self.around.known.t))

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        asked = self._is_answer(event)
        if asked is not None and isinstance(event, Answered):
            return [*self._noted(event, asked), *self._answered(event, asked)]
        if not isinstance(event, Sampled) or self._on_at is None or self._standing is not None:
            return []
        return self._meantime(event.t, event.t - self._on_at)

    def _answered(self, event: Answered, asked: Ask) -> list[Order]:
        raise NotImplementedError

    def _meantime(self, t: float, on_for: float) -> list[Order]:
        """What is due at time ``t``, ``on_for`` s after it was switched on."""
        raise NotImplementedError

    def remaining(self) -> float | None:
        if self._on_at is None or "for" not in self.planned.values:
            return None
        return max(0.0, self._on_at + self.planned.values["for"] - self.around.known.t)
