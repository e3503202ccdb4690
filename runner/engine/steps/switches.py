"""What a person switches on has to be switched off by a person: nothing after an order to switch off goes on before they said so.

Rule 1: what a person was told to switch on may be on from that moment, whether or not they have answered.
Rule 2: an order to switch off goes out at once, for what is on a cable. What follows it waits until a person has confirmed, one by
        one, that everything switched by hand is off; then off is ordered once more, and the rest follows.
Rule 3: at the end of a run the same is asked. A person who does not confirm leaves a bench that is not confirmed off.
Rule 4: an instrument on a cable that was on and cannot report whether it is off is looked at by a person at the end of the run.
Rule 5: only what is known to be off is taken for off, when it is counted how long a run has waited for a person with nothing on.
"""

from __future__ import annotations

from collections.abc import Collection
from math import inf

from runner.engine.bench_state import BenchState
from runner.engine.hands import heats
from runner.engine.texts.by_hand import confirm_off, look_at
from runner.engine.texts.ramps import take_away
from runner.events import Answered, Event, OutputIsOff, Resumed
from runner.orders import Ask, Guide, LoadOn, Order, SwitchOff, SwitchOn, Withdraw
from runner.vocabulary import Answer, Observed, Role, Wants

SWITCHED_ON: dict[str, str] = {Observed.CHARGER_ON: Role.CHARGER, Observed.LOAD_ON: Role.LOAD}
SWITCHED_OFF: dict[str, str] = {
    Observed.CHARGER_OFF: Role.CHARGER,
    Observed.LOAD_OFF: Role.LOAD,
    Observed.SUPPLY_OFF: Role.SUPPLY,
}
OFF: dict[str, Observed] = {role: Observed(of) for of, role in SWITCHED_OFF.items()}
# marks that wait for the pack and not for the person
SIGHTS = (Observed.LOAD_STOPPED, Observed.CAME_BACK, Observed.CURRENT_GONE, Observed.CURRENT_BACK)


def asked_off(question: str, role: str, *, away: str = "", ends: str = "") -> Ask:
    """The question whose answer confirms that something switched by hand is off; ``away``, ``ends`` as in ``confirm_off``."""
    of = OFF[role]
    return Ask(question, confirm_off(role, away=away, ends=ends), of.value, Wants.MARK, role=role, of=of)


def looked_at(question: str, role: str) -> Ask:
    """The question whose answer confirms that something on a cable is off which cannot report it."""
    return Ask(question, look_at(role), OFF[role].value, Wants.MARK, role=role, of=OFF[role])


class Switches:
    """Goes through the orders of a run. ``waiting``: a person is asked to switch something off, and orders wait for that."""

    def __init__(self, known: BenchState, cannot_report: tuple[str, ...] = ()) -> None:
        """``cannot_report``: the roles on a cable that cannot say whether they are off."""
        self._known = known
        self._cannot_report = cannot_report
        self._unseen: tuple[str, ...] = ()  # those of them that were on, and that nobody has looked at
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
    def left(self) -> tuple[str, ...]:
        """The roles that a person has to confirm off before a run may end as safe."""
        return (*self._known.by_hand_on, *(role for role in self._unseen if role not in self._known.by_hand_on))

    def happened(self, event: Event, asked: Ask | None) -> None:
        """Take in a resumption, and an answer to ``asked``, the question that stands."""
        if isinstance(event, Resumed):
            self._unseen = self._cannot_report  # nobody knows what was left on
        if isinstance(event, Answered) and asked is not None and event.question == asked.question:
            if asked.of in SWITCHED_ON:
                self._known.path_since = event.t
            role = SWITCHED_OFF.get(asked.of)
            if role is not None and event.value not in (Answer.STOP, Answer.DRAWS):
                self._unseen = tuple(each for each in self._unseen if each != role)
                if role in self._known.by_hand_on:
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
            on = Role.SUPPLY if isinstance(order, SwitchOn) else Role.LOAD if isinstance(order, LoadOn) else ""
            if on in self._cannot_report and on not in self._unseen:
                self._unseen = (*self._unseen, on)
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

    def ask(self, early: bool = False, reason: str = "") -> Ask:
        """The question about the first that may be on; whether the run ends ``early``, and the ``reason``."""
        self._number += 1
        question, role = f"switch-off-{self._number}", self.left[0]
        if role not in self._known.by_hand_on:
            return looked_at(question, role)
        hands_at = self._known.hands_at
        return asked_off(
            question, role, away="" if hands_at is None else take_away(hands_at), ends=reason if early else ""
        )

    def dropped(self) -> list[Order]:
        """The run ends now: nothing waits any more."""
        asked, self._asked, self._held = self._asked, None, []
        return [] if asked is None else [Withdraw(asked.question)]


class Rest:
    """How long (s) a run was broken off, or waited for a person with nothing on and nothing heated: no time of its test.

    Told of every event and order of a run as it happens, or of its journal afterwards.
    """

    def __init__(self, by_hand: Collection[str] = (), cannot_report: Collection[str] = ()) -> None:
        """The roles that a person switches, and those on a cable that cannot report whether they are off."""
        self.total = 0.0
        self._unseen = {role for role in (Role.CHARGER, Role.LOAD) if role in by_hand} | set(cannot_report)
        self._may_be_on: set[str] = set()
        self._heated = False
        self._asked: Ask | None = None
        self._last = inf

    def until(self, t: float) -> float:
        """The whole of it up to ``t`` (s)."""
        waits = self._asked is not None and self._asked.of not in SIGHTS
        if waits and not self._may_be_on and not self._heated:
            self.total += max(0.0, t - self._last)
        self._last = t
        return self.total

    def happened(self, event: Event) -> None:
        """An event, at its time."""
        if isinstance(event, Resumed):
            self.total, self._last = max(self.total, event.rested) + event.after, event.t
            self._may_be_on, self._heated, self._asked = set(self._unseen), False, None
            return
        self.until(event.t)
        if isinstance(event, OutputIsOff) and event.confirmed:
            self._may_be_on &= self._unseen
        elif isinstance(event, Answered) and self._asked is not None and event.question == self._asked.question:
            if event.value not in (Answer.STOP, Answer.DRAWS):
                self._may_be_on.discard(SWITCHED_OFF.get(self._asked.of, ""))
            self._asked = None

    def ordered(self, order: Order, t: float) -> None:
        """An order, and when (s) it was given: what is told to go on may be on from then."""
        self.until(t)
        if isinstance(order, SwitchOn | LoadOn):
            self._may_be_on.add(Role.SUPPLY if isinstance(order, SwitchOn) else Role.LOAD)
        elif isinstance(order, Guide):
            self._heated = heats(order, by_machine=True)
        elif isinstance(order, Withdraw):
            self._asked = None
        elif isinstance(order, Ask):
            self._asked = order
            if order.of in SWITCHED_ON:
                self._may_be_on.add(SWITCHED_ON[order.of])
