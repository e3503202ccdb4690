"""The keys of a run's screen: go on, mark, answer, stop, leave.

Rule 1: one key goes on (Enter), one stops (F8, and x where no letter can be typed); neither leaves a form anywhere.
Rule 2: leaving a run that goes on is asked first; y stops it and leaves, Enter and Esc stay: a slip ends no run of an hour.
Rule 3: a key pressed before a question could be read answers nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

from textual.containers import VerticalScroll
from textual.widgets import Input

from runner.conduct.answer_parsing import NotUnderstood, Reply, hint, is_stop, stopped_by, understood
from runner.conduct.interfaces import StopFlag
from runner.engine.steps.switches import SWITCHED_OFF
from runner.screen.feed import ScreenOperator
from runner.screen.keys import ENTER, KEYS, NOT_WHILE_TYPING, STOPS
from runner.screen.now.base import RunView
from runner.screen.now.to_do import ToDo, Verb
from runner.screen.texts import run as texts
from runner.vocabulary import Answer, Role, Wants
from runner.workspace.job import Job

REACTION = (
    0.6  # s after a question is on the screen: a key pressed sooner was meant for the one before, or a switch bounced
)
TOO_SOON_FOR = 3.0  # s for which it is said of a key that it came too soon
STAYS_AFTER = 15.0  # s after which nobody asks any longer whether the run is to be left


class RunScreen(RunView):
    """Tells the operator object and the stop flag what the person did."""

    BINDINGS = list(KEYS)
    CSS_PATH = "run.tcss"

    def __init__(
        self,
        job: Job,
        headings: Sequence[str],
        operator: ScreenOperator,
        stop: StopFlag,
        plan: Sequence[str] = (),
        *,
        watching: bool = False,
        speed: float = 1.0,
    ) -> None:
        """``headings``: the title in several wordings, the fullest first; ``speed`` of the run's clock.

        ``plan`` are the lines of the session that this run belongs to, shown with the cautions.
        ``watching``: somebody else answers, and the person here can only stop.
        """
        super().__init__(job, headings, operator, plan, watching=watching, speed=speed)
        self.stop = stop
        self.reaction = REACTION

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """A letter is a letter where something is typed; what is over cannot be stopped."""
        if self.end is not None and action in STOPS:
            return False
        degrees = self.taps is not None and not self.watching and (self.asked is None or self._marks_current)
        leave = not self._leaving and not self._next_follows
        leaves = {"leave": leave, "leave_by_letter": leave, "leave_now": self._leaving}
        leaves["next_procedure"] = self._next_follows and not self._leaving
        when = {"mark_current": self._marks_current, "missed": degrees, **leaves}
        if not when.get(action, True):
            return False
        if action in ENTER and self._enter_does != action:
            return False
        return not (action in NOT_WHILE_TYPING and self._is_typing)

    @property
    def _switches(self) -> bool:
        """Whether anything that carries the pack's current is on a cable."""
        return not {Role.SUPPLY, Role.LOAD}.isdisjoint(self.job.bench.wired())

    @property
    def _enter_does(self) -> str:
        """The action of Enter now: stay, confirm that it is off, go on, mark a moment, or nothing."""
        if self._leaving:
            return "stay"
        if self._orders_off:
            return "is_off"
        if self._is_found:
            return "open_findings"
        if self.asked is not None:
            return "mark" if self.asked.wants == Wants.MARK else "go_on"
        return "" if self.taps is None or self.watching else "mark"

    def action_mark(self) -> None:
        self.action_go_on()

    def action_missed(self) -> None:
        self.operator.miss()

    def action_open_findings(self) -> None:
        self.app.show_findings()  # type: ignore[attr-defined]

    def action_next_procedure(self) -> None:
        self.action_leave()

    def action_go_on(self) -> None:
        meant = self.pressed_at() >= self._taps_since + self.reaction  # and not for the question before the ramp
        if (self.asked is None or self._marks_current) and self.taps is not None and meant:
            self.operator.tap()
        if self.asked is None or self._marks_current:
            return
        if self.pressed_at() < self._asked_since + self.reaction:
            self.notify(texts.TOO_SOON, timeout=TOO_SOON_FOR)
            return
        if self._more_below:  # nobody agrees to what they have not seen
            self.query_one("#page", VerticalScroll).scroll_page_down(animate=False)
            self.call_after_refresh(self._ask_again)
            return
        self._answer(Reply(Answer.GO_ON))

    def action_mark_current(self) -> None:
        self._answer(Reply(Answer.GO_ON))

    def action_is_off(self) -> None:
        """A person has switched off by hand what did not confirm it."""
        if self.end is None or self.pressed_at() < self._asked_since + self.reaction:
            return
        self._switched_off = True
        self.now.confirmed_off()
        self.refresh_bindings()
        self._show_end(self.end)
        self._show_findings()

    def on_input_submitted(self, message: Input.Submitted) -> None:
        message.stop()
        if self._leaving:
            self.action_stay()
            return
        if self.asked is not None and is_stop(self.asked, message.value):
            self.action_stop(stopped_by("", message.value))
            return
        if self.asked is None or self.pressed_at() < self._asked_since + self.reaction:
            return
        try:
            self._answer(understood(self.asked, message.value))
        except NotUnderstood as error:
            message.input.select_all()  # the next key begins anew: x is x, whatever stood there
            self._refused = texts.no_answer(str(error), hint(self.asked))
            self._ask_again()

    def _answer(self, reply: Reply) -> None:
        assert self.asked is not None
        question, self.asked = self.asked.question, None
        self._typing(None)
        self._page(shown=False)
        self.operator.reply(question, reply)

    def pressed_at(self) -> float:
        """When the terminal gave us the last key or click (monotonic s), however late it is handled."""
        at: float = getattr(self.app, "pressed_at", -inf)
        return at

    # ---- stopping and leaving ----------------------------------------------------------------------------------

    def action_stop(self, note: str = "") -> None:
        if self.end is not None:
            return
        self.stop.press(texts.by_key(self.operator.name, note))
        self._leaving = False
        if self.asked is not None and self.asked.of in SWITCHED_OFF:
            self._ask_again()  # what has to be switched off by hand stays on the screen
            return
        self.asked, self._stopping = None, True
        self._typing(None)
        said = texts.STOPPING if self._switches else texts.STOPPING_BY_HAND
        self._say(said, texts.WAIT_FOR_OFF, hold=True, do=ToDo(Verb.STOPPING))

    def action_stop_by_letter(self) -> None:
        self.action_stop()

    def action_leave_by_letter(self) -> None:
        self.action_leave()

    def action_leave(self) -> None:
        """Leave; a run that goes on, or a bench that is not off, is asked about first."""
        goes_on = self.end is None and not self.stop.pressed
        if goes_on or self._orders_off or self._waits_for_off:
            words = texts.leave(self._by_hand_on, wired=self._switches) if goes_on else texts.LEAVE_NOT_OFF
            self._say(words, texts.LEAVE_KEYS, hold=True, do=ToDo(Verb.LEAVE))
            self._leaving = True
            self.set_focus(None)  # a field that is typed in would take the y
            self.set_timer(STAYS_AFTER, self.action_stay)
            self.refresh_bindings()
            return
        self.action_leave_now()

    @property
    def _waits_for_off(self) -> bool:
        """Whether the run has been stopped, and a person has not yet confirmed that what they switched on is off."""
        return self.end is None and self.stop.pressed and bool(self._by_hand_on)

    def action_leave_always(self) -> None:
        """Asked the first time, and meant the second."""
        self.action_leave_now() if self._leaving else self.action_leave()

    def action_leave_now(self) -> None:
        """Leave; a run that goes on is stopped first."""
        on = self.end is None and self._by_hand_on
        waits = on and not self.stop.pressed  # for what a person has to switch off; the same key again leaves
        self.action_stop()
        if not waits:
            self.app.exit()

    def action_stay(self) -> None:
        """Nobody leaves: what stood there before stands there again."""
        if not self._leaving:
            return
        self._leaving = False
        if self._is_typing:
            self.query_one("#answer", Input).focus()
        self.refresh_bindings()
        if self.end is not None:
            self._show_end(self.end)
        elif self.asked is not None:
            self._ask_again()
        elif self.view is not None:
            self._say(self.view.sentence, "", hold=False)
