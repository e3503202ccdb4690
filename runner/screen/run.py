"""The screen of a run: what to do, what is read, what the watcher thinks, and the way to stop it."""

from __future__ import annotations

import time
from collections.abc import Sequence
from math import inf

from textual.app import ComposeResult
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, Input, Static

from runner.conduct.answer_parsing import NotUnderstood, Reply, hint, is_stop, marks_current, understood
from runner.conduct.interfaces import StopFlag
from runner.engine.opening import CAUTIONS
from runner.engine.steps.switches import SWITCHED_OFF
from runner.engine.view import View
from runner.events import CHARGE, CURRENT_OF, METER_VOLTAGE, PROBE_TEMPERATURE, VOLTAGE_OF
from runner.orders import Ask, AskTaps, BeginStep, Conclude, End, Order, Withdraw
from runner.screen.feed import ScreenOperator, Told, ViewSeen
from runner.screen.keys import KEYS, NOT_WHILE_TYPING, STOPS
from runner.screen.sentences import (
    Hint,
    before_all,
    cautions,
    coach_line,
    ended_in_words,
    in_the_field,
    is_typed,
    next_mark,
)
from runner.screen.widgets.headroom import HeadroomLine
from runner.screen.widgets.prompt import Prompt
from runner.screen.widgets.readout import Readout
from runner.screen.widgets.step_list import StepList
from runner.screen.widgets.strip_chart import LETTERS, Marks, StripChart
from runner.vocabulary import Answer, Wants
from runner.workspace.job import Job

REACTION = (
    0.6  # s after a question is on the screen: a key pressed sooner was meant for the one before, or a switch bounced
)
PARTS = ("#prompt", "#answer", "#coach", "#page-text", "#chart", "#steps", "#headroom")
HURRY = 120.0  # s of the clock on the wall: less time for an answer is shown
CONFIRM_OFF = "Press Enter when it is off."


class RunScreen(Screen[None]):
    """Draws views and orders as they come; tells the operator object and the stop flag what the person did."""

    BINDINGS = list(KEYS)
    CSS_PATH = "run.tcss"
    CAUTIONS_FIRST = True
    AUTO_FOCUS = ""  # a field that nobody sees would take the keys

    def __init__(
        self,
        job: Job,
        heading: str,
        operator: ScreenOperator,
        stop: StopFlag,
        plan: Sequence[str] = (),
        *,
        watching: bool = False,
        speed: float = 1.0,
    ) -> None:
        """``plan`` are the lines of the session that this run belongs to, shown with the cautions.

        ``watching``: somebody else answers, and the person here can only stop. ``speed`` of the run's clock.
        """
        super().__init__()
        self.speed = speed
        self.plan, self.watching = plan, watching
        self.job, self.heading, self.operator, self.stop = job, heading, operator, stop
        self.marks = Marks(job.program.trip_limits)
        self.asked: Ask | None = None
        self.reaction = REACTION
        self._asked_since = inf
        self.taps: AskTaps | None = None
        self.end: End | None = None
        self._switched_off = False  # a person has said so, after an end at which the bench did not confirm it
        self._findings: tuple[list[str], str] | None = None
        self.view: View | None = None
        self._found = False
        self._refused = False  # what was typed last was no answer
        self._coach = ""

    def compose(self) -> ComposeResult:
        yield Static(Content(self.heading), id="title")
        yield Prompt(id="prompt")
        yield Input(id="answer", select_on_focus=False)
        with Horizontal(id="readouts"):
            yield Readout("probe", "°C", "{:.2f}")
            yield Readout("ramp", "K/min", "{:+.1f}")
            yield Readout("current", "A", "{:.3f}")
            yield Readout("pack terminals", "V", "{:.2f}")
        yield Static("", id="coach", markup=False)
        with Horizontal(id="middle"):
            with VerticalScroll(id="page"):
                yield Static(cautions(self.job.program, self.plan), id="page-text")
            yield StripChart(self.operator.trace, self.marks)
            yield StepList()
        yield HeadroomLine(id="headroom")
        yield Footer()

    def on_mount(self) -> None:
        self._typing(None)
        self._page(shown=self.CAUTIONS_FIRST)
        self.query_one(Prompt).show("The run is about to begin.", "", hold=False)
        self.operator.attach(self)

    @property
    def is_whole(self) -> bool:
        """Whether every part is there: not while the screen is put together or taken apart."""
        return all(self.query(part) for part in PARTS)

    # ---- what the run says -----------------------------------------------------------------------------------

    def on_view_seen(self, message: ViewSeen) -> None:
        if not self.is_whole:
            return
        view = self.view = message.view
        readings = view.readings
        path = view.path or CHARGE
        current, voltage = CURRENT_OF[path], VOLTAGE_OF[path]
        values = (
            None if PROBE_TEMPERATURE in view.lost else readings.get(PROBE_TEMPERATURE),
            None if view.rate is None else view.rate * 60,
            None if current in view.lost else readings.get(current),
            readings.get(METER_VOLTAGE, readings.get(voltage)),
        )
        for readout, value in zip(self.query(Readout), values, strict=True):
            readout.show(value)
        self.query_one(StepList).show(view.steps)
        self.query_one(HeadroomLine).show(view.headroom, view.remaining)
        self._show_output()
        self.query_one(StripChart).moved_on()
        if self._marks_current or (self.asked is not None and view.answer_within is not None and not self._refused):
            self._ask_again()
        if self.asked is None and self.end is None:
            detail = next_mark(self.operator.degree) if self.taps else f"current: {view.word}, {view.why}"
            self.query_one(Prompt).show(view.sentence, detail, hold=False)

    def _ask_again(self, error: str = "") -> None:
        """The question that stands, and what may be answered; ``error``: why the last answer was none."""
        if self.asked is None:
            return
        if self._marks_current:
            say = f"{self.view.sentence if self.view is not None else ''} {self.asked.say}".strip()
            self.query_one(Prompt).show(say, Hint.TWO_KEYS, hold=False)
            return
        if self._is_typing:
            words = f"{error or hint(self.asked)} · {Hint.ESCAPE}"
        elif self.asked.wants == Wants.MARK:
            words = Hint.MARK_KEY
        else:
            words = f"HOLD POINT · {Hint.MORE_KEY if self._more_below else Hint.GO_KEY}"
        left = None if self.view is None or self.view.answer_within is None else self.view.answer_within / self.speed
        if left is not None and left < HURRY and self.speed < inf:
            minutes = f"{int(left) // 60}:{int(left) % 60:02d}"
            words = f"Answer within {minutes}, or the run ends and everything switches off. {words}"
        self.query_one(Prompt).show(self.asked.say, words, hold=True)

    @property
    def _more_below(self) -> bool:
        """Whether the cautions go on below what can be seen."""
        page = self.query_one("#page", VerticalScroll)
        return (
            page.display
            and self.asked is not None
            and self.asked.question == CAUTIONS
            and page.scroll_y < page.max_scroll_y
        )

    def _show_output(self) -> None:
        """What to do about the ramp, and what is on."""
        coach = coach_line(self.view, self.end) if self.view is not None else ""
        if coach != self._coach:
            self._coach = coach
            self.query_one("#coach", Static).update(Content(coach), layout=False)

    def on_told(self, message: Told) -> None:
        order = message.order
        if isinstance(order, Ask) and self.watching:
            self._page(shown=order.question == CAUTIONS)
            self.query_one(Prompt).show(order.say, "the simulated operator answers · x stops", hold=True)
        elif isinstance(order, BeginStep) and self.watching:
            self._page(shown=False)
        elif isinstance(order, Ask):
            self.asked, self._asked_since, self._refused = order, inf, False
            self.call_after_refresh(self._drawn)
            self._page(shown=order.question == CAUTIONS)
            self._typing(order)
            self._ask_again()
            self.app.bell()
        elif isinstance(order, Withdraw):
            if self.asked is not None and self.asked.question == order.question:
                self.asked = None
                self._typing(None)
        elif isinstance(order, AskTaps):
            self.taps = order if order.step else None
            self.refresh_bindings()
        elif isinstance(order, Conclude):
            self._mark(order, message.t)
        elif isinstance(order, End):
            self.end, self.asked, self._asked_since = order, None, inf
            self.call_after_refresh(self._drawn)
            self._typing(None)
            self._show_output()
            self._show_end(order)
            self.app.bell()

    def finished(self, lines: list[str], where: str) -> None:
        """The findings are there: show them in place of the chart, once the bench is off. Only when the screen is whole."""
        self._findings = (lines, where)
        self._show_findings()

    def _show_findings(self) -> None:
        if self._findings is None or self._orders_off:
            return
        lines, where = self._findings
        self.query_one("#page-text", Static).update(Content("\n".join(["FINDINGS", *lines])))
        self._page(shown=True)
        self._found = True
        self.refresh_bindings()
        first = before_all(self.end, self._switched_off) if self.end is not None else ""
        early = self.end is None or self.end.early
        leaving = "q: go on with the session." if self.plan and not early else "q: leave."
        if self.plan and early:
            leaving = "q: leave; the session stops here."
        words = f"{first}\nThe run has ended. Enter: findings and certificate. {leaving}".strip()
        self.query_one(Prompt).show(words, f"{self.end.reason if self.end else ''} · {where}", hold=False)

    @property
    def _orders_off(self) -> bool:
        """Whether the order to switch off by hand still stands: until a person has confirmed it."""
        return self.end is not None and not self.end.safe and not self._switched_off

    def _show_end(self, end: End) -> None:
        """That the run has ended, below what a person has to do; while the bench is not off, that alone."""
        if self._orders_off:
            self.query_one(Prompt).show(f"{end.urgent} {CONFIRM_OFF}", f"HOLD POINT · {end.reason}", hold=True)
            return
        words = ended_in_words(end, off_by_hand=self._switched_off)
        self.query_one(Prompt).show(words, f"{end.reason} · calculating the findings…", hold=False)

    # ---- what the person does --------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """A letter is a letter where something is typed; what is over cannot be stopped."""
        if self.end is not None and action in STOPS:
            return False
        degrees = self.taps is not None and not self.watching and (self.asked is None or self._marks_current)
        when = {"stop_while_typing": self._is_typing, "mark_current": self._marks_current, "missed": degrees}
        if not when.get(action, True):
            return False
        if action in ("go_on", "mark") and self._enter_does != action:
            return False
        return not (action in NOT_WHILE_TYPING and self._is_typing)

    @property
    def _enter_does(self) -> str:
        """The action of Enter now: go on, mark a moment, or nothing."""
        if self._orders_off or self._found:
            return "go_on"
        if self.asked is not None:
            return "mark" if self.asked.wants == Wants.MARK else "go_on"
        return "" if self.taps is None or self.watching else "mark"

    def action_mark(self) -> None:
        self.action_go_on()

    def action_missed(self) -> None:
        self.operator.miss()

    def action_go_on(self) -> None:
        if self._orders_off:
            self._confirmed_off()
        elif self._found:
            self.app.show_findings()  # type: ignore[attr-defined]
        if (self.asked is None or self._marks_current) and self.taps is not None:
            self.operator.tap()
        if self.asked is None or self._marks_current or self.pressed_at() < self._asked_since + self.reaction:
            return
        if self._more_below:  # nobody agrees to what they have not seen
            self.query_one("#page", VerticalScroll).scroll_page_down(animate=False)
            self.call_after_refresh(self._ask_again)
            return
        self._answer(Reply(Answer.GO_ON))

    @property
    def _marks_current(self) -> bool:
        return marks_current(self.asked, self.taps)

    def action_mark_current(self) -> None:
        self._answer(Reply(Answer.GO_ON))

    def _confirmed_off(self) -> None:
        """A person has switched off by hand what did not confirm it."""
        if self.end is None or self.pressed_at() < self._asked_since + self.reaction:
            return
        self._switched_off = True
        self._show_end(self.end)
        self._show_findings()

    def on_input_submitted(self, message: Input.Submitted) -> None:
        message.stop()
        if self.asked is not None and is_stop(self.asked, message.value):
            self.action_stop()
            return
        if self.asked is None or self.pressed_at() < self._asked_since + self.reaction:
            return
        try:
            self._answer(understood(self.asked, message.value))
        except NotUnderstood as error:
            self._refused = True
            self._ask_again(f"{error}. {hint(self.asked)}")

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

    def action_stop(self) -> None:
        if self.end is not None:
            return
        self.stop.press(f"{self.operator.name} with the stop key")
        if self.asked is not None and self.asked.of in SWITCHED_OFF:
            return  # what has to be switched off by hand stays on the screen
        self.asked = None
        self._typing(None)
        self.query_one(Prompt).show("STOP: supply and load are switching off.", 'Wait for "bench off".', hold=True)

    def action_stop_while_typing(self) -> None:
        self.action_stop()

    def action_stop_by_letter(self) -> None:
        self.action_stop()

    def action_leave_by_letter(self) -> None:
        self.action_leave()

    def action_leave(self) -> None:
        on = self.end is None and self.view is not None and self.view.by_hand_on
        waits = on and not self.stop.pressed  # for what a person has to switch off; the same key again leaves
        self.action_stop()
        if not waits:
            self.app.exit()

    # ---- small parts -----------------------------------------------------------------------------------------

    @property
    def _is_typing(self) -> bool:
        return self.asked is not None and is_typed(self.asked)

    def _typing(self, ask: Ask | None) -> None:
        """The field to type in, where something is to be typed."""
        field = self.query_one("#answer", Input)
        field.value = ""
        field.display = ask is not None and is_typed(ask)
        if field.display:
            field.placeholder = in_the_field(ask) if ask is not None else ""
            field.focus()
        else:
            self.set_focus(None)
        self.refresh_bindings()

    @property
    def is_drawn(self) -> bool:
        """Whether the question that is asked is on the screen."""
        return self._asked_since < inf

    def _drawn(self) -> None:
        self._asked_since = time.monotonic()
        self._ask_again()  # only now is it known how far the cautions go on below

    def _mark(self, order: Order, t: float) -> None:
        assert isinstance(order, Conclude)
        self.marks.changes.append((order.at, LETTERS.get(order.outcome, "?")))
        if order.outcome in LETTERS:
            self.query_one(Prompt).flash()
        self.app.bell()

    def _page(self, *, shown: bool) -> None:
        """The page of text by itself, so that all of it can be read at 80 columns, or the readings."""
        for wanted in ("#page", "#readouts", "#coach", "#steps", "#chart"):
            self.query_one(wanted).display = shown == (wanted == "#page")
