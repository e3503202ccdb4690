"""A value with its interval against its limits, drawn in one line of text: where it stands is a place, not a colour."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

LEAST_WIDTH = 12
MARGIN = 0.15  # of what is drawn, left free at either side


def interval_line(
    value: float, uncertainty: float, lower: float | None, upper: float | None, width: int
) -> tuple[str, str]:
    """(interval, limits): ``├──●──┤`` over ``[      ]``, on one scale. All in one unit; ``width`` in characters."""
    ends = [value - uncertainty, value + uncertainty, *(each for each in (lower, upper) if each is not None)]
    low, high = min(ends), max(ends)
    span = max(high - low, 1e-12)
    low, high = low - MARGIN * span, high + MARGIN * span
    width = max(width, LEAST_WIDTH)

    def column(x: float) -> int:
        return round((x - low) / (high - low) * (width - 1))

    drawn, scale = [" "] * width, ["·" if lower is not None or upper is not None else " "] * width
    first, last = column(value - uncertainty), column(value + uncertainty)
    for place in range(first, last + 1):
        drawn[place] = "─"
    drawn[first], drawn[last] = "├", "┤"
    drawn[column(value)] = "●"
    inside_from = 0 if lower is None else column(lower)
    inside_to = width - 1 if upper is None else column(upper)
    if lower is not None or upper is not None:
        for place in range(inside_from, inside_to + 1):
            scale[place] = "═"
        if lower is not None:
            scale[inside_from] = "["
        if upper is not None:
            scale[inside_to] = "]"
    return "".join(drawn), "".join(scale)


class IntervalLines(Static):
    """Two lines: the interval, and the limits it is held against."""

    DEFAULT_CSS = "IntervalLines { height: 2; padding: 0 1; text-style: bold; }"

    def show(self, value: float | None, uncertainty: float | None, lower: float | None, upper: float | None) -> None:
        if value is None or uncertainty is None:
            self.update("")
            return
        self.update(Content("\n".join(interval_line(value, uncertainty, lower, upper, self.size.width - 2))))
