"""The steps, and where we are: done, now, next, skipped or cut short. Marks, not colours, tell."""

from __future__ import annotations

from textwrap import wrap

from textual.app import RenderResult
from textual.content import Content
from textual.widget import Widget

from runner.engine.view import StepLine

MARKS = {"done": "✓", "now": "▶", "next": "·", "skipped": "–", "cut": "■"}


class StepList(Widget):
    """As many steps as fit, whole, the present one always among them; below each what came of it, and what is known at last."""

    DEFAULT_CSS = """
    StepList { width: 32%; min-width: 28; max-width: 46; height: 1fr; padding: 0 1; border-left: solid $foreground 30%; }
    """

    def __init__(self) -> None:
        super().__init__(id="steps")
        self._steps: tuple[StepLine, ...] = ()
        self._results: dict[int, str] = {}
        self._known: list[str] = []

    def show(self, steps: tuple[StepLine, ...]) -> None:
        """The steps as they are now."""
        if steps != self._steps:
            self._steps = steps
            self.refresh()

    def concluded(self, index: int, result: str) -> None:
        """What came of a step, by its place in the program."""
        self._results[index] = result
        self.refresh()

    def found(self, say: str) -> None:
        """What is known now of a sensor."""
        self._known.append(say)
        self.refresh()

    def render(self) -> RenderResult:
        height, width = self.size.height, max(self.size.width, 8)
        known = [(line, "bold") for say in self._known for line in wrap(f"● {say}", width, subsequent_indent="  ")]
        known = known[-max(height // 2, 0) :] if known else []
        room = height - len(known)
        blocks = [self._block(index, step, width) for index, step in enumerate(self._steps)]
        now = next((index for index, step in enumerate(self._steps) if step.mark == "now"), 0)
        first, before = now, 0  # a third of the room for what was done
        while first > 0 and before + len(blocks[first - 1]) <= max(room // 3, room - sum(map(len, blocks[now:]))):
            first -= 1
            before += len(blocks[first])
        lines: list[tuple[str, str]] = []
        for block in blocks[first:]:
            if len(lines) + len(block) > room and lines:
                break  # whole steps only
            lines += block
        shown = [*lines[:room], *known]
        return Content("\n").join([Content.styled(text, style) for text, style in shown])

    def _block(self, index: int, step: StepLine, width: int) -> list[tuple[str, str]]:
        """A step in as many lines as it needs, each with its look."""
        style = "bold reverse" if step.mark == "now" else "dim" if step.mark in ("done", "skipped", "cut") else ""
        lines = [(line, style) for line in wrap(f"{MARKS[step.mark]} {step.title}", width, subsequent_indent="  ")]
        result = self._results.get(index)
        if result:
            lines += [(line, "") for line in wrap(f"→ {result}", width, initial_indent="  ", subsequent_indent="    ")]
        return lines
