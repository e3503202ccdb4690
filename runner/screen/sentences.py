"""What the screen of a run says in sentences, made of what the run has told it."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

from textual.content import Content

from runner.conduct.answer_parsing import as_read
from runner.conduct.log_lines import stamp
from runner.engine.program import Program
from runner.engine.texts.titles import of_several
from runner.engine.view import View
from runner.orders import Ask, Conclude, End
from runner.scale import degrees
from runner.vocabulary import CURRENT_KEY, Outcome, Wants, as_told
from runner.workspace.job import Job


class Hint(StrEnum):
    """Which keys do what now."""

    GO_KEY = "Enter: continue · F8: stop"
    MARK_KEY = "Enter: at that moment · F8: stop"
    STOP_KEY = "F8: stop"
    MORE_KEY = "More below · Enter: next page · F8: stop"
    WATCHED = "the simulated operator answers · F8: stop"
    LEAVE = "Leave this run? Leaving stops it and switches supply and load off."
    LEAVE_NOT_OFF = "Leave? The bench is not confirmed off. Switch it off by hand first."
    LEAVE_KEYS = "y: leave now · Enter or Esc: stay in the run"


def headings(job: Job, first: str = "", more: str = "") -> tuple[str, ...]:
    """The title of a run in several wordings, the fullest first. ``first`` is what kind of run, ``more`` a detail of that."""
    name, number, of = job.pack.name, job.pack.serial, job.procedure
    short, begins = (f"{first} · " if first else ""), (f"{first} {more}".strip() + " · " if first else "")
    return (
        f"{begins}{name} no. {number} · {of.title}",
        f"{short}no. {number} · {of.title}",
        f"{short}no. {number} · {of.name}",
        f"{number} · {of.name}",
    )


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


def two_keys(degree: float) -> str:
    """The same where a person also marks the current on a clamp."""
    at = degrees(degree, ".0f")
    marks = f"Enter: as it shows {at}, then at each whole degree · m: {at} was missed"
    return f"{CURRENT_KEY}: the current is gone or back · {marks} · F8: stop"


def ended_in_words(end: End, *, off_by_hand: bool = False) -> str:
    """What the prompt says once a run has ended: what a person still has to do, and whether the bench is off."""
    ended = "The run has ended; the bench is off." if end.safe else "The run has ended."
    return f"{before_all(end, off_by_hand)}\n{ended}".strip()


def before_all(end: End, off_by_hand: bool) -> str:
    """What a person still has to do, the most urgent first; ``off_by_hand``: they have switched off what did not confirm it."""
    urgent = "" if off_by_hand and not end.safe else end.urgent
    return " ".join(part for part in (urgent, end.left) if part)


def ramp_line(view: View) -> str:
    """What to do about the ramp, or nothing where there is none."""
    if view.coach is None:
        return ""
    arrows: dict[str, str] = {"slower": "▼ SLOWER", "faster": "▲ FASTER", "keep": "= KEEP", "freely": "»"}
    return f"ramp: {arrows[view.coach.word]}  {view.coach.why}"


def where_line(view: View, sensor: str, sensors: Sequence[str]) -> str:
    """At which of its steps the run is, at which sensor, and how long it has lasted."""
    now = next((number for number, step in enumerate(view.steps, start=1) if step.mark == "now"), None)
    parts = [] if now is None else [f"step {now} of {len(view.steps)}"]
    if sensor:
        parts.append(f"sensor {of_several(sensor, sensors)}")
    return " · ".join([*parts, f"run time {stamp(view.t).strip()}"])


def result_of(order: Conclude, temperature: float | None) -> str:
    """What came of a step, in a few words; ``temperature`` is what was read at that moment (°C)."""
    if (
        temperature is None
        or order.kind not in ("heat", "cool")
        or order.outcome not in (Outcome.STOPPED, Outcome.RETURNED)
    ):
        return as_told(order.outcome)
    return f"{order.outcome} at {degrees(temperature)}"
