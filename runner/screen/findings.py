"""What was found: the list, and of one finding everything that it rests on. Also the way to the certificate."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, OptionList, Static
from textual.widgets.option_list import Option

from reports.wording import chance, number, rule_words, shown_as, source_of, what_would_help, worded
from runner.errors import TripwitnessError
from runner.measure.conformity import CONDITIONAL_FAIL, CONDITIONAL_PASS, FAIL, NOT_JUDGED, NOT_MEASURED, PASS, percent
from runner.measure.finding import Finding
from runner.screen.texts import findings as texts
from runner.screen.widgets.interval import IntervalLines
from runner.screen.widgets.still_line import Title
from runner.sheets.parts.protections import protection_name
from runner.workspace.archive import changed_in

MARKS = {PASS: "✓", CONDITIONAL_PASS: "✓?", CONDITIONAL_FAIL: "✗?", FAIL: "✗", NOT_MEASURED: "–", None: " "}
ROWS_OF_A_BUDGET = 12


class FindingsScreen(Screen[None]):
    """The findings of a run. ``certificate`` makes the certificate and gives its path; None where there is none to make."""

    BINDINGS = [
        Binding("c", "certificate", "Certificate", tooltip="make the certificate and open it in the browser"),
        Binding("r", "record", "Plot and record", tooltip="all readings and events against time"),
        Binding("escape,q,b", "back", "Back", key_display="Esc"),
    ]
    CSS = """
    FindingsScreen #headline { height: auto; max-height: 4; padding: 0 1; text-style: bold; }
    FindingsScreen #list { width: 42; height: 1fr; border: none; }
    FindingsScreen #one { width: 1fr; height: 1fr; padding: 0 1; border-left: solid $foreground 30%; }
    FindingsScreen #what, FindingsScreen #budget { height: auto; width: 100%; }
    FindingsScreen #said { height: auto; max-height: 5; padding: 0 1; background: $surface; }
    """

    def __init__(
        self,
        titles: Sequence[str],
        findings: Sequence[Finding],
        where: str,
        certificate: Callable[[], str] | None = None,
        headline: str = "",
        changed: Sequence[str] = (),
        *,
        nothing: str = "",
    ) -> None:
        """``changed``: what of the evidence is not as it was recorded; ``nothing``: what is said where there are no findings."""
        super().__init__()
        self._headings, self.findings, self._where = tuple(titles), tuple(findings), where
        self._certificate = certificate
        self._headline = "\n".join(filter(None, (headline, texts.changed(changed))))
        self._nothing = nothing or texts.NOTHING_MEASURED
        self._making = False

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """No key for what there is not."""
        return action != "certificate" or self._certificate is not None

    def compose(self) -> ComposeResult:
        yield Title(*self._headings)
        if self._headline:
            yield Static(Content(self._headline), id="headline")
        with Horizontal():
            yield OptionList(*(Option(Content(_line(finding))) for finding in self.findings), id="list")
            with VerticalScroll(id="one"), Vertical():
                yield Static("", id="what")
                yield IntervalLines("")
                yield Static("", id="budget")
        yield Static(Content(self._where), id="said")
        yield Footer()

    def on_mount(self) -> None:
        options = self.query_one("#list", OptionList)
        options.focus()
        if self.findings:
            options.highlighted = 0
        else:
            self.query_one("#what", Static).update(Content(self._nothing))

    def on_resize(self) -> None:
        self.call_after_refresh(self._show)

    def on_option_list_option_highlighted(self, message: OptionList.OptionHighlighted) -> None:
        message.stop()
        self._show()

    def _show(self) -> None:
        number = self.query_one("#list", OptionList).highlighted
        if number is None or not self.query("#what"):  # not there while the screen is taken apart
            return
        finding = self.findings[number]
        self.query_one("#what", Static).update(Content("\n".join(about(finding))))
        lines = self.query_one(IntervalLines)
        lines.display = finding.value is not None
        lines.show(finding.value, finding.expanded_uncertainty, finding.lower, finding.upper, finding.unit)
        self.query_one("#budget", Static).update(Content("\n".join(budget_of(finding))))

    def action_back(self) -> None:
        self.dismiss()

    def action_record(self) -> None:
        from runner.screen.record import RecordScreen

        self.app.push_screen(RecordScreen(Path(self._where)))

    def action_certificate(self) -> None:
        if self._certificate is None or self._making:
            return
        self._making = True
        self._say(texts.MAKING)
        self._make(self._certificate)

    @work(thread=True)
    def _make(self, certificate: Callable[[], str]) -> None:
        try:
            path = certificate()
        except TripwitnessError as error:
            self.app.call_from_thread(self._made, str(error), "")
            return
        changed = texts.changed(changed_in(Path(self._where)))
        self.app.call_from_thread(self._made, "\n".join(filter(None, (changed, texts.certificate(path)))), path)

    def _made(self, said: str, path: str) -> None:
        self._making = False
        self._say(said)
        if path and has_a_browser():
            self.app.open_url(Path(path).resolve().as_uri())

    def _say(self, said: str) -> None:
        self.query_one("#said", Static).update(Content(said))


def has_a_browser() -> bool:
    """Whether opening a page would open a window: over ssh it would take the terminal away from the run's screen."""
    return sys.platform in ("darwin", "win32") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def value_of(finding: Finding) -> str:
    """A finding's value, or that it was not measured."""
    text = worded(finding)
    return texts.value(text.value, text.uncertainty, text.unit) if text.value else texts.NOT_MEASURED


def _line(finding: Finding) -> str:
    name = f"{finding.name} {finding.sensor or ''}".strip()
    return f"{MARKS.get(finding.conformity, ' '):2} {name:17} {value_of(finding)}"


def about(finding: Finding) -> list[str]:
    """One finding in words: value, limits, statement with its rule, and what to know."""
    text = worded(finding)
    protection = protection_name(finding.protection) if finding.protection else ""
    lines = [texts.heading(f"{finding.name} {finding.sensor or ''}".strip(), protection)]
    statement = finding.conformity.upper() if finding.conformity else NOT_JUDGED
    if not text.value:
        return [*lines, texts.no_value(statement, finding.reason)]
    assert finding.coverage_factor is not None  # whatever has a value has one
    lines.append(texts.coverage(value_of(finding), finding.coverage_factor, percent(finding.coverage)))
    lines.append(texts.declared(text.expected, text.limits))
    if finding.conformity is None:
        lines.append(statement)
    else:
        lines += [texts.statement(statement, chance(finding)), texts.rule(rule_words(finding, narrow=True))]
    if finding.functional:
        lines.append(texts.FUNCTIONAL)
    if finding.repeats:
        size, offset, unit = shown_as(finding.unit)
        values = ", ".join(number(each / size + offset) for each in finding.repeats)
        lines.append(texts.repeats(values, unit, ramps=bool(finding.fit)))
    if finding.fit:
        lines.append(finding.fit)
    return [*lines, *map(texts.caveat, finding.caveats), *filter(None, [finding.advice])]


def budget_of(finding: Finding) -> list[str]:
    """The budget, largest first, with each share of the variance as a bar; and what would make it smaller."""
    total = sum(row.contribution**2 for row in finding.budget)
    if not total:
        return []
    lines = ["", texts.BUDGET]
    for row in finding.budget[:ROWS_OF_A_BUDGET]:
        lines.append(texts.share(row.contribution**2 / total, source_of(row)))
    return [*lines, "", what_would_help(finding)]
