"""A value with its interval against its limits, drawn in one line of text: where it stands is a place, not a colour."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

from runner.scale import scaled

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


def numbers_line(scale: str, lower: str, upper: str) -> str:
    """The limits in numbers below their brackets in ``scale``, one after the other where they would touch."""
    line = ""
    if lower:
        line = f"{' ' * max(0, scale.index('[') - len(lower) // 2)}{lower}"
    if upper:
        at = min(scale.index("]") - len(upper) // 2, len(scale) - len(upper))
        line = f"{line}{' ' * max(at - len(line), 1 if line else 0)}{upper}"
    return line


class IntervalLines(Static):
    """Three lines: the interval, the limits it is held against, and the limits in numbers."""

    DEFAULT_CSS = "IntervalLines { height: 3; padding: 0 1; text-style: bold; }"

    def show(
        self, value: float | None, uncertainty: float | None, lower: float | None, upper: float | None, unit: str = ""
    ) -> None:
        if value is None or uncertainty is None:
            self.update("")
            return
        drawn, scale = interval_line(value, uncertainty, lower, upper, self.size.width - 2)
        size, offset, read = scaled(unit)
        below, above = (
            f"{limit / size + offset:.4g} {read}".strip() if limit is not None else "" for limit in (lower, upper)
        )
        self.update(Content("\n".join((drawn, scale, numbers_line(scale, below, above)))))
