"""Readings that a person types are held against the ceilings too; one that is over is asked for a second time first.

Rule 1: one slip of a finger ends no run, and is not taken either: the same question comes again, with both values in it.
Rule 2: a second reading that is over ends the run, as one of an instrument would.
"""

from __future__ import annotations

from dataclasses import replace

from runner.engine.ceilings import Ceilings
from runner.events import Answered
from runner.orders import Ask
from runner.vocabulary import Observed, Wants

CEILING_OF: dict[str, str] = {
    Observed.CLAMP_CURRENT: "current",
    Observed.CHARGING_VOLTAGE: "voltage",
    Observed.LOADED_VOLTAGE: "voltage",
    Observed.THERMOMETER: "temperature",
}


class TypedReadings:
    """Looks at answers before a step does. ``ceilings`` are those of the run."""

    def __init__(self, ceilings: Ceilings) -> None:
        self._ceilings = ceilings
        self._first: Ask | None = None  # the question whose answer was over, while it is asked again

    def passed(self, event: Answered, asked: Ask | None) -> str:
        """Which ceiling is passed for certain, as a sentence, or nothing."""
        return self._over(event, asked) if self._first is not None else ""

    def answered(self, event: Answered, asked: Ask | None) -> tuple[Answered, Ask | None]:
        """(the answer as the step expects it, the question that is asked again in place of it or None)."""
        first, self._first = self._first, None
        over = self._over(event, asked)
        if over and asked is not None:
            self._first = asked
            say = f"You typed a {over}. Read again and type what you see. {asked.say}"
            return event, replace(asked, question=f"{asked.question}-again", say=say)
        return (event if first is None else replace(event, question=first.question)), None

    def _over(self, event: Answered, asked: Ask | None) -> str:
        if asked is None or event.question != asked.question or asked.wants != Wants.NUMBER:
            return ""
        name = CEILING_OF.get(asked.of)
        return self._ceilings.typed(name, float(event.value)) if name is not None else ""
