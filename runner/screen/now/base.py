"""What the screen of a run shows: what is read, what is on, what the watcher thinks, and how it ended.

It draws views and orders as they come and knows no engine. What the person does is in ``runner/screen/run.py``.
"""

from __future__ import annotations

import time
from math import inf

from textual.content import Content
from textual.widgets import Static

from runner.engine.opening import CAUTIONS
from runner.events import CHARGE, CURRENT_OF, METER_VOLTAGE, PROBE_TEMPERATURE, VOLTAGE_OF
from runner.orders import Ask, AskTaps, BeginStep, Conclude, End, Found, Remark, Withdraw
from runner.screen.feed import Told, ViewSeen
from runner.screen.now.asking import Asking
from runner.screen.now.to_do import of_question
from runner.screen.now.wording import switch_line
from runner.screen.sentences import before_all, ended_in_words, ramp_line, result_of, where_line
from runner.screen.texts import run as texts
from runner.screen.widgets.headroom import HeadroomLine
from runner.screen.widgets.key_list import KeyList
from runner.screen.widgets.prompt import Prompt
from runner.screen.widgets.readout import Readout
from runner.screen.widgets.step_list import StepList
from runner.screen.widgets.still_line import StillLine
from runner.screen.widgets.strip_chart import LETTERS, StripChart
from runner.vocabulary import WatchWord

REMARKED_FOR = 8.0  # s for which a remark stands


class RunView(Asking):
    """Draws views and orders as they come."""

    def on_mount(self) -> None:
        self._typing(None)
        self._page(shown=self.CAUTIONS_FIRST)
        self._say(texts.BEGINS, "", hold=False)
        self._show_lines()
        self.operator.attach(self)

    # ---- what the run says -----------------------------------------------------------------------------------

    def on_view_seen(self, message: ViewSeen) -> None:
        if not self.is_whole:
            return
        before, view = self.view, message.view
        self.view = view
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
        self._show_lines()
        self.query_one(StripChart).moved_on()
        hurries = [each.answer_within is not None for each in (before, view) if each is not None]
        if self._marks_current or (self.asked is not None and any(hurries)):  # also what no longer hurries is said anew
            self._ask_again()
        if self.asked is None and self.end is None and not self._stopping:
            what = texts.NO_READINGS if view.word == WatchWord.LOST else texts.current(view.word)
            detail = texts.next_mark(self.operator.degree) if self.taps else texts.watched(what, view.why)
            self._say(view.sentence, detail, hold=False)

    def _show_lines(self) -> None:
        """What to do about the ramp, which step it is, and what is switched on."""
        if self.view is not None:
            self.query_one("#coach", StillLine).show(ramp_line(self.view))
            self.query_one("#where", StillLine).show(where_line(self.view, self.now.sensor, self.job.program.sensors))
        view = self.view
        on, mode = (("", (), ""), "") if view is None else ((view.path, view.by_hand_on, view.unordered), view.mode)
        self.query_one("#switches", StillLine).show(switch_line(self.now.switches(*on), mode))

    def on_told(self, message: Told) -> None:
        order = message.order
        self.now.told(order)
        if isinstance(order, Ask) and self.watching:
            self._page(shown=order.question == CAUTIONS)
            self._say(order.say, texts.WATCHED, hold=True, do=of_question(order))
        elif isinstance(order, BeginStep) and self.watching:
            self._page(shown=False)
        elif isinstance(order, Ask):
            self.asked, self._asked_since, self._refused = order, inf, ""
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
            self.taps, self._taps_since = (order if order.step else None), time.monotonic()
            self.refresh_bindings()
        elif isinstance(order, Conclude):
            self._mark(order)
        elif isinstance(order, Found):
            self.query_one(StepList).found(order.say)
        elif isinstance(order, Remark) and self.job.program.by_hand and not self.watching:
            self.notify(
                order.say, timeout=REMARKED_FOR
            )  # what became of a mark, say: there is nowhere else that it shows
        elif isinstance(order, End):
            self._ended(order)

    def _ended(self, order: End) -> None:
        self.end, self.asked, self._asked_since, self._leaving = order, None, inf, False
        self.call_after_refresh(self._drawn)
        self._typing(None)
        self.query(KeyList).remove()  # what there is to do now needs the room
        self._show_lines()
        self._show_end(order)
        self._show_findings()  # they may have come before it
        self.app.bell()

    def finished(self, lines: list[str], where: str) -> None:
        """The findings are there: show them in place of the chart, once the bench is off. Only when the screen is whole."""
        self._findings = (lines, where)
        self._show_findings()

    def _show_findings(self) -> None:
        if self._findings is None or self._orders_off:
            return
        lines, where = self._findings
        self.query_one("#page-text", Static).update(Content("\n".join([texts.FINDINGS, *lines, "", where])))
        self._page(shown=True)
        self._is_found = True
        self.refresh_bindings()
        first = before_all(self.end, self._switched_off) if self.end is not None else ""
        leaving = texts.LEAVE_FOR_NEXT if self._next_follows else texts.LEAVE_AT_END
        if self.plan and not self._next_follows:
            leaving = texts.LEAVE_SESSION
        self._say(texts.findings_there(first, leaving), self.end.reason if self.end else "", hold=False)

    @property
    def _next_follows(self) -> bool:
        """Whether leaving this run goes on with its session: it came to its end, and its findings are there."""
        return bool(self.plan) and self._is_found and self.end is not None and not self.end.early

    @property
    def _orders_off(self) -> bool:
        """Whether the order to switch off by hand still stands: until a person has confirmed it."""
        return self.end is not None and not self.end.safe and not self._switched_off

    def _show_end(self, end: End) -> None:
        """That the run has ended, below what a person has to do; while the bench is not off, that alone."""
        if self._orders_off:
            self._say(texts.confirm_off(end.urgent), texts.ended_not_off(end.reason), hold=True)
            return
        words = ended_in_words(end, off_by_hand=self._switched_off)
        self._say(words, texts.calculating(end.reason), hold=False)

    def _mark(self, order: Conclude) -> None:
        self.marks.changes.append((order.at, LETTERS.get(order.outcome, "?")))
        self.query_one(StepList).concluded(order.index, result_of(order, self.operator.trace.temperature_at(order.at)))
        if order.outcome in LETTERS:
            self.query_one(Prompt).flash()
        self.app.bell()
