"""The steps, and where we are: what was done, what is now, what comes next, what is skipped. Marks, not colours, tell."""

from __future__ import annotations

from textual.app import RenderResult
from textual.content import Content
from textual.widget import Widget

from runner.engine.view import StepLine

MARKS = {"done": "✓", "now": "▶", "next": "·", "skipped": "–"}


class StepList(Widget):
    """As many steps as fit, the present one always among them."""

    DEFAULT_CSS = """
    StepList { width: 32%; min-width: 28; max-width: 46; height: 1fr; padding: 0 1; border-left: solid $foreground 30%; }
    """

    def __init__(self) -> None:
        super().__init__(id="steps")
        self._steps: tuple[StepLine, ...] = ()

    def show(self, steps: tuple[StepLine, ...]) -> None:
        if steps != self._steps:
            self._steps = steps
            self.refresh()

    def render(self) -> RenderResult:
        height, width = self.size.height, self.size.width
        now = next((index for index, step in enumerate(self._steps) if step.mark == "now"), 0)
        first = max(0, min(now - height // 3, len(self._steps) - height))
        lines = []
        for step in self._steps[first : first + height]:
            text = f"{MARKS[step.mark]} {step.title}"[:width]
            style = "bold reverse" if step.mark == "now" else "dim" if step.mark in ("done", "skipped") else ""
            lines.append(Content.styled(text, style))
        return Content("\n").join(lines)
