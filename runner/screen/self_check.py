"""The check of a bench's instruments with live readings, before anything is switched on."""

from __future__ import annotations

import datetime
import time
from pathlib import Path

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, Static
from textual.worker import get_current_worker

from runner.bench.assembly import Bench
from runner.bench.checks.self_check import Present, call
from runner.conduct.clock import ScaledClock
from runner.errors import TripwitnessError
from runner.screen.texts import choose as texts
from runner.screen.widgets.still_line import Title
from runner.workspace.job import load_bench
from runner.workspace.locks import Locks

PAUSE = 0.5  # s between two calls


class RollScreen(Screen[None]):
    """Asks every instrument again and again who it is and what it reads. It switches nothing."""

    BINDINGS = [Binding("escape,q,b,enter", "app.pop_screen", "Back", key_display="Esc")]
    CSS = """
    RollScreen #roll { height: 1fr; padding: 0 1; }
    """

    def __init__(self, bench: Path) -> None:
        super().__init__()
        self._bench = bench
        self.present: list[Present] = []

    def compose(self) -> ComposeResult:
        yield Title(*texts.check_titles(self._bench.name))
        yield Static(texts.ASKING, id="roll")
        yield Footer()

    def on_mount(self) -> None:
        self._ask()

    @work(thread=True, exclusive=True)
    def _ask(self) -> None:
        worker = get_current_worker()
        try:
            _, sheet, dialects = load_bench(self._bench)
        except TripwitnessError as error:
            self.app.call_from_thread(self._say, str(error))
            return
        bench, locks = Bench(sheet, dialects, ScaledClock()), Locks(texts.WHO_ASKS)
        try:
            locks.instruments((role, each.address) for role, each in sheet.wired().items())
            while not worker.is_cancelled:
                present = call(bench, datetime.datetime.now(datetime.UTC).date())
                self.app.call_from_thread(self._show, present)
                time.sleep(PAUSE)
        except TripwitnessError as error:
            self.app.call_from_thread(self._say, str(error))
        finally:
            bench.close()
            locks.close()

    def _show(self, present: list[Present]) -> None:
        self.present = present
        self._say("\n".join(line for each in present for line in roll_lines(each)))

    def _say(self, said: str) -> None:
        for part in self.query("#roll").results(Static):  # none while the screen is taken apart
            part.update(Content(said))


def roll_lines(each: Present) -> list[str]:
    """One instrument's answer; a mark says whether it is there."""
    mark = "✗" if each.fault is not None else "!" if each.warning else "✓"
    lines = [f"{mark} {each.role:8} {each.readings or each.address}"]
    if each.fault is not None:
        return [*lines, f"           {each.fault.what}; {each.fault.remedy}"]
    return [*lines, *(f"           {text}" for text in each.details())]
