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
        "A whole trip test on a simulated bench with an invented pack. Simulated hands heat and cool the sensors; you watch "
        "what the screen tells them, see each trip and release, and get the findings and a certificate. About a minute, no "
        "instruments, nothing gets hot.",
    ),
    MenuEntry(
        REHEARSE,
        "Rehearse: take part",
        "The same bench, at thirty times real speed, with you as its operator: you read the cautions, agree at the hold "
        "points and type the readings. The simulated hands only hold the heat gun.",
    ),
    MenuEntry(
        "test",
        "Test a pack",
        "Choose a pack sheet, a bench file and the procedures; see the plan, its order and what it leaves out and why; then "
        "go through it on your own bench. It looks for both kinds of file in the folder it was started in.",
    ),
    MenuEntry(
        "roll",
        "Check the instruments",
        "Ask every instrument of a bench file who it is and what it reads now, with its limits and calibration dates. "
        "Nothing is switched on.",
    ),
    MenuEntry(
        "past",
        "Past runs",
        "Search what was tested; look at the findings of a run again, put two packs or two dates of one pack side by side, "
        "follow one threshold over the years, make a certificate.",
    ),
    MenuEntry(
        "pack",
        "Write a pack sheet",
        "What the data sheet of a pack declares, asked field by field and checked as you type. Saved as YAML, which you can "
        "go on editing.",
    ),
    MenuEntry(
        "bench",
        "Write a bench file",
        "Which instruments there are and how they are reached, or that a person reads them. Saved as YAML, which you can go "
        "on editing.",
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
            self._start.said or f"here: {names}"
            if names or self._start.said
            else "here: no pack sheet and no bench file yet; the rehearsal needs neither"
        )
        self.query_one("#here", Static).update(Content(said))
