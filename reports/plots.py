"""The plot of every trip and release: readings, the fitted ramp, the instant, the threshold, the limits.

Colours are blue and orange with different marks and line styles, so nothing is told by colour alone.
"""

from __future__ import annotations

import io
import math
import re
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from runner.events import CHARGE, CURRENT_OF, DISCHARGE, PROBE_TEMPERATURE
from runner.measure.finding import Finding
from runner.measure.recording import Recording
from runner.measure.threshold import Crossing
from runner.notation.quantity import minus
from runner.scale import as_read, degrees, fahrenheit, per_minute
from runner.vocabulary import Outcome

BLUE, ORANGE, GREY = "#1f5fa8", "#c65d00", "#666666"
PER_ROW = 3
PANEL = (2.36, 1.42)  # inches
ROOM = (0.40, 0.25, 0.28, 0.15)  # inches left, right, below and above the axes of a panel
BEFORE, AFTER = 80.0, 30.0  # s around the instant
OF_THE_EVENT = 5.0  # s after the instant: what a sensor does then, warmed or cooled by what comes next, sets no scale
AROUND = 1.0  # K
_STYLE: Any = {
    "svg.fonttype": "none",
    "path.simplify": False,
    "svg.hashsalt": "tripwitness",
    "font.family": "DejaVu Sans",
    "font.size": 6.0,
    "axes.linewidth": 0.5,
    "xtick.major.width": 0.5,
    "ytick.major.width": 0.5,
    "xtick.major.size": 2,
    "ytick.major.size": 2,
}


def crossings_svg(finding: Finding, recording: Recording, prefix: str = "", channel: str = PROBE_TEMPERATURE) -> str:
    """All crossings of a finding as one SVG picture, PER_ROW to a row; empty if there are none.

    ``channel``: what the reference of its sensor reads; ``prefix`` keeps its ids apart from those of the pictures of other runs on
    the same page.
    """
    if not finding.plots:
        return ""
    columns, rows = columns_of(finding), -(-len(finding.plots) // PER_ROW)
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(PANEL[0] * columns, PANEL[1] * rows))
        FigureCanvasSVG(figure)
        _lay_out(figure, columns, rows)
        for index, crossing in enumerate(finding.plots):
            _panel(figure.add_subplot(rows, columns, index + 1), finding, crossing, recording, channel)
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None})
    svg = out.getvalue()
    svg = svg[svg.index("<svg") :]
    name = f"{prefix}-{finding.name}-{finding.sensor}"
    return _own_ids(
        svg, re.sub(r"[^A-Za-z0-9]+", lambda found: found.group().encode("utf-8", "surrogatepass").hex(), name)
    )


def _lay_out(figure: Figure, columns: int, rows: int) -> None:
    """The same room about every panel, enough for the longest figures an axis can have: no picture is drawn twice to find it."""
    left, right, bottom, top = ROOM
    inside = PANEL[0] - left - right, PANEL[1] - bottom - top
    wide, high = PANEL[0] * columns, PANEL[1] * rows
    figure.subplots_adjust(
        left / wide,
        bottom / high,
        1 - right / wide,
        1 - top / high,
        wspace=(left + right) / inside[0],
        hspace=(bottom + top) / inside[1],
    )


def columns_of(finding: Finding) -> int:
    """How many panels stand beside each other: the picture takes so much of PER_ROW of the page's width."""
    return min(len(finding.plots), PER_ROW)


def _own_ids(svg: str, prefix: str) -> str:
    """Several pictures share one page, so their ids must not meet."""
    svg = re.sub(r'id="([^"]+)"', rf'id="{prefix}-\1"', svg)
    svg = re.sub(r'xlink:href="#([^"]+)"', rf'xlink:href="#{prefix}-\1"', svg)
    return re.sub(r"url\(#([^)]+)\)", rf"url(#{prefix}-\1)", svg)


def _dots(axes: Any, x: np.ndarray, y: np.ndarray, **style: Any) -> None:
    """Readings as dots, in one path: a thousand markers of their own take a PDF seconds to draw."""
    gap = np.full(len(x), np.nan)
    ends = np.column_stack([x, x + 1e-6, gap]).ravel(), np.column_stack([y, y, gap]).ravel()
    axes.plot(*ends, "-", solid_capstyle="round", **style)


def _temperatures(finding: Finding, crossing: Crossing, read: np.ndarray) -> tuple[float, float]:
    """The °C that a panel shows: the ramp and the threshold, and of the readings up to the event no more than AROUND of them.

    A probe that is taken away after the last ramp would make a flat line of it.
    """
    ramp, wide = crossing.ramp, abs(crossing.ramp.rate) * BEFORE
    shown = [ramp.temperature - wide, ramp.temperature + wide, *([] if finding.value is None else [finding.value])]
    low, high = min(shown) - AROUND, max(shown) + AROUND
    inside = [*read[(read >= low) & (read <= high)], *shown[2:], ramp.temperature]
    edge = 0.05 * (max(inside) - min(inside)) + 0.1
    return min(inside) - edge, max(inside) + edge


def _seen_until(crossing: Crossing) -> float:
    """Up to when a current is drawn, in s: after a return the program may switch off, and that would look like a trip."""
    attempt = crossing.attempt
    returned = attempt.outcome == Outcome.RETURNED
    return attempt.concluded if returned and attempt.concluded is not None else math.inf


def _panel(axes: Any, finding: Finding, crossing: Crossing, recording: Recording, channel: str) -> None:
    ramp, instant = crossing.ramp, crossing.edge.instant
    path = DISCHARGE if "discharge" in finding.protection else CHARGE
    temperature = recording.of(channel).between(instant - BEFORE, instant + AFTER)
    current = recording.of(CURRENT_OF[path]).between(instant - BEFORE, min(instant + AFTER, _seen_until(crossing)))
    side = axes.twinx()
    side.step(current.t - instant, current.value, where="post", color=ORANGE, linewidth=0.7, label="current")
    side.set_ylim(-0.15 * crossing.edge.level, 2.6 * crossing.edge.level)
    side.tick_params(colors=ORANGE, length=1.5)
    side.set_yticks([0.0, round(crossing.edge.level, 1)])
    if finding.lower is not None and finding.upper is not None:
        axes.axhspan(finding.lower, finding.upper, color=BLUE, alpha=0.10, linewidth=0)
    _dots(axes, temperature.t - instant, temperature.value, color=BLUE, linewidth=1.4, label="reference")
    axes.plot(
        [ramp.begin - instant, 0.0],
        [ramp.temperature + ramp.rate * (ramp.begin - instant), ramp.temperature],
        "-",
        color="black",
        linewidth=0.8,
        label="fit",
    )
    axes.axvline(0.0, color=GREY, linewidth=0.6, linestyle=":")
    if finding.value is not None:
        axes.axhline(finding.value, color=GREY, linewidth=0.7, linestyle="--")
    axes.plot([0.0], [ramp.temperature], "D", color="black", markersize=3, fillstyle="none")
    axes.set_xlim(-BEFORE, AFTER)
    axes.set_ylim(*_temperatures(finding, crossing, temperature.value[temperature.t - instant <= OF_THE_EVENT]))
    axes.set_title(
        f"ramp {crossing.attempt.cycle}: "
        f"{minus(per_minute(ramp.rate, '+.2f'))}, switched at {minus(degrees(ramp.temperature, '.2f'))}",
        fontsize=5.2,
        loc="left",
        pad=2,
        parse_math=False,  # a name may have dollar signs
    )
    axes.set_xlabel("time from the switching / s", labelpad=1)
    axes.set_ylabel(as_read(0.0, "°C")[1], labelpad=1)
    if fahrenheit():
        axes.yaxis.set_major_formatter(lambda value, at: f"{as_read(value, '°C')[0]:.1f}")
    side.set_ylabel("A", labelpad=-3, color=ORANGE)
    axes.set_zorder(side.get_zorder() + 1)
    axes.patch.set_visible(False)
