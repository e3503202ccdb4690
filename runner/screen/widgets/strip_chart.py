"""The strip chart: temperature above, current below, over the same time; the expected trip band and each trip marked.

A gap stays a gap: where nothing was read, nothing is drawn, because a line across missing readings would be a lie.
Dots are braille, two by four to a cell. Every reading is drawn, the extremes of a column included, so a drop-out of one
sample still shows.
"""

from __future__ import annotations

import math
import threading
import time
from collections import deque
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from rich.segment import Segment
from rich.style import Style
from textual.app import RenderResult
from textual.strip import Strip
from textual.widget import Widget

from runner.scale import scaled
from runner.screen.texts import run as texts
from runner.vocabulary import Outcome

LONGEST = 20_000  # points kept
REDRAW_EVERY = 1.0  # s of real time between two drawings of the chart, which moves by a dot in some seconds
SPAN = 600.0  # s shown
GUTTER = 9  # columns for the scale: three digits, a sign, a point and the unit
LETTERS: dict[str, str] = {Outcome.STOPPED: "T", Outcome.RETURNED: "R"}  # of a change, by how its step ended
_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
Floats = NDArray[np.float64]


class Trace:
    """What the chart draws: written by the run's thread, read by the screen's."""

    def __init__(self, longest: int | None = LONGEST) -> None:
        """``longest``: how many points are kept; None for all of them."""
        self._points: deque[tuple[float, float, float]] = deque(maxlen=longest)
        self._lock = threading.Lock()

    def add(self, t: float, temperature: float | None, current: float | None) -> None:
        """A point; None is a gap."""
        with self._lock:
            self._points.append(
                (t, math.nan if temperature is None else temperature, math.nan if current is None else current)
            )

    def last(self, span: float) -> tuple[Floats, Floats, Floats]:
        """(t, temperature, current) of the last ``span`` seconds; NaN is a gap."""
        with self._lock:
            points = list(self._points)
        table = np.array(points, dtype=float).reshape(-1, 3)
        table = table[table[:, 0] >= table[-1, 0] - span] if len(table) else table
        return table[:, 0], table[:, 1], table[:, 2]

    def temperature_at(self, t: float) -> float | None:
        """The temperature (°C) that stood at ``t`` s, if there was one."""
        with self._lock:
            points = list(self._points)
        return next(
            (temperature for at, temperature, _ in reversed(points) if at <= t and temperature == temperature), None
        )


class Finished:
    """A trace that no longer grows: put together once, however long it is."""

    def __init__(self, trace: Trace) -> None:
        self._table = trace.last(math.inf)

    def last(self, span: float) -> tuple[Floats, Floats, Floats]:
        """As that of a Trace."""
        t, temperature, current = self._table
        first = int(np.searchsorted(t, t[-1] - span)) if len(t) else 0
        return t[first:], temperature[first:], current[first:]


@dataclass
class Marks:
    """What is drawn beside the readings: the expected band in °C, and the instants of changes with their letter."""

    band: tuple[float, float] | None = None
    changes: list[tuple[float, str]] = field(default_factory=list)


def braille(
    t: Floats, y: Floats, window: tuple[float, float], scale: tuple[float, float], width: int, height: int
) -> NDArray[np.uint8]:
    """(height, width) dot patterns of one series; neighbouring valid readings are joined, others are not."""
    columns, rows = 2 * width, 4 * height
    cells = np.zeros((height, width), np.uint8)
    if len(t) == 0:
        return cells
    t, y = thinned(t, y, window, columns)
    across = (t - window[0]) / max(window[1] - window[0], 1e-9) * (columns - 1)
    down = (1 - (y - scale[0]) / max(scale[1] - scale[0], 1e-9)) * (rows - 1)
    for index in range(len(t)):
        if not math.isfinite(y[index]):
            continue
        joined = index + 1 < len(t) and math.isfinite(y[index + 1])
        end = index + 1 if joined else index
        steps = max(1, math.ceil(max(abs(across[end] - across[index]), abs(down[end] - down[index]))))
        for part in range(steps + 1):
            column = round(across[index] + (across[end] - across[index]) * part / steps)
            row = round(down[index] + (down[end] - down[index]) * part / steps)
            if 0 <= column < columns and 0 <= row < rows:
                cells[row // 4, column // 2] |= _DOTS[row % 4][column % 2]
    return cells


def thinned(t: Floats, y: Floats, window: tuple[float, float], columns: int) -> tuple[Floats, Floats]:
    """The readings that make up the drawing: of each dot column the first, the last and the extremes, and one for a gap."""
    if len(t) <= 4 * columns:
        return t, y
    column = np.rint((t - window[0]) / max(window[1] - window[0], 1e-9) * (columns - 1)).astype(int)
    gap = ~np.isfinite(y)
    group = np.cumsum(np.concatenate([[True], (column[1:] != column[:-1]) | (gap[1:] != gap[:-1])])) - 1
    starts = np.flatnonzero(np.concatenate([[True], group[1:] != group[:-1]]))
    ends = np.concatenate([starts[1:], [len(t)]]) - 1
    order = np.lexsort((y, group))  # within each group by value: its extremes stand at its ends; NaN sorts last
    keep = np.unique(np.concatenate([starts, ends, order[starts], order[ends]]))
    return t[keep], y[keep]


class StripChart(Widget):
    """Draws a Trace and its Marks. Call ``redraw`` when they have changed."""

    COMPONENT_CLASSES = {"strip-chart--temperature", "strip-chart--current", "strip-chart--scale", "strip-chart--band"}
    DEFAULT_CSS = """
    StripChart { width: 1fr; height: 1fr; }
    StripChart .strip-chart--temperature { color: $text; }
    StripChart .strip-chart--current { color: $warning; }
    StripChart .strip-chart--scale { color: $text-muted; }
    StripChart .strip-chart--band { background: $primary 35%; }
    """

    def __init__(self, trace: Trace | Finished, marks: Marks) -> None:
        super().__init__(id="chart")
        self.trace, self.marks = trace, marks
        self.window: tuple[float, float] | None = None  # from and to, s; None: the last SPAN, as it moves on
        self._rows: list[Strip] = []
        self._drawn_at, self._marked = -math.inf, 0
        self.is_behind = False  # there is something that was not drawn yet

    def moved_on(self) -> None:
        """The trace has grown; drawn anew if that can be seen, and not too often."""
        since = time.monotonic() - self._drawn_at
        if since >= REDRAW_EVERY or len(self.marks.changes) != self._marked:
            self.redraw()
        elif not self.is_behind:
            self.is_behind = True
            self.set_timer(REDRAW_EVERY - since, self._catch_up)

    def _catch_up(self) -> None:
        if self.is_behind:
            self.redraw()

    def redraw(self) -> None:
        self._drawn_at, self._marked, self.is_behind = time.monotonic(), len(self.marks.changes), False
        self._rows = []
        self.refresh()

    def on_resize(self) -> None:
        self._rows = []

    def notify_style_update(self) -> None:
        self._rows = []
        super().notify_style_update()

    def render(self) -> RenderResult:
        return ""

    def render_line(self, y: int) -> Strip:
        if len(self._rows) != self.size.height:
            self._rows = self._build()
        return self._rows[y]

    def _build(self) -> list[Strip]:
        width, height = self.size
        t, temperature, current = self.trace.last(SPAN if self.window is None else math.inf)
        inner = width - GUTTER
        if height < 5 or inner < 8:
            return [Strip.blank(width, self.rich_style) for _ in range(height)]
        if self.window is None:
            end = float(t[-1]) if len(t) else SPAN
            window = (max(end - SPAN, float(t[0]) if len(t) else 0.0), max(end, 60.0))
        else:
            window = self.window
            inside = (t >= window[0]) & (t <= window[1])
            t, temperature, current = t[inside], temperature[inside], current[inside]
        lower = max(2, (height - 1) // 3)
        upper = height - 1 - lower
        size, offset, unit = scaled("°C")
        band = self.marks.band and (self.marks.band[0] / size + offset, self.marks.band[1] / size + offset)
        degrees = temperature / size + offset
        rows = self._pane(unit, t, degrees, window, inner, upper, "strip-chart--temperature", band)
        rows += self._pane("A", t, current, window, inner, lower, "strip-chart--current", None)
        rows.append(self._time_line(window, inner))
        return [row.adjust_cell_length(width, self.rich_style) for row in rows]

    def _pane(
        self,
        unit: str,
        t: Floats,
        y: Floats,
        window: tuple[float, float],
        width: int,
        height: int,
        kind: str,
        band: tuple[float, float] | None,
    ) -> list[Strip]:
        scale = _scale(y, band)
        cells = braille(t, y, window, scale, width, height)
        style, faint = self.get_component_rich_style(kind), self.get_component_rich_style("strip-chart--scale")
        shade = self.get_component_rich_style("strip-chart--band")
        marks = self._mark_columns(window, width)
        rows = []
        for row in range(height):
            top, bottom = (scale[1] - (scale[1] - scale[0]) * edge / height for edge in (row, row + 1))
            inside = band is not None and bottom <= band[1] and top >= band[0]
            label = _scale_label(row, height, scale, unit)
            if band is not None and inside:
                label = _band_label(band, top, bottom) or label
            wall = "┃" if inside else "│"  # the band is not a matter of colour alone
            segments = [Segment(f"{label:>{GUTTER - 1}}{wall}", faint)]
            for column in range(width):
                pattern = int(cells[row, column])
                mark = marks.get(column, "")
                text = mark if mark and row == 0 else chr(0x2800 + pattern) if pattern else "┊" if mark else " "
                look = (style if pattern or mark else faint) + (Style(bgcolor=shade.bgcolor) if inside else Style())
                segments.append(Segment(text, look))
            rows.append(Strip(segments))
        return rows

    def _mark_columns(self, window: tuple[float, float], width: int) -> dict[int, str]:
        found = {}
        for t, letter in self.marks.changes:
            column = round((t - window[0]) / max(window[1] - window[0], 1e-9) * (width - 1))
            if 0 <= column < width:
                found[column] = letter
        return found

    def _time_line(self, window: tuple[float, float], width: int) -> Strip:
        if self.window is None:
            left, right = texts.ago(window[1] - window[0]), texts.NOW
        else:
            left, right = map(texts.at_minute, window)
        text = left + " " * max(1, width - len(left) - len(right)) + right
        return Strip([Segment(" " * GUTTER + text[:width], self.get_component_rich_style("strip-chart--scale"))])


def _scale_label(row: int, height: int, scale: tuple[float, float], unit: str) -> str:
    """The number beside a row of a pane: the ends of its scale, the unit at the upper one."""
    if row == 0:
        return f"{scale[1]:.3g} {unit}"
    return f"{scale[0]:.3g}" if row == height - 1 else ""


def _band_label(band: tuple[float, float], top: float, bottom: float) -> str:
    """The limits of the expected band that lie in the row from ``top`` to ``bottom``; nothing for a row between them."""
    ends = [f"{end:g}" for end in band if bottom <= end < top]
    text = "–".join(ends)
    return text if len(text) < GUTTER else f"{band[0]:.0f}–{band[1]:.0f}"[: GUTTER - 1]


def _scale(y: Floats, band: tuple[float, float] | None) -> tuple[float, float]:
    """A range that holds every reading, and the band once the readings come near it."""
    valid = y[np.isfinite(y)]
    low, high = (float(valid.min()), float(valid.max())) if len(valid) else (0.0, 1.0)
    if band is not None and len(valid) and high > band[0] - 12:
        low, high = min(low, band[0]), max(high, band[1] + 0.5)
    pad = max(0.05 * (high - low), 0.05)
    return low - pad, high + pad
