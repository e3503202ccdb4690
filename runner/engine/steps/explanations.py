"""A question to a person where readings leave two explanations of a current that has stopped or gone down.

Rule 1: nothing is heated, cooled or set while it stands; the path stays as it is, or a return would be no return.
Rule 2: the answer reaches the watcher, in the run and in every evaluation of it (watching.py); a step looks at what the watcher
        then says. "cannot tell" changes nothing.
"""

from __future__ import annotations

from runner.engine.program import Planned
from runner.engine.steps.base import SPOILED
from runner.engine.watch.verdict import Verdict
from runner.events import Answered, Event
from runner.orders import Ask, Order, Withdraw
from runner.vocabulary import Explanation, Wants

RECORD = "explanation of the current"


class Explanations:
    """The questions of one step; ``doubted`` is the verdict that a question stands about."""

    def __init__(self, planned: Planned) -> None:
        self._planned, self._number = planned, 0
        self.doubted: Verdict | None = None

    @property
    def question(self) -> str:
        """The name of the question that was asked last."""
        return f"step-{self._planned.index}-explanation-{self._number}"

    def ask(self, doubted: Verdict) -> list[Order]:
        """The question, with both explanations."""
        self.doubted, self._number = doubted, self._number + 1
        one, other = doubted.between
        why = f"{doubted.why[:1].upper()}{doubted.why[1:]}"
        say = (
            f"{why}. Two explanations: {one}, or {other}. Look at the pack's own display or alarm, "
            "and choose. Meanwhile heat and cool nothing."
        )
        sensor = f"{self._planned.sensor}: " if self._planned.sensor else ""
        choices = (*doubted.between, Explanation.UNKNOWN)
        return [Ask(self.question, say, f"{sensor}{RECORD}", Wants.CHOICE, choices=choices)]

    def answered(self, event: Event) -> Verdict | None:
        """The verdict that a person has just been asked about and has answered, or None."""
        if self.doubted is None or not isinstance(event, Answered) or event.question != self.question:
            return None
        doubted, self.doubted = self.doubted, None
        return doubted

    def stands(self, now: Verdict) -> bool:
        """Whether the question stands; not any more when something at the bench, as it is ``now``, has made it pointless."""
        return self.doubted is not None and (bool(now.between) or now.word not in SPOILED)

    def withdrawn(self) -> list[Order]:
        """The question no longer matters."""
        if self.doubted is None:
            return []
        self.doubted = None
        return [Withdraw(self.question)]
