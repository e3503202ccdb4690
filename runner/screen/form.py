"""A pack sheet or a bench file, field by field; each is checked as it is typed, the file when it is saved.

Rule 1: Enter and Tab go to the next field before the next key is read, however fast a barcode reader types; a field that is
        wrong is marked, and is in nobody's way.
Rule 2: every change is kept as a draft; leaving the form loses nothing, and the next opening offers it.
"""

from __future__ import annotations

from pathlib import Path

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, Input, Label, Static

from runner.errors import TripwitnessError
from runner.screen.texts import form as texts
from runner.screen.widgets.still_line import Title
from runner.workspace.discovery import sheets_in
from runner.workspace.drafts import Draft, drafts, drop, keep, new_path
from runner.workspace.form_fields import Field
from runner.workspace.forms import FORMS, save, written
from runner.workspace.job import read_file
from runner.workspace.pack_form import copied, usual_of, usual_values

TITLES = {"pack": texts.PACK_TITLE, "bench": texts.BENCH_TITLE}
EMPTY = {"pack": texts.PACK_EMPTY, "bench": texts.BENCH_EMPTY}
KEEP_EVERY = 0.2  # s: how much typing a crash may lose at most
MARKS = {"wrong": "✗", "usual": "~", "right": "✓", "empty": " "}


class FormScreen(Screen[Path | None]):
    """Gives the path of the file that was saved, or None."""

    BINDINGS = [
        Binding("enter,tab,down", "next", "Next", key_display="Enter", priority=True, show=False, tooltip="next field"),
        Binding("shift+tab,up", "previous", "Previous", key_display="Up", priority=True, show=False),
        Binding(
            "pagedown", "section(1)", "Section", key_display="PgDn", priority=True, show=False, tooltip="next section"
        ),
        Binding(
            "pageup", "section(-1)", "Section", key_display="PgUp", priority=True, show=False, tooltip="section before"
        ),
        Binding("f2", "save", "Save", key_display="F2", priority=True, tooltip="check everything and save the file"),
        Binding(
            "f4",
            "usual",
            "Usual value",
            key_display="F4",
            priority=True,
            tooltip="take the chemistry's usual value; marked ~",
        ),
        Binding(
            "f5",
            "copy",
            "Copy a pack",
            key_display="F5",
            priority=True,
            tooltip="copy a pack sheet of this folder, again: the next",
        ),
        Binding(
            "f6",
            "draft",
            "Draft",
            key_display="F6",
            priority=True,
            tooltip="take up the kept draft, again: the one before",
        ),
        Binding("escape", "back", "Back", key_display="Esc", tooltip="leave; what was typed is kept as a draft"),
    ]
    CSS = """
    FormScreen #fields { height: 1fr; }
    FormScreen Horizontal { height: 1; }
    FormScreen Label { width: 42; padding: 0 0 0 1; }
    FormScreen Label.section { width: 100%; text-style: bold; color: $accent; }
    FormScreen Label.mark { width: 2; padding: 0; }
    FormScreen Input { width: 1fr; height: 1; border: none; padding: 0 0 0 1; background: $panel; }
    FormScreen Input:focus { background: $primary; }
    FormScreen #said { height: auto; min-height: 2; max-height: 6; padding: 0 1; background: $surface; }
    """

    def __init__(self, kind: str, folder: Path) -> None:
        super().__init__()
        self.kind, self.folder = kind, folder
        file = Field("file", texts.FILE, f"my-{kind}.yaml", needed=True)
        self.fields = (file, *FORMS[kind])
        self.usual: set[str] = set()  # fields that hold a usual value which nobody has changed
        self._base: dict[str, object] = {}  # the sheet that was copied
        self._draft, self._kept = new_path(folder, kind), drafts(folder, kind)
        self._packs = sheets_in(folder, "pack") if kind == "pack" else []
        self._inputs: dict[str, Input] = {}
        self._to_keep = False  # the draft is behind what was typed
        self._taken = -1, -1  # which of the packs and of the drafts was taken last

    def compose(self) -> ComposeResult:
        yield Title(TITLES[self.kind])
        with VerticalScroll(id="fields"):
            for field in self.fields:
                if field.section:
                    yield Label(field.section, classes="section", markup=False)
                with Horizontal():
                    yield Label(texts.field_name(field.ask, needed=field.needed), markup=False)
                    self._inputs[field.key] = Input(id=_id(field.key), select_on_focus=False)
                    yield self._inputs[field.key]
                    yield Label(" ", classes="mark", id=f"mark-{_id(field.key)}", markup=False)
        yield Static("", id="said")
        yield Footer()

    def on_mount(self) -> None:
        with self.prevent(Input.Changed):
            self._inputs["file"].value = f"my-{self.kind}.yaml"
        self._offer()
        self.set_focus(self._inputs[self.fields[1].key])
        self._say(texts.first_words(EMPTY[self.kind], self._kept[0].said if self._kept else ""))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """What there is nothing for is not offered."""
        there = {"usual": self.kind == "pack", "copy": bool(self._packs), "draft": bool(self._kept)}
        return there.get(action, True)

    # ---- going about -------------------------------------------------------------------------------------------

    def _move(self, places: int) -> None:
        inputs = list(self._inputs.values())
        at = inputs.index(self.focused) if isinstance(self.focused, Input) else 0
        self.set_focus(inputs[min(max(at + places, 0), len(inputs) - 1)])  # now: the next key is for the next field

    def action_next(self) -> None:
        self._move(1)

    def action_previous(self) -> None:
        self._move(-1)

    def action_section(self, ways: int) -> None:
        """To the first field of the next section, or of the one before."""
        begins = [number for number, field in enumerate(self.fields) if field.section or not number]
        inputs = list(self._inputs.values())
        at = inputs.index(self.focused) if isinstance(self.focused, Input) else 0
        further = [each for each in begins if (each > at if ways > 0 else each < at)]
        if further:
            self.set_focus(inputs[further[0] if ways > 0 else further[-1]])

    # ---- what is typed -----------------------------------------------------------------------------------------

    def on_input_changed(self, message: Input.Changed) -> None:
        field = self._field(message.input)
        self.usual.discard(field.key)
        self._after(field)

    def on_descendant_focus(self) -> None:
        if isinstance(self.focused, Input) and self._draft.exists():
            self._tell(self._field(self.focused))

    def _after(self, field: Field) -> None:
        """Mark a field that was changed, say what is wrong with it, and keep the draft."""
        if field.key in ("chemistry", "cells_in_series"):
            self._offer()
        self._mark(field)
        self._tell(field)
        self._keep_soon()

    def _keep_soon(self) -> None:
        if not self._to_keep:
            self._to_keep = True
            self.set_timer(KEEP_EVERY, self._keep)

    def _keep(self) -> None:
        if self._to_keep and not keep(self._draft, self._values(), self.usual):
            self._say(texts.NOT_KEPT)
        self._to_keep = False

    def _tell(self, field: Field) -> None:
        value = self._inputs[field.key].value
        fault = field.fault(value) if value else ""
        example = self._inputs[field.key].placeholder
        right = texts.RIGHT_AS_USUAL if field.key in self.usual else texts.RIGHT
        self._say(texts.of_field(field.label, fault or (right if value else example)))

    def _mark(self, field: Field) -> None:
        value = self._inputs[field.key].value
        if not value:
            mark = "empty"
        elif field.fault(value):
            mark = "wrong"
        else:
            mark = "usual" if field.key in self.usual else "right"
        self.query_one(f"#mark-{_id(field.key)}", Label).update(MARKS[mark])

    def _offer(self) -> None:
        """What the empty fields show: the usual value where one is known, else an example."""
        usual = usual_values(self._values()) if self.kind == "pack" else {}
        for field in self.fields:
            example = texts.example(field.example) if field.example else ""
            shown = texts.usual(usual[field.key]) if field.key in usual else example
            self._inputs[field.key].placeholder = shown

    def action_usual(self) -> None:
        """Take the usual value of the chemistry for the field with the cursor."""
        if not isinstance(self.focused, Input):
            return
        field, usual = self._field(self.focused), usual_values(self._values())
        if field.key not in usual:
            self._say(texts.no_usual(field.label))
            return
        self._fill({field.key: usual[field.key]}, {field.key})
        self._move(1)
        self._say(texts.usual_taken(field.label, usual[field.key]))

    def action_copy(self) -> None:
        """Copy a pack sheet of the folder."""
        number = (self._taken[0] + 1) % len(self._packs)
        self._taken = number, self._taken[1]
        path = self._packs[number]
        try:
            values, self._base = copied(read_file(path).text, str(path))
        except TripwitnessError as error:
            self._say(str(error))
            return
        self._fill({field.key: values.get(field.key, "") for field in self.fields[1:]}, usual_of(self._base))
        self.set_focus(self._inputs["serial"])
        self._say(texts.copied(path.name, len(self._packs)))

    def action_draft(self) -> None:
        """Take up a kept draft."""
        number = (self._taken[1] + 1) % len(self._kept)
        self._taken = self._taken[0], number
        draft: Draft = self._kept[number]
        self._fill({field.key: draft.values.get(field.key, "") for field in self.fields}, set(draft.usual))
        self._say(texts.draft_taken(draft.said, len(self._kept)))

    def _fill(self, values: dict[str, str], usual: set[str]) -> None:
        with self.prevent(Input.Changed):
            for key, value in values.items():
                self._inputs[key].value = value
        self.usual = (self.usual - set(values)) | usual
        self._offer()
        for field in self.fields:
            if field.key in values:
                self._mark(field)
        self._keep_soon()

    # ---- leaving -----------------------------------------------------------------------------------------------

    def action_save(self) -> None:
        self.call_after_refresh(self._save)  # what was typed fast is still on its way to the fields

    def _save(self) -> None:
        values = self._values()
        path = self.folder / values.pop("file").strip()
        try:
            save(path, written(self.kind, values, self.usual, self._base))
        except TripwitnessError as error:
            self._say(str(error))
            return
        self._to_keep = False
        drop(self._draft)
        if self._taken[1] >= 0:
            drop(self._kept[self._taken[1]].path)
        self.dismiss(path)

    def action_back(self) -> None:
        self._keep()
        self.dismiss(None)

    def on_unmount(self) -> None:
        keep_now = self._to_keep
        self._to_keep = False
        if keep_now:  # the program ends with the form open
            keep(self._draft, self._values(), self.usual)

    # ---- small parts -------------------------------------------------------------------------------------------

    def _values(self) -> dict[str, str]:
        return {key: each.value for key, each in self._inputs.items()}

    def _field(self, field_input: Input) -> Field:
        return next(field for field in self.fields if self._inputs[field.key] is field_input)

    def _say(self, said: str) -> None:
        self.query_one("#said", Static).update(Content(said))


def _id(key: str) -> str:
    return f"field-{key.replace('.', '-')}"
