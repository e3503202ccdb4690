"""Which pack, which bench, which procedures; then the plan, and the word to begin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, Input, Label, OptionList, Static
from textual.widgets.option_list import Option

from reports.wording import rule_and_risk
from runner.errors import TripwitnessError
from runner.screen.choice import RUN, Choice
from runner.screen.self_check import RollScreen
from runner.screen.texts import choose as texts
from runner.screen.themes import Dressed
from runner.sheets.bench import parse_bench
from runner.sheets.pack import parse_pack
from runner.workspace.discovery import sheets_in
from runner.workspace.form_fields import Field
from runner.workspace.job import procedure_names, read_file
from runner.workspace.once import ONCE, OPERATOR, about, taken, to_ask
from runner.workspace.session import agenda_for


class MarkedList(OptionList):
    """A list of names of which any may be marked with Space. A mark is a shape, not a colour."""

    BINDINGS = [Binding("space", "mark", "Select", key_display="Space")]

    def __init__(self, names: Sequence[str], id: str) -> None:
        super().__init__(*(Option(f"○ {name}") for name in names), id=id)
        self._names = tuple(names)
        self._marks: set[str] = set()

    @property
    def marked(self) -> tuple[str, ...]:
        """The marked names, in the order of the list."""
        return tuple(name for name in self._names if name in self._marks)

    def action_mark(self) -> None:
        if self.highlighted is None:
            return
        name = self._names[self.highlighted]
        self._marks ^= {name}
        self.replace_option_prompt_at_index(self.highlighted, f"{'●' if name in self._marks else '○'} {name}")


class ChooseScreen(Screen[Choice | None]):
    """Three lists. With ``only_bench`` there is one, and it leads to the check of the instruments."""

    BINDINGS = [
        Binding("f2", "go", "Continue", key_display="F2"),
        Binding("escape", "back", "Back", key_display="Esc"),
    ]
    CSS = """
    ChooseScreen Vertical { width: 1fr; height: 1fr; }
    ChooseScreen #wide { width: 2fr; }
    ChooseScreen Label { padding: 0 1; color: $text-muted; }
    ChooseScreen OptionList { height: 1fr; border: none; }
    ChooseScreen #said { height: auto; min-height: 1; max-height: 5; padding: 0 1; background: $surface; }
    """

    def __init__(self, folder: Path, *, only_bench: bool = False) -> None:
        super().__init__()
        self._only_bench = only_bench
        self.packs, self.benches = sheets_in(folder, "pack"), sheets_in(folder, "bench")
        self._folder = folder

    def compose(self) -> ComposeResult:
        yield Static(texts.CHECK if self._only_bench else texts.TEST, id="title")
        with Horizontal():
            if not self._only_bench:
                with Vertical():
                    yield Label(texts.PACK_SHEET)
                    yield OptionList(*(Option(path.name) for path in self.packs), id="packs")
            with Vertical():
                yield Label(texts.BENCH_FILE)
                yield OptionList(*(Option(path.name) for path in self.benches), id="benches")
            if not self._only_bench:
                with Vertical(id="wide"):
                    yield Label(texts.PROCEDURES)
                    yield MarkedList(procedure_names(), id="procedures")
        yield Static("", id="said")
        yield Footer()

    def on_mount(self) -> None:
        for each in self.query(OptionList):
            if each.option_count:
                each.highlighted = 0
        self.query(OptionList).first().focus()
        missing = [] if self.benches else [texts.BENCH_FILE]
        if not self._only_bench and not self.packs:
            missing.append(texts.PACK_SHEET)
        if missing:
            self._say(texts.missing(missing, str(self._folder)))
        else:
            self._say(texts.WHAT_KEYS_DO)

    def on_option_list_option_selected(self, message: OptionList.OptionSelected) -> None:
        if message.option_list.id in ("benches", "procedures"):  # nothing has to be chosen after these
            self.action_go()
        else:
            self.focus_next(OptionList)

    def action_go(self) -> None:
        bench = self._marked("benches", self.benches)
        if bench is None:
            self._say(texts.BENCH_FIRST)
        elif self._only_bench:
            self.app.push_screen(RollScreen(bench))
        elif (pack := self._marked("packs", self.packs)) is None:
            self._say(texts.PACK_FIRST)
        else:
            names = self.query_one("#procedures", MarkedList).marked
            self.app.push_screen(PlanScreen(Choice(RUN, pack, bench, names)), self._planned)

    def action_back(self) -> None:
        self.dismiss(None)

    def _planned(self, choice: Choice | None) -> None:
        if choice is not None:
            self.dismiss(choice)

    def _marked(self, name: str, paths: list[Path]) -> Path | None:
        at = self.query_one(f"#{name}", OptionList).highlighted
        return paths[at] if at is not None else None

    def _say(self, said: str) -> None:
        self.query_one("#said", Static).update(Content(said))


class PlanScreen(Screen[Choice | None]):
    """The order that is proposed, with the time, and what is left out and why. Enter begins with the first procedure."""

    BINDINGS = [
        Binding("enter,f2", "begin", "Begin", key_display="Enter"),
        Binding("r", "roll", "Check instruments"),
        Binding("escape", "back", "Back", key_display="Esc"),
    ]
    CSS = """
    PlanScreen #plan { width: 100%; height: auto; padding: 0 1; }
    """

    def __init__(self, choice: Choice) -> None:
        super().__init__()
        self._choice = choice
        self.can_begin = False
        self._to_ask: tuple[Field, ...] = ()

    def compose(self) -> ComposeResult:
        yield Static(texts.PLAN, id="title")
        with VerticalScroll():
            yield Static(texts.PLANNING, id="plan")
        yield Footer()

    def on_mount(self) -> None:
        self._work_out()

    @work(thread=True)
    def _work_out(self) -> None:
        from runner.evaluation.specification import decision_of

        choice = self._choice
        assert choice.pack is not None
        assert choice.bench is not None
        try:
            pack, bench_file = read_file(choice.pack), read_file(choice.bench)
            bench = parse_bench(bench_file.text, bench_file.name)
            agenda = agenda_for(choice.procedures, pack, bench_file)
            self._to_ask = to_ask(parse_pack(pack.text, pack.name), bench)
            text = "\n".join([*agenda.lines(), "", texts.decision_rule(rule_and_risk(decision_of(bench)))])
        except TripwitnessError as error:
            self.app.call_from_thread(self._show, str(error), can_begin=False)
            return
        self.app.call_from_thread(self._show, text, can_begin=bool(agenda.items))

    def _show(self, text: str, *, can_begin: bool) -> None:
        self.can_begin = can_begin
        self.query_one("#plan", Static).update(Content(text))

    def action_begin(self) -> None:
        if not self.can_begin:
            return
        if self._to_ask:
            assert self._choice.pack is not None
            self.app.push_screen(OnceScreen(self._choice.pack, self._to_ask), self._begun)
        else:
            self.dismiss(self._choice)

    def _begun(self, operator: str | None) -> None:
        if operator is not None:
            self.dismiss(replace(self._choice, operator=operator))

    def action_roll(self) -> None:
        assert self._choice.bench is not None
        self.app.push_screen(RollScreen(self._choice.bench))

    def action_back(self) -> None:
        self.dismiss(None)


class OnceApp(Dressed[str | None]):
    """The questions alone. Ends with who operates the bench, or None after Esc."""

    def __init__(self, pack: Path, fields: Sequence[Field]) -> None:
        """As for OnceScreen."""
        super().__init__()
        self._pack, self._fields = pack, tuple(fields)

    def on_mount(self) -> None:
        self.push_screen(OnceScreen(self._pack, self._fields), self.exit)


class OnceScreen(Screen[str | None]):
    """What neither file says and is the same for the whole session: asked here, and not for every run. All may be left empty.

    Ends with who operates the bench (empty where that was not asked), or None after Esc. Where something was typed, Esc asks first:
    it would not be kept.
    """

    BINDINGS = [
        Binding("enter,tab,down", "next", "Continue", key_display="Enter", priority=True),
        Binding("shift+tab,up", "previous", "Previous", key_display="Up", priority=True, show=False),
        Binding("escape", "back", "Back", key_display="Esc"),
    ]
    CSS = """
    OnceScreen Horizontal { height: 1; }
    OnceScreen Label { width: 30; padding: 0 1; }
    OnceScreen Input { width: 1fr; height: 1; border: none; padding: 0 1; background: $panel; }
    OnceScreen Input:focus { background: $primary; }
    OnceScreen #said { height: auto; padding: 1 1; }
    """

    def __init__(self, pack: Path, fields: Sequence[Field]) -> None:
        """``pack`` is the sheet that customer and date are written into."""
        super().__init__()
        self._pack, self._fields = pack, tuple(fields)
        self._leaving = False  # Esc was pressed once, and what it would lose was said

    def compose(self) -> ComposeResult:
        yield Static(ONCE.upper(), id="title")
        for field in self._fields:
            with Horizontal():
                yield Label(field.ask, markup=False)
                yield Input(placeholder=texts.example(field.example) if field.example else "", id=f"once-{field.key}")
        yield Static("", id="said")
        yield Footer()

    def on_mount(self) -> None:
        self.set_focus(self.query(Input).first())
        self._stay()

    def _stay(self) -> None:
        self._leaving = False
        self._say(texts.last_field_begins(about(self._pack, self._fields)))

    def on_input_changed(self) -> None:
        if self._leaving:
            self._stay()

    def action_next(self) -> None:
        if self._leaving:
            self._stay()
            return
        inputs = list(self.query(Input))
        at = inputs.index(self.focused) if isinstance(self.focused, Input) else 0
        if at + 1 < len(inputs):
            self.set_focus(inputs[at + 1])
        else:
            self.call_after_refresh(self._begin)  # what was typed fast is still on its way to the fields

    def action_previous(self) -> None:
        inputs = list(self.query(Input))
        at = inputs.index(self.focused) if isinstance(self.focused, Input) else 0
        self.set_focus(inputs[max(at - 1, 0)])

    def _begin(self) -> None:
        said = {field.key: self.query_one(f"#once-{field.key}", Input).value for field in self._fields}
        wrong = taken(self._pack, self._fields, said)
        if wrong:
            self._say(" ".join(wrong))
        else:
            self.dismiss(said.get(OPERATOR.key, "").strip())

    def action_back(self) -> None:
        if self._leaving or not any(each.value.strip() for each in self.query(Input)):
            self.dismiss(None)
            return
        self._leaving = True
        self._say(texts.LEAVING)

    def _say(self, said: str) -> None:
        self.query_one("#said", Static).update(Content(said))
