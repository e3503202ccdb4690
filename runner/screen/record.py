"""The raw record of a run: what was read as a plot, what happened as lines; the plot shows the time around the line."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, OptionList
from textual.widgets.option_list import Option
from textual.worker import get_current_worker

from runner.conduct.follow import Follower
from runner.conduct.log_lines import said, stamp
from runner.errors import TripwitnessError
from runner.events import CURRENT_OF, PROBE_TEMPERATURE, Event, Sampled
from runner.orders import Conclude, Order
from runner.screen.texts import past as texts
from runner.screen.widgets.still_line import Title
from runner.screen.widgets.strip_chart import LETTERS, Finished, Marks, StripChart, Trace

NEAR, WIDER = 60.0, 2.0  # s that are shown at least, and how much more or less a key shows


class Points:
    """Makes points of a plot from samples. The current is polled the faster; the last temperature stands beside it."""

    def __init__(self) -> None:
        self._temperature: float | None = None

    def take(self, samples: Sequence[Sampled], trace: Trace) -> None:
        for sample in samples:
            readings = sample.readings
            current = next((readings[channel] for channel in CURRENT_OF.values() if channel in readings), None)
            if PROBE_TEMPERATURE in sample.lost:
                self._temperature = None
            self._temperature = readings.get(PROBE_TEMPERATURE, self._temperature)
            if current is not None or any(channel in sample.lost for channel in CURRENT_OF.values()):
                trace.add(sample.t, self._temperature, current)


class RecordScreen(Screen[None]):
    """The plot above, the lines below. Read from the run folder alone; nothing is worked out and nothing is written."""

    BINDINGS = [
        Binding("plus,equals_sign", "nearer", "Zoom in", key_display="+"),
        Binding("minus", "farther", "Zoom out", key_display="-"),
        Binding("escape,q,b,r", "app.pop_screen", "Back", key_display="Esc"),
    ]
    CSS = """
    RecordScreen StripChart { height: 3fr; }
    RecordScreen #lines { height: 2fr; border: none; border-top: solid $foreground 30%; }
    """

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self._folder = folder
        self._times: list[float] = []
        self._span, self._whole = NEAR, NEAR
        self.is_read = False

    def compose(self) -> ComposeResult:
        yield Title(*texts.reading_record(self._folder.name))
        yield StripChart(Trace(None), Marks())
        yield OptionList(id="lines")
        yield Footer()

    def on_mount(self) -> None:
        self.query_one("#lines").focus()
        self._read()

    # ---- reading ---------------------------------------------------------------------------------------------

    @work(thread=True)
    def _read(self) -> None:
        worker = get_current_worker()
        trace, points = Trace(None), Points()
        happened: list[tuple[Order | Event, float]] = []
        try:
            follower = Follower(self._folder)
            while not worker.is_cancelled:
                told, samples = follower.look()
                if not told and not samples:
                    break
                happened += told
                points.take(samples, trace)
        except TripwitnessError as error:
            self.app.call_from_thread(self._fail, str(error))
            return
        marks = Marks(follower.job.program.trip_limits)
        ends = [what for what, _ in happened if isinstance(what, Conclude)]
        marks.changes = [(what.at, LETTERS.get(what.outcome, "?")) for what in ends]
        lines = [(t, line) for what, t in happened for line in said(what)]
        self.app.call_from_thread(self._have_read, trace, marks, lines, follower.known.t)

    def _fail(self, why: str) -> None:
        for title in self.query(Title):
            title.say(texts.unreadable(why))

    def _have_read(self, trace: Trace, marks: Marks, lines: list[tuple[float, str]], end: float) -> None:
        if not (self.query(StripChart) and self.query("#lines")):  # it is being taken apart
            return
        chart = self.query_one(StripChart)
        chart.trace, chart.marks = Finished(trace), marks
        self._span = self._whole = max(end, NEAR)
        self._times = [t for t, _ in lines]
        options = self.query_one("#lines", OptionList)
        options.add_options([Option(Content(f"{stamp(t)}  {line}")) for t, line in lines])
        self.query_one(Title).say(*texts.record_titles(self._folder.name, len(lines)))
        self.is_read = True
        options.highlighted = 0 if lines else None
        self._show()

    # ---- looking ---------------------------------------------------------------------------------------------

    def on_option_list_option_highlighted(self) -> None:
        self._show()

    def action_nearer(self) -> None:
        self._span = max(self._span / WIDER, NEAR)
        self._show()

    def action_farther(self) -> None:
        self._span = min(self._span * WIDER, self._whole)
        self._show()

    def _show(self) -> None:
        """The window of the plot: as wide as was asked for, the line's time in its middle where the record reaches so far."""
        at = self.query_one("#lines", OptionList).highlighted
        middle = self._times[at] if at is not None and at < len(self._times) else 0.0
        begin = min(max(middle - self._span / 2, 0.0), max(self._whole - self._span, 0.0))
        chart = self.query_one(StripChart)
        chart.window = (begin, begin + self._span)
        chart.redraw()
