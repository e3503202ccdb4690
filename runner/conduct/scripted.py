"""Operators without a person: scripted answers, and the simulated bench's own patient operator."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

from runner.engine.view import View
from runner.errors import OperatorGone
from runner.events import Answered
from runner.orders import Ask, Order
from runner.sheets.answers import Answers

UNATTENDED = Answers(kind="answers", by="simulated operator", then="go on", wait="4 s")


class ScriptedOperator:
    """Answers each question after the script's wait; whoever ``also`` is gets everything shown and told as well."""

    def __init__(
        self,
        script: Answers,
        tell: Callable[[Order, float], None] | None = None,
        show: Callable[[Callable[[], View]], None] | None = None,
    ) -> None:
        self.script = script
        self._left = deque(script.answers)
        self._asked: tuple[str, float, str] | None = None
        self._tell, self._show = tell, show

    def told(self, order: Order, t: float) -> None:
        if isinstance(order, Ask):
            self._asked = (order.question, t, order.say)
        if self._tell is not None:
            self._tell(order, t)

    def show(self, look: Callable[[], View]) -> None:
        if self._show is not None:
            self._show(look)

    def answers(self, t: float) -> list[Answered]:
        if self._asked is None:
            return []
        question, since, say = self._asked
        if t < since + self.script.wait:
            return []
        self._asked = None
        word = self._left.popleft() if self._left else self.script.then
        if word is None:
            raise OperatorGone.input_ended(say)
        return [Answered(t, question, word, self.script.by)]
