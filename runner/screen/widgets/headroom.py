"""The ceilings and how far off they are, in one line."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

from runner.engine.ceilings import Headroom

NEAR = 0.98  # of a ceiling: from here on it is marked


class HeadroomLine(Static):
    """``now/limit: 54.1/67 °C`` and so on; one that is close to its ceiling is marked NEAR."""

    DEFAULT_CSS = "HeadroomLine { height: 1; padding: 0 1; color: $text-muted; }"

    _text = ""

    def show(self, headroom: tuple[Headroom, ...], remaining: float | None) -> None:
        parts = []
        for each in headroom:
            value = "–" if each.value is None else f"{round(each.value, 1) + 0.0:.1f}"
            near = "NEAR " if each.value is not None and each.value > NEAR * each.ceiling else ""
            parts.append(f"{near}{value}/{each.ceiling:.3g} {each.unit}")
        if remaining is not None:
            parts.append(f"step ends in {_time(remaining)}")
        text = "now/limit: " + " · ".join(parts)
        if text != self._text:
            self._text = text
            self.update(Content(text), layout=False)


def _time(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"
