"""Past runs: search them, look at one, two side by side, or one threshold over the years."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from shlex import quote

from rich.text import Text
from textual import work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import DataTable, Footer, Input, Static

from reports.wording import digits_for, number, shown_as, worded
from runner.conduct.resume import how_to_go_on
from runner.measure.finding import Finding
from runner.screen.findings import MARKS, FindingsScreen, value_of
from runner.screen.texts import past as texts
from runner.screen.texts.findings import changed as about_changes
from runner.screen.widgets.interval import interval_line
from runner.screen.widgets.still_line import Title
from runner.sheets.parts.protections import protection_name
from runner.workspace.archive import NOT_ENDED, RUNNING, PastRun, beside, changed_in, over_time, past_runs

NOT_WHILE_TYPING = ("mark", "beside", "trend", "search")
SAID_CSS = "#said { height: auto; max-height: 4; padding: 0 1; background: $surface; }"


class PastScreen(Screen[None]):
    """The runs in a directory. Marked ones (space) are what ``v`` and ``t`` are about."""

    BINDINGS = [
        Binding("slash", "search", "Search", key_display="/", priority=True),
        Binding("enter", "to_the_list", "List", key_display="Enter", priority=True),
        Binding("space", "mark", "Select", key_display="Space"),
        Binding("v", "beside", "Compare"),
        Binding("t", "trend", "Over time"),
        Binding("escape,q,b", "back", "Back", key_display="Esc"),
    ]
    CSS = SAID_CSS + "PastScreen #search { height: 3; } PastScreen DataTable { height: 1fr; }"

    def __init__(self, out: Path, certificate: Callable[[Path], str]) -> None:
        """``certificate`` makes the certificate of a run folder and gives its path."""
        super().__init__()
        self._out, self._certificate = out, certificate
        self.runs: list[PastRun] = []
        self.marked: list[PastRun] = []
        self.changed: dict[
            Path, tuple[str, ...]
        ] = {}  # what is not as it was recorded, of the runs that were looked at
        self._opening = False

    def compose(self) -> ComposeResult:
        yield Title(*texts.titles(str(self._out)))
        yield Input(placeholder=texts.SEARCHED, id="search")
        yield DataTable(cursor_type="row", zebra_stripes=False)
        yield Static("", id="said", markup=False)
        yield Footer()

    def on_mount(self) -> None:
        self._columns = self.query_one(DataTable).add_columns(*texts.COLUMNS)
        self.query_one("#search").display = False
        self._say(texts.READING)
        self.query_one(DataTable).focus()
        self._read()

    @work(thread=True)
    def _read(self) -> None:
        self.app.call_from_thread(self._have_read, *past_runs(self._out))

    def _have_read(self, runs: list[PastRun], unreadable: list[str]) -> None:
        self.runs = runs
        self._unreadable = unreadable
        self._say_how_many()
        self._fill("")
        self._look(runs)

    def _say_how_many(self) -> None:
        said = texts.how_many(len(self.runs), simulated=any(run.simulated for run in self.runs))
        done = len(self.changed)
        looking = texts.looking(done, len(self.runs)) if done < len(self.runs) else ""
        self._say("\n".join([said + looking, *self._unreadable[:2]]))

    # ---- whether the evidence is as it was recorded: one after the other, because each takes a tenth of a second -----------

    @work(thread=True)
    def _look(self, runs: Sequence[PastRun]) -> None:
        for run in runs:
            found = _changed(run)
            if not self.is_attached:
                return
            self.app.call_from_thread(self._looked, {run.path: found})

    def _looked(self, found: dict[Path, tuple[str, ...]]) -> None:
        if not self.is_attached:
            return
        self.changed |= found
        table = self.query_one(DataTable)
        for run in self.runs:
            if run.path in found and str(run.path) in table.rows:
                table.update_cell(str(run.path), self._columns[1], Text(self._statement(run)), update_width=True)
        if not self._opening:
            self._say_how_many()

    def _statement(self, run: PastRun) -> str:
        """The statement of a run with its mark; there is no statement where the evidence has changed."""
        changed = self.changed.get(run.path)
        said = texts.CHANGED if changed else run.statement
        mark = texts.NOT_LOOKED_AT if changed is None else "" if changed else MARKS.get(run.conformity, " ")
        return f"{mark or ' '} {said}{texts.SIMULATED if run.simulated else ''}"

    def _looked_at(self, runs: Sequence[PastRun], then: Callable[[], Screen[None]]) -> None:
        """Look at the evidence of these runs as it is now, and open a screen."""
        if not self._opening:
            self._opening = True
            self._say(texts.CHECKING)
            self._look_and_open(runs, then)

    @work(thread=True)
    def _look_and_open(self, runs: Sequence[PastRun], then: Callable[[], Screen[None]]) -> None:
        found = {run.path: _changed(run) for run in runs}
        self.app.call_from_thread(self._open, found, then)

    def _open(self, found: dict[Path, tuple[str, ...]], then: Callable[[], Screen[None]]) -> None:
        self._opening = False
        self._looked(found)
        if self.is_current:
            self.app.push_screen(then())

    # ---- the list --------------------------------------------------------------------------------------------

    def _fill(self, words: str) -> None:
        table = self.query_one(DataTable)
        here = table.cursor_row
        table.clear()
        for run in self.runs:
            if run.has(words):
                mark = "●" if run in self.marked else " "
                cells = (mark, self._statement(run), run.day, run.serial, run.procedure, run.pack)
                table.add_row(*(Text(cell) for cell in cells), key=str(run.path))
        table.move_cursor(row=min(here, max(table.row_count - 1, 0)))
        self.call_after_refresh(
            table.check_idle
        )  # it measures its columns when idle, and was once left as narrow as their titles

    def _under_the_cursor(self) -> PastRun | None:
        table = self.query_one(DataTable)
        if not table.row_count:
            return None
        key = table.coordinate_to_cell_key(table.cursor_coordinate).row_key.value
        return next((run for run in self.runs if str(run.path) == key), None)

    def on_input_changed(self, message: Input.Changed) -> None:
        self._fill(message.value)

    def on_data_table_row_selected(self) -> None:
        run = self._under_the_cursor()
        if run is not None:
            self._looked_at([run], lambda: self._findings(run))

    def _findings(self, run: PastRun) -> FindingsScreen:
        changed = self.changed[run.path]
        said = texts.CHANGED if changed else run.statement
        titles = texts.run_titles(run.pack, run.serial, run.procedure, run.day, said)
        make = partial(self._certificate, run.path) if run.standing != RUNNING else None
        nothing = texts.NO_FINDINGS if run.standing else ""
        said = "" if changed else _way_on(run)
        return FindingsScreen(titles, run.findings, str(run.path), make, said, changed, nothing=nothing)

    # ---- keys ------------------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """A letter is a letter where something is typed."""
        is_typing = self.query_one("#search").has_focus
        return is_typing if action == "to_the_list" else not (is_typing and action in NOT_WHILE_TYPING)

    # The keys into the search and out of it have priority and move the focus at once: what is typed fast behind them would
    # still be for where it was, and its Enter would open a run.

    def action_search(self) -> None:
        search = self.query_one("#search", Input)
        search.display = True
        self.set_focus(search)

    def action_to_the_list(self) -> None:
        self.set_focus(self.query_one(DataTable))

    def action_mark(self) -> None:
        run = self._under_the_cursor()
        if run is None:
            return
        self.marked = [each for each in self.marked if each != run] if run in self.marked else [*self.marked, run][-2:]
        self._fill(self.query_one("#search", Input).value)

    def action_beside(self) -> None:
        if len(self.marked) != 2:
            self._say(texts.SELECT_TWO)
            return
        one, other = sorted(self.marked, key=lambda run: run.utc)
        self._looked_at([one, other], lambda: BesideScreen(one, other, self.changed))

    def action_trend(self) -> None:
        run = self._under_the_cursor()
        if run is None or not run.findings:
            self._say(texts.SELECT_ONE)
            return
        of_the_pack = [each for each in self.runs if each.serial == run.serial]
        self._looked_at(of_the_pack, lambda: TrendScreen(self.runs, run, self.changed))

    def action_back(self) -> None:
        search = self.query_one("#search", Input)
        if search.display:
            search.value = ""
            search.display = False
            self.query_one(DataTable).focus()
        else:
            self.dismiss()

    def _say(self, said: str) -> None:
        self.query_one("#said", Static).update(Content(said))


def _changed(run: PastRun) -> tuple[str, ...]:
    """What has changed of a run; the record of one that goes on now changes all the time."""
    return () if run.standing == RUNNING else changed_in(run.path)


def _way_on(run: PastRun) -> str:
    """How a run that has not come to its end goes on; nothing of others."""
    if run.standing == RUNNING:
        return texts.in_progress(quote(str(run.path)))
    if run.standing == NOT_ENDED:
        return texts.not_ended(how_to_go_on(run.path))
    return texts.ended_early(how_to_go_on(run.path)) if run.ended_early else ""


def _columns(one: PastRun, other: PastRun) -> list[str]:
    """The heads of two runs' columns: as much as tells them apart."""
    same_pack_and_day = (one.serial, one.day[:10]) == (other.serial, other.day[:10])
    differ = one.procedure != other.procedure
    return [
        texts.column(run.serial, run.day if same_pack_and_day else run.day[:10], run.procedure if differ else "")
        for run in (one, other)
    ]


DIFFERENCE = {"°C": "K"}  # unit of a value -> of a difference of two


class BesideScreen(Screen[None]):
    """Two runs, finding by finding: both values, their difference, and whether it is more than its uncertainty."""

    BINDINGS = [Binding("escape,q,b", "app.pop_screen", "Back", key_display="Esc")]
    CSS = SAID_CSS + "BesideScreen DataTable { height: 1fr; } BesideScreen #changed { height: auto; padding: 0 1; }"

    def __init__(self, one: PastRun, other: PastRun, changed: Mapping[Path, Sequence[str]]) -> None:
        """``changed``: what of the evidence of runs is not as it was recorded. Of these nothing is concluded."""
        super().__init__()
        self.one, self.other = one, other
        found = ((run, changed.get(run.path, ())) for run in (one, other))
        self._changed = [
            texts.changed_run(run.serial, run.day[:10], about_changes(what)) for run, what in found if what
        ]

    def compose(self) -> ComposeResult:
        yield Static(texts.SIDE_BY_SIDE, id="title")
        if self._changed:
            yield Static(Content("\n".join(self._changed)), id="changed")
        yield DataTable(cursor_type="row")
        yield Static(Content(texts.NOT_COMPARED if self._changed else texts.DIFFERENCE_RULE), id="said")
        yield Footer()

    def on_mount(self) -> None:
        table = self.query_one(DataTable)
        table.add_columns(texts.FINDING, "", *_columns(self.one, self.other), texts.DIFFERENCE)
        for pair in beside(self.one, self.other):
            some = pair.one or pair.other
            assert some is not None
            size, _, unit = shown_as(some.unit)
            digits = digits_for((some.expanded_uncertainty or 0.0) / size)
            gap = (
                ""
                if pair.difference is None
                else f"{number(pair.difference / size, digits)} {DIFFERENCE.get(unit, unit)}"
            )
            verdict = {None: " ", True: "≠", False: "="}[None if self._changed else pair.differs]
            name = f"{some.name} {some.sensor or ''}".strip()
            row = (name, verdict, _cell(pair.one), _cell(pair.other), gap)
            table.add_row(*(Text(cell) for cell in row))
        table.focus()


class TrendScreen(Screen[None]):
    """One finding of one pack over its runs, each with its interval, all on one scale."""

    BINDINGS = [
        Binding("n", "next", "Next finding"),
        Binding("escape,q,b", "app.pop_screen", "Back", key_display="Esc"),
    ]
    CSS = SAID_CSS + "TrendScreen #lines { height: auto; width: 100%; padding: 0 1; }"

    def __init__(self, runs: Sequence[PastRun], about: PastRun, changed: Mapping[Path, Sequence[str]]) -> None:
        """``changed``: what of the evidence of runs is not as it was recorded."""
        super().__init__()
        self._runs, self._serial = runs, about.serial
        self._changed = [path for path, what in changed.items() if what]
        self._keys = [(each.protection, each.name, each.sensor) for each in about.findings]
        self._number = 0

    def compose(self) -> ComposeResult:
        yield Title(texts.OVER_TIME)
        with VerticalScroll():
            yield Static("", id="lines")
        yield Footer()

    def on_mount(self) -> None:
        self._show()

    def on_resize(self) -> None:
        self._show()

    def action_next(self) -> None:
        self._number = (self._number + 1) % len(self._keys)
        self._show()

    def _show(self) -> None:
        key = self._keys[self._number]
        found = over_time(self._runs, self._serial, key)
        name = f"{key[1]} {key[2] or ''}".strip()
        self.query_one(Title).say(*texts.trend_titles(name, protection_name(key[0]), self._serial, len(found)))
        lines = trend_lines(found, self.size.width - 4, self._changed) if found else [texts.NOWHERE]
        self.query_one("#lines", Static).update(Content("\n".join(lines)))


def trend_lines(found: Sequence[tuple[PastRun, Finding]], width: int, changed: Sequence[Path] = ()) -> list[str]:
    """A line a run: when, the value, and its interval drawn on a scale that all runs share; not of runs that have changed."""
    spans = [(each.value or 0.0, each.expanded_uncertainty or 0.0) for _, each in found]
    limits = [limit for _, each in found for limit in (each.lower, each.upper) if limit is not None]
    low = min([value - spread for value, spread in spans] + limits)
    high = max([value + spread for value, spread in spans] + limits)
    room = max(width - 34, 12)
    lines = []
    for run, finding in found:
        drawn = texts.CHANGED if run.path in changed else _on_scale(finding, low, high, room)
        lines.append(f"{run.day[:10]} {value_of(finding):>20}  {drawn}")
    last = found[-1][1]
    if last.lower is not None or last.upper is not None:
        _, scale = interval_line((low + high) / 2, (high - low) / 2, last.lower, last.upper, room)
        lines.append(f"{texts.LIMITS:>10} {f'{worded(last).limits} {worded(last).unit}':>20}  {scale}")
    return lines


def _on_scale(finding: Finding, low: float, high: float, width: int) -> str:
    """The interval drawn between two ends that are the same for all."""
    middle, half = (low + high) / 2, max((high - low) / 2, 1e-12)
    ruler, _ = interval_line(middle, half, None, None, width)
    first, last = ruler.index("├"), ruler.index("┤")
    drawn = [" "] * width

    def column(x: float) -> int:
        return round(first + (x - low) / (2 * half) * (last - first))

    value, spread = finding.value or 0.0, finding.expanded_uncertainty or 0.0
    for place in range(column(value - spread), column(value + spread) + 1):
        drawn[place] = "─"
    drawn[column(value - spread)], drawn[column(value + spread)] = "├", "┤"
    drawn[column(value)] = "●"
    return "".join(drawn).rstrip()


def _cell(finding: Finding | None) -> str:
    """A finding's value in a table."""
    return "—" if finding is None else value_of(finding)
