"""The parts of a run's screen, and the question that stands on it."""

from __future__ import annotations

import time
from collections.abc import Sequence
from math import inf

from textual.app import ComposeResult
from textual.containers import Horizontal, VerticalScroll
from textual.screen import Screen
from textual.widgets import Footer, Input, Static

from runner.conduct.answer_parsing import hint, marks_current
from runner.engine.opening import CAUTIONS
from runner.engine.states import State
from runner.engine.view import View
from runner.orders import Ask, AskTaps, End
from runner.screen.feed import ScreenOperator
from runner.screen.now.to_do import Now, ToDo, of_question
from runner.screen.now.wording import in_large
from runner.screen.sentences import cautions, in_the_field, is_typed
from runner.screen.texts import run as texts
from runner.screen.widgets.headroom import HeadroomLine
from runner.screen.widgets.prompt import Prompt
from runner.screen.widgets.readout import Readout
from runner.screen.widgets.step_list import StepList
from runner.screen.widgets.still_line import StillLine, Title
from runner.screen.widgets.strip_chart import Marks, StripChart
from runner.vocabulary import Wants
from runner.workspace.job import Job

PARTS = ("#prompt", "#answer", "#coach", "#where", "#switches", "#page-text", "#chart", "#steps", "#headroom")
HURRY = 120.0  # s of the clock on the wall: less time for an answer is shown


class Asking(Screen[None]):
    """The parts of the screen, the question that stands, and the field to type in."""

    CAUTIONS_FIRST = True
    AUTO_FOCUS = ""  # a field that nobody sees would take the keys

    def __init__(
        self,
        job: Job,
        headings: Sequence[str],
        operator: ScreenOperator,
        plan: Sequence[str],
        *,
        watching: bool,
        speed: float,
    ) -> None:
        """``headings``: the title in several wordings, the fullest first; the rest as in RunScreen."""
        super().__init__()
        self.job, self.headings, self.operator, self.plan = job, tuple(headings), operator, plan
        self.watching, self.speed = watching, speed
        self.marks = Marks(job.program.trip_limits)
        program = job.program
        self.now = Now(program.has, program.by_hand, by_machine=program.heated_by_machine)
        self.asked: Ask | None = None
        self._asked_since = inf
        self.taps: AskTaps | None = None
        self._taps_since = -inf  # when it was said that degrees are marked from now on
        self.end: End | None = None
        self._switched_off = False  # a person has said so, after an end at which the bench did not confirm it
        self._findings: tuple[list[str], str] | None = None
        self.view: View | None = None
        self._is_found = False
        self._refused = ""  # why what was typed last was no answer, and what would be
        self._leaving = False  # it is asked whether the run is to be left
        self._stopping = False

    def compose(self) -> ComposeResult:
        yield Title(*self.headings)
        yield Prompt(id="prompt")
        yield Input(id="answer", select_on_focus=False)
        with Horizontal(id="readouts"):
            yield Readout(texts.PROBE, "°C", "{:.2f}")
            yield Readout(texts.RAMP, "K/min", "{:+.1f}")
            yield Readout(texts.CURRENT, "A", "{:.3f}")
            yield Readout(texts.VOLTAGE, "V", "{:.2f}")
        yield StillLine(id="coach")
        with Horizontal(id="middle"):
            with VerticalScroll(id="page"):
                yield Static(cautions(self.job.program, self.plan), id="page-text")
            yield StripChart(self.operator.trace, self.marks)
            yield StepList()
        yield StillLine(id="where")
        yield StillLine(id="switches")
        yield HeadroomLine(id="headroom")
        yield Footer()

    @property
    def is_whole(self) -> bool:
        """Whether every part is there: not while the screen is put together or taken apart."""
        return all(self.query(part) for part in PARTS)

    # ---- what to do now --------------------------------------------------------------------------------------

    def _say(self, sentence: str, aside: str, *, hold: bool, do: ToDo | None = None) -> None:
        """The order in large letters, the sentence, and the keys; unless it is asked whether the run is to be left."""
        if not self._leaving:
            self.query_one(Prompt).show(sentence, aside, hold=hold, large=in_large(do or self.now.to_do))

    def _ask_again(self) -> None:
        """The question that stands, and what may be answered, or why the last answer was none."""
        if self.asked is None:
            return
        if self._marks_current:
            say = f"{self.view.sentence if self.view is not None else ''} {self.asked.say}".strip()
            self._say(say, texts.two_keys(self.operator.degree), hold=False)
            return
        if self._is_typing:
            words = texts.typing(self._refused or hint(self.asked))
        elif self.asked.wants == Wants.MARK:
            words = texts.MARK_KEY
        else:
            words = texts.hold_point(texts.MORE_KEY if self._more_below else texts.GO_KEY)
        left = None if self.view is None or self.view.answer_within is None else self.view.answer_within / self.speed
        ends = self.view is not None and self.view.state == State.MAKING_SAFE.value  # then nothing more follows
        if left is not None and left < HURRY and self.speed < inf and not ends:
            words = texts.answer_within(left, words, self._by_hand_on)
        self._say(self.asked.say, words, hold=True, do=of_question(self.asked))

    @property
    def _by_hand_on(self) -> tuple[str, ...]:
        """What a person has switched on, and has not said is off."""
        return () if self.view is None else self.view.by_hand_on

    @property
    def _marks_current(self) -> bool:
        return marks_current(self.asked, self.taps)

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

    def _page(self, *, shown: bool) -> None:
        """The page of text by itself, so that all of it can be read at 80 columns, or the readings."""
        for wanted in ("#page", "#readouts", "#coach", "#steps", "#chart"):
            self.query_one(wanted).display = shown == (wanted == "#page")
