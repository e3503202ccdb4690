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
from runner.screen.texts import start as texts
from runner.screen.themes import Dressed
from runner.workspace.discovery import sheets_in


@dataclass(frozen=True)
class MenuEntry:
    """One thing to do: its name, what it is in a few sentences."""

    key: str
    name: str
    about: str


ENTRIES = (
    MenuEntry(WATCH, *texts.WATCH),
    MenuEntry(REHEARSE, *texts.REHEARSE),
    MenuEntry("test", *texts.TEST),
    MenuEntry("roll", *texts.CHECK),
    MenuEntry("past", *texts.PAST),
    MenuEntry("pack", *texts.PACK),
    MenuEntry("bench", *texts.BENCH),
)


class StartApp(Dressed[Choice | None]):
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
        yield Static(texts.TITLE, id="title")
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
        self.query_one("#about", Static).update(Content(texts.entry(entry.name, entry.about)))

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
            self.notify(texts.saved(str(path)))
        self._look_around()

    def _look_around(self) -> None:
        packs, benches = (sheets_in(self._start.folder, kind) for kind in ("pack", "bench"))
        names = [path.name for path in [*packs, *benches]]
        said = self._start.said or (texts.files_here(names) if names else texts.NO_FILES)
        self.query_one("#here", Static).update(Content(said))
