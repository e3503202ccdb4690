"""The first screen: what there is to do here, and the way to it. Nothing at a bench is touched from it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, OptionList, Static
from textual.widgets.option_list import Option

from runner.screen.choice import REHEARSE, WATCH, Choice
from runner.screen.themes import Dressed
from runner.workspace.discovery import sheets_in


@dataclass(frozen=True)
class MenuEntry:
    """One thing to do: its name, what it is in a few sentences."""

    key: str
    name: str
    about: str


ENTRIES = (
    MenuEntry(
        WATCH,
        "Rehearse: watch",
        "A whole trip test on a simulated bench with an invented pack. The simulation heats and cools the sensors. You watch "
        "each trip and release and get the findings and a certificate. Takes about a minute. No instruments; nothing gets "
        "hot.",
    ),
    MenuEntry(
        REHEARSE,
        "Rehearse: take part",
        "The same bench, at thirty times real speed, with you as its operator: you read the cautions, confirm the "
        "hold points and type the readings. The simulation only moves the heat gun.",
    ),
    MenuEntry(
        "test",
        "Test a pack",
        "Choose a pack sheet, a bench file and the procedures. Check the plan, then run it on your bench. The program looks "
        "for both files in the current folder.",
    ),
    MenuEntry(
        "roll",
        "Check the instruments",
        "Reads the identity, the present reading, the limits and the calibration date of every instrument in a bench file. "
        "Nothing is switched on.",
    ),
    MenuEntry(
        "past",
        "Past runs",
        "Search past tests, view findings, compare two packs or two dates of one pack, follow one threshold over the years, "
        "make a certificate.",
    ),
    MenuEntry(
        "pack",
        "Write a pack sheet",
        "Enter the data sheet of a pack field by field. Values are checked as you type. Saved as YAML; edit the file later if "
        "needed.",
    ),
    MenuEntry(
        "bench",
        "Write a bench file",
        "Enter the instruments and their addresses, or mark them as read by hand. Saved as YAML; edit the file later if "
        "needed.",
    ),
)


class StartApp(Dressed["Choice | None"]):
    """Ends with what is to be carried out, or None."""

    def __init__(
        self, out: Path, certificate: Callable[[Path], str], folder: Path, begin: int = 0, said: str = ""
    ) -> None:
        """``out`` has the run folders, ``folder`` the sheets; ``begin`` is the entry that is under the cursor.

        ``said`` is why what was chosen before did not come to anything.
        """
        super().__init__()
        self.said = said
        self.out, self.certificate, self.folder, self.begin = out, certificate, folder, begin

    def on_mount(self) -> None:
        self.push_screen(StartScreen(self.begin))


class StartScreen(Screen[None]):
    """The list at the left, what the entry under the cursor is at the right, and what was found here below."""

    BINDINGS = [Binding("q,escape", "leave", "Leave", key_display="q")]
    CSS = """
    StartScreen #entries { width: 32; height: 1fr; border: none; padding: 1 0 0 1; }
    StartScreen #side { width: 1fr; height: 1fr; padding: 1 2; border-left: solid $foreground 30%; }
    StartScreen #about { width: 100%; height: auto; }
    StartScreen #here { height: auto; max-height: 8; padding: 0 1; background: $surface; }
    """

    def __init__(self, begin: int = 0) -> None:
        super().__init__()
        self._begin = begin

    @property
    def _start(self) -> StartApp:
        assert isinstance(self.app, StartApp)
        return self.app

    def compose(self) -> ComposeResult:
        yield Static("TRIPWITNESS · protection trip tests on battery packs", id="title")
        with Horizontal():
            yield OptionList(*(Option(entry.name, id=entry.key) for entry in ENTRIES), id="entries")
            with VerticalScroll(id="side", can_focus=False):
                yield Static("", id="about")
        yield Static("", id="here")
        yield Footer()

    def on_mount(self) -> None:
        entries = self.query_one("#entries", OptionList)
        entries.highlighted = self._begin
        entries.focus()
        self._look_around()

    def on_screen_resume(self) -> None:
        self._look_around()

    def on_option_list_option_highlighted(self, message: OptionList.OptionHighlighted) -> None:
        entry = ENTRIES[message.option_index]
        self.query_one("#about", Static).update(Content(f"{entry.name.upper()}\n\n{entry.about}\n\nEnter begins."))

    def on_option_list_option_selected(self, message: OptionList.OptionSelected) -> None:
        key = ENTRIES[message.option_index].key
        if key in (WATCH, REHEARSE):
            self.app.exit(Choice(key))
        else:
            self._open(key)

    def action_leave(self) -> None:
        self.app.exit(None)

    # ---- the ways from here; each brings its own room with it, so that this screen is there at once ------------------

    def _open(self, key: str) -> None:
        start = self._start
        if key == "past":
            from runner.screen.past import PastScreen

            self.app.push_screen(PastScreen(start.out, start.certificate))
        elif key in ("pack", "bench"):
            from runner.screen.form import FormScreen

            self.app.push_screen(FormScreen(key, start.folder), self._saved)
        else:
            from runner.screen.choose import ChooseScreen

            self.app.push_screen(ChooseScreen(start.folder, only_bench=key == "roll"), self._chosen)

    def _chosen(self, choice: Choice | None) -> None:
        if choice is not None:
            self.app.exit(choice)

    def _saved(self, path: Path | None) -> None:
        if path is not None:
            self.notify(f"saved: {path}")
        self._look_around()

    def _look_around(self) -> None:
        packs, benches = (sheets_in(self._start.folder, kind) for kind in ("pack", "bench"))
        names = ", ".join(path.name for path in [*packs, *benches])
        said = (
            self._start.said or f"current folder: {names}"
            if names or self._start.said
            else "current folder: no pack sheet, no bench file; a rehearsal needs neither"
        )
        self.query_one("#here", Static).update(Content(said))
