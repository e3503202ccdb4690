"""How long a program takes: from its sensors, ramps, dwells, the capacity and the currents it really takes.

What people do is common practice, no source: it depends on the person, and is only for the plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from runner.engine.program import Planned, Program
from runner.vocabulary import Until

# s: connect or tape something and confirm it, read a display, look at one item, settle a step of a supply
CONFIRM, READ, LOOK, SETTLE = 120.0, 20.0, 15.0, 5.0
FREELY = 8.0 / 60  # K/s that a heat gun or ice brings where no rate is asked for
ROOM = 23.0  # °C
TAPER = 900.0  # s that a current takes from the end of its level down to the end current
RECOVERY, WAKING = 300.0, 120.0  # s until a pack comes back, or has been woken
TRIES = 60.0  # s until a path that a protection opened closes again
STAIRS = 0.6  # of a staircase: a trip in the middle of its range ends it


def seconds(program: Program, state_of_charge: float) -> float:
    """About how long it takes, in s, on a pack that is charged to ``state_of_charge`` (a ratio); offers are not counted."""
    return sum(_each(program, state_of_charge))


def _each(program: Program, charge: float) -> Iterable[float]:
    here: dict[str, float] = {}  # °C of each sensor
    now = charge
    for step in program.steps:
        if step.offer:
            continue
        yield _of_step(step, program, here, now)
        now = _charge_after(step, program.rated_capacity, now)


def _of_step(step: Planned, program: Program, here: dict[str, float], now: float) -> float:
    values, kind = step.values, step.kind
    if kind in ("heat", "cool"):
        return _ramp(step, program, here)
    if kind in ("charge", "drain"):
        return _flow(step, program.rated_capacity, now) + SETTLE
    people = {"confirm": CONFIRM, "read": READ, "inspect": LOOK * len(step.words.get("items", ()))}
    if kind in people:
        return people[kind]
    if kind == "substitute":
        share = STAIRS if len(step.levels) > 1 else STAIRS / 4  # a single step is over when the delay is
        return READ + len(step.levels) * values["dwell"] * share
    if kind == "stage":
        levels = 1 + int(abs(values["to"] - values["from"]) / values["step"] + 1e-6)
        return levels * values["dwell"] * (STAIRS if step.word("until") == Until.STOPPED else 1.0)
    if kind == "recover":
        return min(RECOVERY, values["give_up"])
    waits = {"wake": WAKING, "try": TRIES, "off": SETTLE}
    return waits.get(kind, values.get("for", 0.0) if kind != "wait" or "for" in values else 0.0)


def _ramp(step: Planned, program: Program, here: dict[str, float]) -> float:
    """Freely from where the sensor is to where the ramp begins, then at its rate to the threshold."""
    approach, rate = step.values["approach"], step.values["rate"]
    to = program.trip if step.word("until") == Until.STOPPED else program.release
    to = approach if to is None else to
    before = here.get(step.sensor, ROOM)
    here[step.sensor] = to
    return abs(approach - before) / FREELY + abs(to - approach) / max(rate, 1e-6)


def _flow(step: Planned, capacity: float, now: float) -> float:
    values, until = step.values, step.word("until")
    if until == Until.TIME:
        return values["for"]
    if until == Until.STEADY:
        return values["steady"]
    current = max(values["current"], 1e-6)
    if step.kind == "charge":
        return min(max(1.0 - now, 0.0) * capacity / current + TAPER, values["give_up"])
    return min(max(now, 0.0) * capacity / current, values["give_up"])


def _charge_after(step: Planned, capacity: float, now: float) -> float:
    """The state of charge after a step, as a ratio."""
    ends: Mapping[tuple[str, str], float] = {("charge", Until.FULL): 1.0, ("drain", Until.STOPPED): 0.0}
    until = step.word("until")
    if (step.kind, until) in ends:
        return ends[step.kind, until]
    if step.kind in ("charge", "drain") and until == Until.TIME:
        sign = 1.0 if step.kind == "charge" else -1.0
        return now + sign * step.values["current"] * step.values["for"] / capacity
    return now
