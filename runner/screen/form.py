"""A pack sheet or a bench file, field by field; each is checked as it is typed, the file when it is saved."""

from __future__ import annotations

from pathlib import Path

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, Input, Label, Static

from runner.errors import TripwitnessError
from runner.workspace.forms import FORMS, Field, save, written

NAMES = {"pack": "PACK SHEET", "bench": "BENCH FILE"}
MORE = {
    "pack": "Other protections: add them in the file (see the manual of procedures).",
    "bench": "Add more values in the file.",
}
EXAMPLE = "e.g."  # before what stands in an empty field, so that nobody takes it for an entry
WHAT_TO_DO = {"pack": "copy the values from the data sheet", "bench": "enter your instruments"}


class FormScreen(Screen[Path | None]):
    """Gives the path of the file that was saved, or None."""

    BINDINGS = [
        Binding("f2", "save", "Save", key_display="F2"),
        Binding("escape", "back", "Back without saving", key_display="Esc"),
    ]
    CSS = """
    FormScreen #fields { height: 1fr; }
    FormScreen Horizontal { height: 1; }
    FormScreen Label { width: 42; padding: 0 0 0 1; }
    FormScreen Input { width: 1fr; height: 1; border: none; padding: 0 1; background: $panel; }
    FormScreen Input:focus { background: $primary; }
    FormScreen #said { height: auto; min-height: 2; max-height: 6; padding: 0 1; background: $surface; }
    """

    def __init__(self, kind: str, folder: Path) -> None:
        super().__init__()
        self.kind, self.folder = kind, folder
        file = Field("file", "name of the file", f"my-{kind}.yaml", needed=True)
        self.fields = (file, *FORMS[kind])

    def compose(self) -> ComposeResult:
        yield Static(f"NEW {NAMES[self.kind]} · {WHAT_TO_DO[self.kind]}", id="title")
        with VerticalScroll(id="fields"):
            for field in self.fields:
                with Horizontal():
                    yield Label(f"{field.ask}{' *' if field.needed else ''}", markup=False)
                    yield Input(
                        placeholder=f"{EXAMPLE} {field.example}" if field.example else "", id=f"field-{field.key}"
                    )
        yield Static("", id="said")
        yield Footer()

    def on_mount(self) -> None:
        with self.prevent(Input.Changed):
            self.query_one("#field-file", Input).value = f"my-{self.kind}.yaml"
        self.query(Input)[1].focus()
        self._say(f"Enter: next field. F2: save. * = required. {MORE[self.kind]}")

    def on_input_changed(self, message: Input.Changed) -> None:
        field = self._field(message.input)
        fault = field.fault(message.value) if message.value else ""
        self._say(
            f"{field.ask}: {fault}"
            if fault
            else f"{field.ask}: {'✓' if message.value else f'{EXAMPLE} {field.example}' if field.example else ''}"
        )

    def on_input_submitted(self, message: Input.Submitted) -> None:
        message.stop()
        fault = self._field(message.input).fault(message.value)
        if fault:
            self._say(f"{self._field(message.input).ask}: {fault}")
        elif message.input is self.query(Input).last():
            self.action_save()
        else:
            self.focus_next(Input)

    def action_save(self) -> None:
        values = {field.key: self.query_one(f"#field-{field.key}", Input).value for field in self.fields}
        path = self.folder / values.pop("file").strip()
        try:
            save(path, written(self.kind, values))
        except TripwitnessError as error:
            self._say(str(error))
            return
        self.dismiss(path)

    def action_back(self) -> None:
        self.dismiss(None)

    def _field(self, field_input: Input) -> Field:
        return next(field for field in self.fields if f"field-{field.key}" == field_input.id)

    def _say(self, said: str) -> None:
        self.query_one("#said", Static).update(Content(said))
