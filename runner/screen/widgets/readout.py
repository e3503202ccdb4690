"""One big number with its name and unit, readable from two metres; what was not read is a dash, never an old number."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import Digits, Label

from runner.scale import as_read


class Readout(Vertical):
    """A name, three rows of digits, a unit: °C and K are shown on the scale that people read."""

    DEFAULT_CSS = """
    Readout { width: 1fr; height: 4; padding: 0 1; }
    Readout Label { color: $text-muted; width: 100%; height: 1; }
    Readout Digits { width: 100%; height: 3; text-style: bold; }
    Readout.-missing Digits { color: $warning; }
    """

    def __init__(self, name: str, unit: str, pattern: str) -> None:
        super().__init__()
        self._name, self._unit, self._pattern = name, unit, pattern
        self._text = "-"

    def compose(self) -> ComposeResult:
        yield Label(f"{self._name} / {as_read(0.0, self._unit)[1]}", markup=False)
        yield Digits("-")

    def show(self, value: float | None) -> None:
        """A value in the readout's unit; None is a reading that is not there."""
        text = "-" if value is None else self._pattern.format(as_read(value, self._unit)[0])
        if text != self._text:
            self._text = text
            self.set_class(value is None, "-missing")
            self.query_one(Digits).update(text)
