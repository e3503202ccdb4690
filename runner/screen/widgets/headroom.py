"""The ceilings and how far off they are, in one line."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

from runner.engine.ceilings import Headroom
from runner.screen.texts import run as texts

AS_WANTED = 1.005  # times the voltage that was set: up to there a reading is that voltage (a supply and its meter)
NEAR = 0.98  # of a ceiling: from here on it is marked


class HeadroomLine(Static):
    """``now/limit: 54.1/67 °C`` and so on; one that is close to its ceiling is marked NEAR."""

    DEFAULT_CSS = "HeadroomLine { height: 1; padding: 0 1; color: $text-muted; }"

    _text = ""

    def show(self, headroom: tuple[Headroom, ...], remaining: float | None) -> None:
        parts = [texts.of_ceiling(each.value, each.ceiling, each.unit, near=is_near(each)) for each in headroom]
        if remaining is not None:
            parts.append(texts.step_ends(remaining))
        text = texts.headroom(parts)
        if text != self._text:
            self._text = text
            self.update(Content(text), layout=False)


def is_near(each: Headroom) -> bool:
    """Close to the ceiling, and above what the supply holds on purpose."""
    wanted = 0.0 if each.wanted is None else each.wanted * AS_WANTED
    return each.value is not None and each.value > max(NEAR * each.ceiling, wanted)
