"""Which sentences the screen of a run shows, made of what the run has told it; their words stand in texts/run.py."""

from __future__ import annotations

from collections.abc import Sequence

from textual.content import Content

from runner.conduct.answer_parsing import as_read
from runner.conduct.log_lines import stamp
from runner.engine.program import Program
from runner.engine.texts.titles import of_several
from runner.engine.view import View
from runner.orders import Ask, Conclude, End
from runner.screen.texts import run as texts
from runner.vocabulary import Outcome, Wants, as_told
from runner.workspace.job import Job


def headings(job: Job, first: str = "", more: str = "") -> tuple[str, ...]:
    """The title of a run in several wordings, the fullest first. ``first`` is what kind of run, ``more`` a detail of that."""
    return texts.headings(job.pack.name, job.pack.serial, job.procedure.title, job.procedure.name, first, more)


def cautions(program: Program, plan: Sequence[str]) -> Content:
    """What is read before anything begins; ``plan``: the lines of the session that the run belongs to."""
    return Content(texts.cautions(program.cautions, program.prepare, plan))


def is_typed(ask: Ask) -> bool:
    """Whether there is a field for the answer: also for a moment that may turn out another way."""
    return ask.wants in (Wants.NUMBER, Wants.CHOICE) or bool(ask.instead)


def in_the_field(ask: Ask) -> str:
    """What the empty field says."""
    if ask.instead:
        return texts.enter_or(ask.instead)
    return as_read(ask.unit) if ask.unit else texts.TYPE_A_WORD


def ended_in_words(end: End, *, off_by_hand: bool = False) -> str:
    """What the prompt says once a run has ended: what a person still has to do, and whether the bench is off."""
    return texts.ended(before_all(end, off_by_hand), safe=end.safe)


def before_all(end: End, off_by_hand: bool) -> str:
    """What a person still has to do, the most urgent first; ``off_by_hand``: they have switched off what did not confirm it."""
    urgent = "" if off_by_hand and not end.safe else end.urgent
    return " ".join(part for part in (urgent, end.left) if part)


def ramp_line(view: View) -> str:
    """What to do about the ramp, or nothing where there is none."""
    return "" if view.coach is None else texts.ramp(view.coach.word, view.coach.why)


def where_line(view: View, sensor: str, sensors: Sequence[str]) -> str:
    """At which of its steps the run is, at which sensor, and how long it has lasted."""
    now = next((number for number, step in enumerate(view.steps, start=1) if step.mark == "now"), None)
    at = of_several(sensor, sensors) if sensor else ""
    return texts.where(now, len(view.steps), at, stamp(view.t).strip())


def result_of(order: Conclude, temperature: float | None) -> str:
    """What came of a step, in a few words; ``temperature`` is what was read at that moment (°C)."""
    if (
        temperature is None
        or order.kind not in ("heat", "cool")
        or order.outcome not in (Outcome.STOPPED, Outcome.RETURNED)
    ):
        return as_told(order.outcome)
    return texts.changed_at(order.outcome, temperature)
