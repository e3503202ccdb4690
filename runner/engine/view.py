"""The frozen picture of a run that every face draws: plain lines, screen and tests show the same."""

from __future__ import annotations

from dataclasses import dataclass

from runner.engine.ceilings import Headroom
from runner.engine.run import Run
from runner.engine.states import State
from runner.engine.texts import ends
from runner.engine.texts import views as texts
from runner.engine.texts.asking import READ_THEM

USUAL_LAG = 10.0  # s: delay, polling and a taped-on sensor together (common practice, no source)
COACH_BAND = 0.25  # of the wanted rate: inside it the coach says keep


@dataclass(frozen=True)
class StepLine:
    """One line of the list of steps; ``mark`` is done, now, next, skipped or cut (short)."""

    title: str
    mark: str


@dataclass(frozen=True)
class Coach:
    """What to do about the ramp: slower, keep or faster, and why. Rates in K/s, positive in the wanted direction."""

    word: str
    why: str


@dataclass(frozen=True)
class View:
    """Everything a face may show. Readings by channel, in SI and °C; ``rate`` in K/s."""

    t: float
    state: str
    sentence: str
    readings: dict[str, float]
    lost: dict[str, str]
    rate: float | None
    path: str
    mode: str
    word: str
    why: str
    steps: tuple[StepLine, ...]
    coach: Coach | None
    headroom: tuple[Headroom, ...]
    remaining: float | None
    trip_limits: tuple[float, float] | None
    by_hand_on: tuple[str, ...] = ()  # what a person has switched on, or was told to
    answer_within: float | None = None  # s of the run's time after which a question that stands ends it
    unordered: str = ""  # the role that is on though it was ordered off
    mark_age: float | None = None  # s since a person marked the temperature; None where it is read by cable

    @property
    def output_on(self) -> bool:
        """Whether supply or load is on."""
        return bool(self.path)


def look(run: Run) -> View:
    """The run as it is now."""
    known, verdict = run.known, run.watcher.verdict
    return View(
        known.t,
        run.state.value,
        _sentence(run),
        dict(known.latest),
        dict(known.lost),
        known.rate(),
        known.path,
        known.mode,
        texts.BY_HAND if known.by_hand_on else verdict.word,
        _on_the_clamp(run) if known.by_hand_on else verdict.why,
        _steps(run),
        _coach(run),
        run.ceilings.headroom(),
        run.step.remaining() if run.step and run.state is not State.ENDED else None,
        run.program.trip_limits,
        run.known.by_hand_on,
        run.answer_within,
        known.unordered,
        None if known.marked_at is None else known.t - known.marked_at,
    )


def _on_the_clamp(run: Run) -> str:
    """What a person has read last of a current that they have switched on."""
    amps = run.known.hand_current
    return texts.CLAMP_NOT_READ if amps is None else texts.clamp_read(amps)


def _sentence(run: Run) -> str:
    if run.state is State.MAKING_SAFE:
        return ends.switching_off(run.reason)
    if run.state is State.ENDED:
        return ends.over(run.reason)
    if run.switches.waiting:
        return run.switches.sentence
    if run.step is None:
        return READ_THEM
    by_machine = run.program.heated_by_machine and run.step.planned.kind in ("heat", "cool")
    sentence = f"{run.step.before} {run.step.sentence()}".strip()
    return texts.by_machine(sentence) if by_machine else sentence


def _steps(run: Run) -> tuple[StepLine, ...]:
    now = run.step.planned.index if run.step and run.state in (State.HOLDING, State.WATCHING) else None
    past = run.step.planned.index if run.step else -1
    cut_short = past if run.early else None

    def mark(index: int) -> str:
        if index in run.skipped:
            return "skipped"
        if index in (now, cut_short):
            return "now" if index == now else "cut"
        return "done" if index <= past else "next"

    return tuple(StepLine(step.title, mark(step.index)) for step in run.program.steps)


def _coach(run: Run) -> Coach | None:
    step, rate = run.step, run.known.rate()
    if step is None or step.planned.kind not in ("heat", "cool") or rate is None or run.state is not State.WATCHING:
        return None
    if run.known.hands_at is None:
        return None  # readings are lost: nobody is to heat or cool now
    sign = 1.0 if step.planned.kind == "heat" else -1.0
    wanted, is_now = step.planned.values["rate"], sign * rate
    values = texts.rates(is_now, wanted, _cost(run, is_now))
    if step.sentence() != step.planned.say:
        return Coach("freely", texts.fast_then(step.planned.kind, step.planned.values["approach"], wanted, is_now))
    if is_now > wanted * (1 + COACH_BAND):
        return Coach("slower", values)
    if is_now < wanted * (1 - COACH_BAND):
        return Coach("faster", values)
    return Coach("keep", values)


def _cost(run: Run, rate: float) -> str:
    """What the ramp costs at this rate, against what the sheet allows: the reason to go slower."""
    limits = run.program.trip_limits
    if limits is None or rate <= 0:
        return ""
    half = (limits[1] - limits[0]) / 2
    return texts.cost(rate * USUAL_LAG, half)
