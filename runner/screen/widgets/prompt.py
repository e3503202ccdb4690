"""What to do now: in large letters, in one sentence, and which key it waits for."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import Label

from runner.screen.widgets.big_text import BigText


class Prompt(Vertical):
    """The order in large letters and the sentence. At a hold point it stands in a frame and names the key."""

    DEFAULT_CSS = """
    Prompt { height: auto; min-height: 5; max-height: 12; background: $surface; }
    Prompt Label { padding: 0 1; }
    Prompt #sentence { width: 100%; height: auto; text-style: bold; }
    Prompt #aside { width: 100%; height: 2; color: $text-muted; }
    Prompt.-hold { background: $primary; }
    Prompt.-hold #aside { height: auto; max-height: 4; }
    Prompt.-hold #sentence, Prompt.-hold #aside { color: $text; }
    Prompt.-change, Prompt.-change BigText { background: $warning; color: $background; }
    """

    def __init__(self, id: str | None = None) -> None:
        super().__init__(id=id)
        self._shown = ("", "")  # a label that is given the same text again would lay the whole screen out anew

    def compose(self) -> ComposeResult:
        yield BigText(id="large")
        yield Label("", id="sentence", markup=False)
        yield Label("", id="aside", markup=False)

    def show(self, sentence: str, aside: str, *, hold: bool, large: str = "") -> None:
        """``aside`` is the key that is waited for, or what the watcher thinks; ``large`` the order in large letters."""
        self.set_class(hold, "-hold")
        self.query_one(BigText).show(large, hold=hold)
        if sentence != self._shown[0]:
            self.query_one("#sentence", Label).update(sentence)
        if aside != self._shown[1]:
            self.query_one("#aside", Label).update(aside, layout=hold)  # at a hold point it may take several lines
        self._shown = (sentence, aside)

    def flash(self) -> None:
        """A trip or release has just been seen: the whole width lights up for a moment."""
        self.add_class("-change")
        self.set_timer(1.5, lambda: self.remove_class("-change"))
