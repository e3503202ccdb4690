"""What a person switches on has to be switched off by a person: nothing after an order to switch off goes on before they said so.

Rule 1: what a person was told to switch on may be on from that moment, whether or not they have answered.
Rule 2: an order to switch off goes out at once, for what is on a cable. What follows it waits until a person has confirmed, one by
        one, that everything switched by hand is off; then off is ordered once more, and the rest follows.
Rule 3: at the end of a run the same is asked. A person who does not confirm leaves a bench that is not confirmed off.
"""

from __future__ import annotations

from runner.engine.bench_state import BenchState
from runner.engine.texts.by_hand import confirm_off
from runner.events import Answered, Event, OutputIsOff
from runner.orders import Ask, Order, SwitchOff, Withdraw
from runner.vocabulary import Answer, Observed, Role, Wants

SWITCHED_ON: dict[str, str] = {Observed.CHARGER_ON: Role.CHARGER, Observed.LOAD_ON: Role.LOAD}
SWITCHED_OFF: dict[str, str] = {Observed.CHARGER_OFF: Role.CHARGER, Observed.LOAD_OFF: Role.LOAD}
OFF: dict[str, Observed] = {Role.CHARGER: Observed.CHARGER_OFF, Role.LOAD: Observed.LOAD_OFF}
# marks that wait for the pack and not for the person
SIGHTS = (Observed.LOAD_STOPPED, Observed.CAME_BACK, Observed.CURRENT_GONE, Observed.CURRENT_BACK)


def asked_off(question: str, role: str, *, urgent: bool = False) -> Ask:
    """The question whose answer confirms that something switched by hand is off."""
    of = OFF[role]
    return Ask(question, confirm_off(role, urgent=urgent), of.value, Wants.MARK, role=role, of=of)


class Switches:
    """Goes through the orders of a run. ``waiting``: a person is asked to switch something off, and orders wait for that."""

    def __init__(self, known: BenchState) -> None:
        self._known = known
        self._held: list[Order] = []
        self._asked: Ask | None = None
        self._number = 0

    @property
    def waiting(self) -> bool:
        return self._asked is not None

    @property
    def sentence(self) -> str:
        """What a person is asked to switch off, or nothing."""
        return self._asked.say if self._asked is not None else ""

    @property
    def may_be_on(self) -> tuple[str, ...]:
        """The roles that a person has switched on, or may have."""
        return self._known.by_hand_on

    def happened(self, event: Event, asked: Ask | None) -> None:
        """Take in an answer to ``asked``, the question that stands."""
        if isinstance(event, Answered) and asked is not None and event.question == asked.question:
            if asked.of in SWITCHED_ON:
                self._known.path_since = event.t
            role = SWITCHED_OFF.get(asked.of)
            if role is not None and event.value != Answer.STOP:
                self._known.switched_by_hand(role, on=False)

    def is_mine(self, event: Event) -> bool:
        """Whether an event is about what is switched off here, and nothing to the step."""
        if self._asked is None:
            return False
        return isinstance(event, OutputIsOff) or (
            isinstance(event, Answered) and event.question == self._asked.question
        )

    def passed_on(self, orders: list[Order]) -> list[Order]:
        """The orders that can go out now; the others wait."""
        found = self._let_out(orders)
        for order in found:
            if isinstance(order, Ask) and order.of in SWITCHED_ON:
                self._known.switched_by_hand(SWITCHED_ON[order.of], on=True)
        return found

    def _let_out(self, orders: list[Order]) -> list[Order]:
        if self._asked is not None:
            self._held += orders
            return self._next()
        for index, order in enumerate(orders):
            if isinstance(order, SwitchOff) and self._known.by_hand_on:
                self._held = orders[index:]
                return [*orders[: index + 1], *self._next()]
        return orders

    def _next(self) -> list[Order]:
        """The next question if something may still be on, else all that has waited."""
        left = self._known.by_hand_on
        if self._asked is not None and self._asked.role in left:
            return []
        self._asked = self.ask() if left else None
        if self._asked is not None:
            return [self._asked]
        held, self._held = self._held, []
        return held

    def ask(self, *, urgent: bool = False) -> Ask:
        """The question about the first that may be on."""
        self._number += 1
        return asked_off(f"switch-off-{self._number}", self._known.by_hand_on[0], urgent=urgent)

    def dropped(self) -> list[Order]:
        """The run ends now: nothing waits any more."""
        asked, self._asked, self._held = self._asked, None, []
        return [] if asked is None else [Withdraw(asked.question)]
