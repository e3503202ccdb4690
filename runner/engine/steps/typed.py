"""Readings that a person types are looked at before a step takes them: ceilings, what this pack can have, the readings before.

Rule 1: one slip of a finger ends no run, decides no finding and is not taken: the same question comes again, with what was
        typed in it and what was expected. Both answers stand in the journal.
Rule 2: what decides a statement by itself is shown again, and counts once it was confirmed.
Rule 3: a second reading that is over a ceiling ends the run, as one of an instrument would. A second one that is only odd is
        taken as it is: the person has looked twice, and packs do odd things.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from runner.engine.ceilings import Ceilings
from runner.engine.steps.person import FALLS_TO
from runner.engine.texts import by_hand as texts
from runner.engine.texts.asking import confirmed
from runner.events import Answered
from runner.orders import Ask
from runner.vocabulary import Answer, Observed, Wants

CEILING_OF: dict[str, str] = {
    Observed.CLAMP_CURRENT: "current",
    Observed.CHARGING_VOLTAGE: "voltage",
    Observed.LOADED_VOLTAGE: "voltage",
    Observed.THERMOMETER: "temperature",
}
# a reading -> the one before it that it is held against, and between which shares of that it is usual (common practice, no source)
AGAINST: dict[str, tuple[str, float, float]] = {
    Observed.LOADED_VOLTAGE: (Observed.LOADED_VOLTAGE, 0.85, 1.04),
    Observed.LAST_VOLTAGE: (Observed.LOADED_VOLTAGE, 0.70, 1.04),
    Observed.CHARGING_VOLTAGE: (Observed.CHARGING_VOLTAGE, 0.93, 1.15),
}
# a total -> the total before it, and how much may have come to it: a share of what the pack is rated
TOTALS: dict[str, str] = {
    Observed.CHARGE_AFTER: Observed.CHARGE_BEFORE,
    Observed.ENERGY_AFTER: Observed.ENERGY_BEFORE,
}
MOST_OF_RATED = 1.5
# what decides a statement by itself is shown again before it counts: a slip within what is usual shows in nothing else
DECIDES = (Observed.LAST_VOLTAGE, Observed.WOKEN_VOLTAGE, *TOTALS, *TOTALS.values())


class TypedReadings:
    """``ceilings`` are those of the run; ``usual``: what a reading of a kind has on this pack, in SI; ``rated``: A·s and J.

    ``protection`` is the one that is tested.
    """

    def __init__(
        self,
        ceilings: Ceilings,
        usual: Mapping[str, tuple[float, float]],
        rated: tuple[float, float] = (0.0, 0.0),
        protection: str = "",
    ) -> None:
        self._ceilings, self._usual = ceilings, usual
        self._rated = {Observed.CHARGE_AFTER: rated[0], Observed.ENERGY_AFTER: rated[1]}
        self._protection = protection
        self._put = ""  # the question that was put here, in place of the step's
        self._first: Ask | None = None  # the question whose answer was not taken, while it is asked again
        self._before: dict[str, float] = {}  # the last reading of each kind that was taken
        self._to_confirm: tuple[Ask, Answered] | None = None  # what is shown again, and the answer that will count

    def passed(self, event: Answered, asked: Ask | None) -> str:
        """Which ceiling is passed for certain, as a sentence, or nothing."""
        again = self._first is not None and asked is not None and asked.question == self._put
        return self._over(event, asked) if again else ""

    def answered(self, event: Answered, asked: Ask | None) -> tuple[Answered, Ask | None]:
        """(the answer as the step expects it, the question that is asked again in place of it or None)."""
        if (
            asked is None or event.question != asked.question
        ):  # of a question that stands no more: it counts for no other
            return event, None
        if (
            asked.question != self._put
        ):  # the step has gone on meanwhile: what was to be shown or read again is its no more
            self._first = self._to_confirm = None
        answer, again = self._taken(event, asked)
        self._put = "" if again is None else again.question
        return answer, again

    def _taken(self, event: Answered, asked: Ask) -> tuple[Answered, Ask | None]:
        """The same, of an answer to the question that stands."""
        if self._to_confirm is not None:
            return self._confirmed(event, *self._to_confirm)
        first, self._first = self._first, None
        over = self._over(event, asked)
        why = over or ("" if first is not None else self._odd(event, asked))
        if why:
            self._first = asked
            say = texts.read_again(why, asked.say, hot=bool(over) and CEILING_OF[asked.of] == "temperature")
            return event, replace(asked, question=f"{asked.question}-again", say=say)
        answer = event if first is None else replace(event, question=first.question)
        if not asked.of or not self._is_reading(event, asked):
            return answer, None
        if self._decides(asked, float(event.value)):
            self._to_confirm = (first or asked, answer)
            say = texts.is_it_right(float(event.value), asked.dimension, asked.of)
            question, record = f"{(first or asked).question}-shown", confirmed(asked.record)
            return event, Ask(question, say, record, Wants.CHOICE, choices=(Answer.GO_ON.value, Answer.WRONG.value))
        self._before[asked.of] = float(event.value)
        return answer, None

    def _confirmed(self, event: Answered, asked: Ask, answer: Answered) -> tuple[Answered, Ask | None]:
        """What comes of a value that was shown again."""
        self._to_confirm = None
        if event.value == Answer.WRONG:
            self._first = asked
            return event, replace(asked, question=f"{asked.question}-again")
        self._before[asked.of] = float(answer.value)
        return answer, None

    def _decides(self, asked: Ask, value: float) -> bool:
        """Whether a reading decides a statement by itself: a voltage below the floor that the pack did not cut off; the lowest
        cell after the wait, in a test of under-voltage, that it should have come back.
        """
        if asked.of == Observed.LOADED_VOLTAGE:
            return asked.lowest is not None and value < asked.lowest
        if asked.of == Observed.LOWEST_CELL_VOLTAGE:
            return self._protection == "under_voltage" and asked.highest is not None
        return asked.of in DECIDES

    @staticmethod
    def _is_reading(event: Answered, asked: Ask) -> bool:
        return event.question == asked.question and asked.wants == Wants.NUMBER

    def _over(self, event: Answered, asked: Ask | None) -> str:
        if asked is None or not self._is_reading(event, asked):
            return ""
        name = CEILING_OF.get(asked.of)
        return self._ceilings.typed(name, float(event.value)) if name is not None else ""

    def _odd(self, event: Answered, asked: Ask | None) -> str:
        """What is odd about a reading, as a sentence, or nothing."""
        if asked is None or not self._is_reading(event, asked):
            return ""
        value, of = float(event.value), asked.of
        low, high = self._usual.get(of, (value, value))
        where = texts.FOR_THIS_PACK
        if of in AGAINST and AGAINST[of][0] in self._before:
            kind, least, most = AGAINST[of]
            before = self._before[kind]
            if not least * before <= value <= most * before:
                low, high, where = least * before, most * before, texts.after_the_last(before, asked.dimension)
        if of == Observed.CLAMP_CURRENT and asked.lowest is not None and 0 < abs(value) < asked.lowest:
            low, high, where = asked.lowest, asked.lowest / FALLS_TO, texts.EARLIER
        if of == Observed.THERMOMETER and asked.lowest is not None and asked.highest is not None:
            low, high, where = asked.lowest, asked.highest, texts.SINCE_THE_MARK
        if of in TOTALS and TOTALS[of] in self._before:
            before = self._before[TOTALS[of]]
            most = MOST_OF_RATED * self._rated[Observed(of)] or math.inf
            low, high, where = before - most, before + most, texts.AFTER_THE_TOTAL
        if low <= value <= high:
            return ""
        return texts.odd(asked.dimension, value, (low, high), where)
