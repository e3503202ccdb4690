"""Three looks: for a dim workshop, for daylight, and with the strongest contrast. No meaning hangs on a colour alone."""

from __future__ import annotations

from typing import TypeVar

from rich.text import Text
from textual.app import App
from textual.binding import Binding
from textual.theme import Theme

from runner.screen.texts import everywhere as texts
from runner.screen.widgets.key_list import KeyList
from runner.streams import told

Result = TypeVar("Result")
NIGHT, DAY, STRONG = "workshop night", "workshop day", "strong contrast"

THEMES = (
    Theme(
        name=NIGHT,
        primary="#1f4e79",
        secondary="#5b7f95",
        accent="#7fb2d9",
        foreground="#e6e6e0",
        background="#14181c",
        surface="#1c2227",
        panel="#262e35",
        success="#6fa8dc",
        warning="#e8a33d",
        error="#e8743d",
        dark=True,
    ),
    Theme(
        name=DAY,
        primary="#9fc5e8",
        secondary="#6b8799",
        accent="#1f4e79",
        foreground="#16191c",
        background="#f4f3ee",
        surface="#e9e7df",
        panel="#dcd9ce",
        success="#1f5fa8",
        warning="#a35a00",
        error="#b03a00",
        dark=False,
    ),
    Theme(
        name=STRONG,
        primary="#003a8c",
        secondary="#ffffff",
        accent="#ffff00",
        foreground="#ffffff",
        background="#000000",
        surface="#000000",
        panel="#1a1a1a",
        success="#66b3ff",
        warning="#ffb000",
        error="#ff7a1a",
        dark=True,
        luminosity_spread=0.3,
        text_alpha=1.0,
    ),
)


class Dressed(App[Result]):
    """An app in our looks, the first of them at first; F3 is the next one. F1 lists the keys.

    There is no palette of commands: one that opens or closes in an unlucky moment ends the app, and a run with it.
    """

    ENABLE_COMMAND_PALETTE = False

    TITLE = "Tripwitness"
    CSS = """
    #title { height: 1; padding: 0 1; background: $foreground 15%; text-style: bold; text-wrap: nowrap; text-overflow: ellipsis; }
    """
    BINDINGS = [
        Binding("f1", "help", "Keys", key_display="F1", tooltip="keys on this screen"),
        Binding(
            "f3",
            "look",
            "Colours",
            key_display="F3",
            tooltip="next colours: for a dim workshop, for daylight, strong contrast",
            show=False,
        ),
    ]

    def __init__(self) -> None:
        super().__init__()
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = NIGHT

    def _fatal_error(self) -> None:
        """A defect in a screen, which Textual would answer with pages of code."""
        error = self._exception
        self._exit_renderables.append(Text(told(error) if error is not None else texts.DEFECT))
        self._close_messages_no_wait()

    def action_help(self) -> None:
        """Show or hide the list of keys at the top of the screen."""
        shown = self.screen.query(KeyList)
        if shown:
            shown.remove()
        else:
            self.screen.mount(KeyList(self.screen, stops=self.can_stop))

    def action_look(self) -> None:
        """The next of our looks."""
        names = [theme.name for theme in THEMES]
        self.theme = names[(names.index(self.theme) + 1) % len(names)]

    @property
    def can_stop(self) -> bool:
        """Whether F8 ends a run now."""
        return False
