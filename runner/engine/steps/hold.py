"""Steps in which nothing goes on until a person has said so."""

from __future__ import annotations

from runner.engine.steps.base import SLOW_PACE, Step
from runner.engine.watcher import Verdict
from runner.events import Answered, Event
from runner.orders import Ask, Order


class Confirm(Step):
    """A hold point."""

    asks = True

    def begin(self, t: float) -> list[Order]:
        self.question = f"step-{self.planned.index}"
        return [SLOW_PACE, Ask(self.question, self.planned.say, self.planned.record)]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, Answered) and event.question == self.question and event.value == "go on":
            self._end()
        return []
