"""Operators without a person: scripted answers, and the simulated bench's own patient operator."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Protocol

from runner.conduct.answer_parsing import NotUnderstood, as_read, understood
from runner.conduct.texts import answers as texts
from runner.engine.view import View
from runner.errors import OperatorGone
from runner.events import Answered, Sampled
from runner.orders import Ask, Order, Withdraw
from runner.sheets.answers import Answers
from runner.vocabulary import Answer, Explanation, Wants

UNATTENDED = Answers(
    kind="answers",
    by="simulated operator",
    then="go on",
    wait="4 s",
    agree="accepted automatically (unattended rehearsal)",
)


AGREES = {
    Answer.AGREE,
    Answer.LEAVE_OUT,
    Answer.READ_AGAIN,
}  # the choices of a question that a person agrees to with a reason


class Eyes(Protocol):
    """What the simulated operator sees. ``t`` is the run's time in s."""

    def told(self, order: Order, t: float) -> None:
        """An order went by."""

    def read(self, ask: Ask) -> str:
        """What is typed in answer to a question that wants more than a key."""

    def moment(self, ask: Ask, t: float) -> float | None:
        """When a key that marks a sight was pressed, or None if there is nothing to see yet."""

    def too_late(self, ask: Ask) -> bool:
        """Whether what a question wants marked had happened before anybody looked; asked once, at the first look."""

    def act(self, ask: Ask) -> None:
        """The question is being answered: do at the bench what it asked for."""

    def displays(self) -> dict[str, float]:
        """What thermometer and voltmeter show now, by channel, with the digits they have."""

    def taps(self, t: float) -> list[Sampled]:
        """The keys pressed at a hand-held thermometer since the last call."""


class ScriptedOperator:
    """Answers each question after the script's wait; whoever ``tell`` and ``show`` belong to is told and shown as well."""

    def __init__(
        self,
        script: Answers,
        tell: Callable[[Order, float], None] | None = None,
        show: Callable[[Callable[[], View], float], None] | None = None,
        eyes: Eyes | None = None,
    ) -> None:
        self.script = script
        self._left = deque(script.answers)
        self._asked: tuple[Ask, float] | None = None
        self._tell, self._show, self._eyes = tell, show, eyes

    def told(self, order: Order, t: float) -> None:
        if isinstance(order, Ask):
            self._asked = (order, t)
        if isinstance(order, Withdraw) and self._asked is not None and self._asked[0].question == order.question:
            self._asked = None
        if self._eyes is not None:
            self._eyes.told(order, t)
        if self._tell is not None:
            self._tell(order, t)

    def show(self, look: Callable[[], View], t: float) -> None:
        if self._show is not None:
            self._show(look, t)

    def answers(self, t: float) -> list[Answered | Sampled]:
        found: list[Answered | Sampled] = list(self._eyes.taps(t)) if self._eyes is not None else []
        if self._asked is None or t < self._asked[1] + self.script.wait:
            return found
        ask, _ = self._asked
        at = t
        if ask.instead == Answer.ALREADY and self._eyes is not None and self._eyes.too_late(ask):
            self._asked = None
            return [*found, Answered(t, ask.question, Answer.ALREADY, self.script.by)]
        if ask.wants == Wants.MARK and self._eyes is not None:
            moment = self._eyes.moment(ask, t)
            if moment is None:
                return found
            at = moment
        self._asked = None
        answer = self._answer(ask, at)
        if self._eyes is not None:
            self._eyes.act(ask)
        return [*found, answer]

    def _answer(self, ask: Ask, t: float) -> Answered:
        reason = bool(ask.choices) and AGREES.issuperset(ask.choices)  # a procedure may have an agree of its own
        if reason and Answer.AGREE in ask.choices and self.script.agree:
            return Answered(t, ask.question, Answer.AGREE, self.script.by, self.script.agree)
        if reason and Answer.LEAVE_OUT in ask.choices and self.script.leave_out:
            return Answered(t, ask.question, Answer.LEAVE_OUT, self.script.by, self.script.leave_out)
        word = self._left.popleft() if self._left else self.script.then
        if word is None:
            raise OperatorGone.input_ended(ask.say)
        if word == Answer.STOP:
            return Answered(t, ask.question, Answer.STOP, self.script.by)
        if word == Answer.GO_ON and reason:  # it would be asked for its reason for ever
            needed = (
                "a reason is needed (agree: or leave_out: in the answers file)"
                if Answer.AGREE in ask.choices
                else "this cannot go on"
            )
            raise OperatorGone.no_answer(ask.say, f"the script says go on, {needed}")
        if word == Answer.GO_ON and Explanation.UNKNOWN in ask.choices:
            # a script has not looked at the pack; the program can
            word = Explanation.LOOK if Explanation.LOOK in ask.choices else Explanation.UNKNOWN
        if word == Answer.GO_ON and ask.wants in (Wants.NUMBER, Wants.CHOICE) and Answer.GO_ON not in ask.choices:
            if self._eyes is None:
                raise OperatorGone.no_answer(ask.say, texts.script_needs(ask.choices, as_read(ask.unit)))
            word = self._eyes.read(ask)
        try:
            reply = understood(ask, word)
        except NotUnderstood as error:
            words = f"{error} ({', '.join(ask.choices)})" if ask.choices else str(error)
            raise OperatorGone.no_answer(ask.say, words) from error
        return Answered(t, ask.question, reply.value, self.script.by, reply.note, reply.files)
