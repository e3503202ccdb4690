"""What the screen of a run says in sentences, made of what the run has told it."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

from textual.content import Content

from runner.conduct.answer_parsing import CURRENT_KEY, as_read
from runner.conduct.log_lines import stamp
from runner.engine.program import Program
from runner.engine.view import View
from runner.orders import Ask, End
from runner.scale import degrees
from runner.vocabulary import Wants


class Hint(StrEnum):
    """Which keys do what now."""

    TWO_KEYS = f"Enter: each whole degree · {CURRENT_KEY}: the moment of the current · x: stop"
    GO_KEY = "Enter: continue · x: stop"
    MARK_KEY = "Enter: at that moment · x: stop"
    ESCAPE = "Esc: stop at once"
    MORE_KEY = "More below · Enter: next page · x: stop"


def cautions(program: Program, plan: Sequence[str]) -> Content:
    """What is read before anything begins; ``plan``: the lines of the session that the run belongs to."""
    lines = ["CAUTIONS", *(f"! {caution}" for caution in program.cautions)]
    if program.prepare:
        lines += ["", "BEFORE YOU BEGIN", *(f"- {item}" for item in program.prepare)]
    if plan:
        lines += ["", "THIS SESSION", *plan]
    return Content("\n".join(lines))


def is_typed(ask: Ask) -> bool:
    """Whether there is a field for the answer: also for a moment that may turn out another way."""
    return ask.wants in (Wants.NUMBER, Wants.CHOICE) or bool(ask.instead)


def in_the_field(ask: Ask) -> str:
    """What the empty field says."""
    if ask.instead:
        return f"Enter, or {ask.instead}"
    return as_read(ask.unit) if ask.unit else "type the word or its number"


def next_mark(degree: float) -> str:
    """What the keys do in a ramp that a person reads, whose next mark is at ``degree`` °C."""
    return f"Enter: as it shows {degrees(degree, '.0f')}, then at each whole degree · m: {degrees(degree, '.0f')} was missed"


def ended_in_words(end: End, *, off_by_hand: bool = False) -> str:
    """What the prompt says once a run has ended: what a person still has to do, and whether the bench is off."""
    ended = "The run has ended; the bench is off." if end.safe else "The run has ended."
    return f"{before_all(end, off_by_hand)}\n{ended}".strip()


def before_all(end: End, off_by_hand: bool) -> str:
    """What a person still has to do, the most urgent first; ``off_by_hand``: they have switched off what did not confirm it."""
    urgent = "" if off_by_hand and not end.safe else end.urgent
    return " ".join(part for part in (urgent, end.left) if part)


def coach_line(view: View, end: End | None) -> str:
    """What to do about the ramp, and below it what is on."""
    if end is not None and not end.safe:
        return "output: NOT CONFIRMED OFF"
    mode = "by hand" if view.by_hand_on else view.mode
    output = f"{view.path or 'output'} {'ON ' + mode if view.output_on else 'off'}{_progress(view)}"
    if view.coach is None:
        return output
    arrows: dict[str, str] = {"slower": "▼ SLOWER", "faster": "▲ FASTER", "keep": "= KEEP", "freely": "»"}
    return f"ramp: {arrows[view.coach.word]}  {view.coach.why}\n{output}"


def _progress(view: View) -> str:
    """How long the run has lasted, and at which of its steps it is."""
    now = next((number for number, step in enumerate(view.steps, start=1) if step.mark == "now"), None)
    at = "" if now is None else f" · step {now} of {len(view.steps)}"
    return f"{at} · run time {stamp(view.t).strip()}"
