"""Lines of text that are drawn anew only when they change: the screen is told ten times a second."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static


class StillLine(Static):
    """Text from outside, shown as it is."""

    DEFAULT_CSS = "StillLine { width: 100%; height: 1; padding: 0 1; text-wrap: nowrap; text-overflow: ellipsis; }"

    _text = ""

    def show(self, text: str) -> None:
        """Show this from now on."""
        if text != self._text:
            self._text = text
            self.update(Content(text), layout=False)


class Title(Static):
    """A title in several wordings, the fullest first: the first that fits the width is shown."""

    DEFAULT_CSS = "Title { height: 1; padding: 0 1; }"

    def __init__(self, *wordings: str, id: str = "title") -> None:
        super().__init__(Content(wordings[0]), id=id)
        self._wordings = wordings

    def say(self, *wordings: str) -> None:
        """Another title from now on."""
        self._wordings = wordings
        self.on_resize()

    def on_resize(self) -> None:
        width = self.size.width
        fitting = next((text for text in self._wordings if len(text) <= width), self._wordings[-1])
        self.update(Content(fitting), layout=False)
