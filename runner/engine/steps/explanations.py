"""A question to a person where readings leave two explanations of a current that has stopped or gone down.

Rule 1: nothing is heated, cooled or set while it stands; the path stays as it is, or a return would be no return.
Rule 2: where a charge has stopped, the program may find out itself: off for a minute, on again (engine/watch/look.py), LOOKS times
        in a step at most. A script that cannot see the pack chooses that.
Rule 3: the answer reaches the watcher, in the run and in every evaluation of it (watching.py); a step looks at what the watcher
        then says. "cannot tell" changes nothing.
"""

from __future__ import annotations

from runner.engine.steps.base import SPOILED, Step
from runner.engine.texts import asking as texts
from runner.engine.watch.look import REST, Look
from runner.engine.watch.stop import FULL_OR_TRIP
from runner.engine.watch.verdict import Verdict
from runner.events import METER_VOLTAGE, Answered, Event, LimitsAreSet, Sampled, SupplyIsSet
from runner.orders import Ask, Order, Remark, SetLimits, SetSupply, SwitchOff, SwitchOn, Withdraw
from runner.vocabulary import Explanation, Role, Wants

LOOKS = 2


class Explanations:
    """The questions of one step; ``doubted`` is the verdict that a question stands about."""

    def __init__(self, step: Step) -> None:
        self._planned, self._around, self._number = step.planned, step.around, 0
        self.doubted: Verdict | None = None
        self._look: Look | None = None
        self._looked, self._coming = 0, False

    @property
    def question(self) -> str:
        """The name of the question that was asked last."""
        return f"step-{self._planned.index}-explanation-{self._number}"

    def ask(self, doubted: Verdict) -> list[Order]:
        """The question, with both explanations."""
        self.doubted, self._number = doubted, self._number + 1
        one, other = doubted.between
        sensor = f"{self._planned.sensor}: " if self._planned.sensor else ""
        look = (Explanation.LOOK,) if self._may_look(doubted) else ()
        say = texts.which_of_two(doubted.why, one, other, REST if look else None)
        choices = (*doubted.between, *look, Explanation.UNKNOWN)
        return [Ask(self.question, say, f"{sensor}{texts.EXPLANATION}", Wants.CHOICE, choices=choices)]

    def _may_look(self, doubted: Verdict) -> bool:
        """Whether the program can find out: a supply that it switches itself, and a voltmeter at the pack that it reads."""
        known, by_hand = self._around.known, self._around.program.by_hand
        wired = not {Role.SUPPLY, Role.CHARGER, Role.METER} & set(by_hand)
        return doubted.between == FULL_OR_TRIP and wired and METER_VOLTAGE in known.latest and self._looked < LOOKS

    def look(self, event: Event) -> list[Order] | None:
        """What the program's own look wants done; None while there is none, and when it is over."""
        if self._is_mine(event, Explanation.LOOK):
            self._looked, self._coming = self._looked + 1, False
            self._look = Look(*self._around.known.points, 0.0)
            return [Remark(texts.LOOKING), SwitchOff()]
        if self._look is None:
            return None
        self._look.happened(event)
        if self._look.over:
            return None
        voltage, current = self._around.known.points
        if isinstance(event, Sampled) and self._look.rested(event.t) and not self._coming:
            self._coming = True
            return [SetLimits(*self._around.program.protect)]
        if self._coming and isinstance(event, LimitsAreSet):
            return [SetSupply(voltage, current)]
        return [SwitchOn()] if self._coming and isinstance(event, SupplyIsSet) else []

    def _is_mine(self, event: Event, value: str) -> bool:
        asked = self.doubted is not None and isinstance(event, Answered) and event.question == self.question
        return asked and isinstance(event, Answered) and event.value == value

    def answered(self, event: Event) -> Verdict | None:
        """The verdict that a person has just been asked about and has answered, or that has been looked into; or None."""
        if self._look is not None and self._look.over:
            self._look, doubted, self.doubted = None, self.doubted, None
            return doubted
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
