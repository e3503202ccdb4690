"""The screen of a run: its title, the cautions, what the keys do, what the run does, and how it ended."""

from __future__ import annotations

from collections.abc import Sequence

from runner.scale import as_read, degrees
from runner.vocabulary import CURRENT_KEY, Outcome, as_told

BEGINS = "The run is about to begin."
NO_READINGS = "no readings"
FINDINGS = "FINDINGS"

PROBE, RAMP, CURRENT, VOLTAGE = "probe", "ramp", "current", "pack terminals"  # above the digits


def headings(pack: str, serial: str, title: str, procedure: str, kind: str = "", detail: str = "") -> tuple[str, ...]:
    """The title of a run in several wordings, the fullest first. ``kind`` of run, and a ``detail`` of that."""
    short, begins = (f"{kind} · ", f"{kind} {detail}".strip() + " · ") if kind else ("", "")
    return (
        f"{begins}{pack} no. {serial} · {title}",
        f"{short}no. {serial} · {title}",
        f"{short}no. {serial} · {procedure}",
        f"{serial} · {procedure}",
    )


def cautions(cautions: Sequence[str], prepare: Sequence[str], plan: Sequence[str]) -> str:
    """What is read before anything begins; ``plan``: the lines of the session that the run belongs to."""
    lines = ["CAUTIONS", *(f"! {caution}" for caution in cautions)]
    if prepare:
        lines += ["", "BEFORE YOU BEGIN", *(f"- {item}" for item in prepare)]
    if plan:
        lines += ["", "THIS SESSION", *plan]
    return "\n".join(lines)


# ---- what the keys do ------------------------------------------------------------------------------------------------

STOP_KEY = "F8: stop"
GO_KEY = "Enter: continue · F8: stop"
MARK_KEY = "Enter: at that moment · F8: stop"
MORE_KEY = "More below · Enter: next page · F8: stop"
WATCHED = "the simulated operator answers · F8: stop"

LEAVE_NOT_OFF = "Leave? The bench is not confirmed off. Switch it off by hand first."
LEAVE_KEYS = "y: leave now · Enter or Esc: stay in the run"

TYPE_A_WORD = "type the word or its number"


def hold_point(keys: str) -> str:
    """That the run waits for a key."""
    return f"HOLD POINT · {keys}"


def typing(said: str) -> str:
    """What may be typed, or why what was typed is no answer; and the key that stops."""
    return f"{said} · {STOP_KEY}"


def no_answer(why: str, hint: str) -> str:
    """Why what was typed is no answer, and what would be."""
    return f"{why}. {hint}"


def answer_within(seconds: float, said: str, by_hand: Sequence[str] = ()) -> str:
    """How long there is for an answer (s); ``by_hand``: what only a person can switch off then."""
    left = f"{int(seconds) // 60}:{int(seconds) % 60:02d}"
    if by_hand:
        return f"Answer within {left}, or the run ends; then switch the {' and the '.join(by_hand)} off by hand. {said}"
    return f"Answer within {left}, or the run ends and everything switches off. {said}"


def leave(by_hand: Sequence[str] = (), *, wired: bool = True) -> str:
    """Whether a run that goes on is to be left, and what becomes of what is on; ``wired``: the program can switch something."""
    if by_hand:
        return f"Leave this run? Leaving stops it. Then switch the {' and the '.join(by_hand)} off by hand."
    return f"Leave this run? Leaving stops it{' and switches supply and load off' if wired else ''}."


TOO_SOON = "That Enter came as the question appeared and does not count. Read it, then press Enter."


def enter_or(word: str) -> str:
    """What the field says at a moment that may turn out another way."""
    return f"Enter, or {word}"


def next_mark(degree: float) -> str:
    """What the keys do in a ramp that a person reads, whose next mark is at ``degree`` °C."""
    at = degrees(degree, ".0f")
    return f"Enter: as it shows {at}, then at each whole degree · m: {at} was missed"


def two_keys(degree: float) -> str:
    """The same where a person also marks the current on a clamp."""
    return f"{CURRENT_KEY}: the current is gone or back · {next_mark(degree)} · {STOP_KEY}"


# ---- what the run does -----------------------------------------------------------------------------------------------

_RAMP = {"slower": "▼ SLOWER", "faster": "▲ FASTER", "keep": "= KEEP", "freely": "»"}


def watched(what: str, why: str) -> str:
    """What the watcher thinks, or that there are no readings; and why."""
    return f"{what}, {why}"


def current(word: str) -> str:
    """The watcher's word for the current."""
    return f"current: {as_told(word)}"


def ramp(word: str, why: str) -> str:
    """What to do about the ramp, and why."""
    return f"ramp: {_RAMP[word]}  {why}"


def where(step: int | None, steps: int, sensor: str, stamp: str) -> str:
    """At which of its steps the run is, at which sensor, and how long it has lasted."""
    at = [] if step is None else [f"step {step} of {steps}"]
    return " · ".join([*at, *([f"sensor {sensor}"] if sensor else []), f"run time {stamp}"])


def changed_at(outcome: Outcome | str, temperature: float) -> str:
    """How a step ended, and the temperature (°C) at that moment."""
    return f"{outcome} at {degrees(temperature)}"


def headroom(parts: Sequence[str]) -> str:
    """What is read and its ceilings, in a line."""
    return f"now/limit: {' · '.join(parts)}"


def of_ceiling(value: float | None, ceiling: float, unit: str, *, near: bool) -> str:
    """A value and its ceiling; ``near``: it is close to it."""
    limit, read = as_read(ceiling, unit)
    now = "–" if value is None else f"{round(as_read(value, unit)[0], 1) + 0.0:.1f}"
    return f"{'NEAR ' if near else ''}{now}/{limit:.3g} {read}"


def step_ends(seconds: float) -> str:
    """How long the step may still take (s)."""
    return f"step ends within {f'{seconds:.0f} s' if seconds < 120 else f'{seconds / 60:.0f} min'}"


# ---- below the plot --------------------------------------------------------------------------------------------------

NOW = "now"


def ago(seconds: float) -> str:
    """Where a plot begins that ends now (s)."""
    return f"−{seconds / 60:.0f} min"


def at_minute(seconds: float) -> str:
    """A time of the run (s)."""
    return f"{seconds / 60:.1f} min"


# ---- the end ---------------------------------------------------------------------------------------------------------

STOPPING = "STOP: supply and load are switching off."
STOPPING_BY_HAND = "STOP: the run ends. The program switches nothing here: do what it says next."
WAIT_FOR_OFF = 'Wait for "bench off".'
CLOSED = "a closed screen"  # who has stopped a run whose screen has gone

LEAVE_FOR_NEXT = "Esc: go on with the session."
LEAVE_AT_END = "Esc: leave."
LEAVE_SESSION = "Esc: leave; the session stops here."


def by_key(name: str, note: str) -> str:
    """Who has stopped a run."""
    return f"{name} with the stop key{note}"


def confirm_off(urgent: str) -> str:
    """What has to be switched off by hand, and how to say that it is done."""
    return f"{urgent} Press Enter when all of that is done."


def ended_not_off(reason: str) -> str:
    """Why a run has ended whose bench is not off."""
    return f"RUN ENDED · {reason}"


def ended(first: str, *, safe: bool) -> str:
    """That the run has ended, below what a person has to do ``first``; ``safe``: the bench is off."""
    return f"{first}\n{'The run has ended; the bench is off.' if safe else 'The run has ended.'}".strip()


def calculating(reason: str) -> str:
    """Why the run has ended, while its findings are worked out."""
    return f"{reason} · calculating the findings"


def findings_there(first: str, leaving: str) -> str:
    """What the keys do once the findings are there, below what a person has to do ``first``."""
    return f"{first}\nThe run has ended. Enter: findings and certificate. {leaving}".strip()


# ---- a run that somebody else conducts -------------------------------------------------------------------------------

FOLLOWING = "FOLLOWING"
UNREADABLE = "The record cannot be read any further. The run itself continues."
WAITS = "the run waits for its operator"
