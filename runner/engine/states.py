"""The states of a run, the table between them, and in words how one ends.

Rule 1: every state but the last goes to MAKING_SAFE on a fault, a stop, a passed ceiling or an order that failed.
Rule 2: ENDED is reached only from MAKING_SAFE, and only when the bench has said that it is off (or that nothing answers).
Rule 3: the supply may be ordered on in WATCHING only, and WATCHING is entered only after a person agreed in HOLDING.
"""

from __future__ import annotations

from enum import Enum

from runner.orders import Guide, LoadOn, Remark, SetLimits, SetLoad, SetSupply, SwitchOn


class State(Enum):
    """Where a run is; the value is how it is shown."""

    READY = "ready"
    HOLDING = "waiting for the operator"
    WATCHING = "watching"
    MAKING_SAFE = "making safe"
    ENDED = "ended"


NEXT: dict[State, frozenset[State]] = {
    State.READY: frozenset({State.HOLDING, State.MAKING_SAFE}),
    State.HOLDING: frozenset({State.HOLDING, State.WATCHING, State.MAKING_SAFE}),
    State.WATCHING: frozenset({State.WATCHING, State.HOLDING, State.MAKING_SAFE}),
    State.MAKING_SAFE: frozenset({State.MAKING_SAFE, State.ENDED}),
    State.ENDED: frozenset(),
}

FAILED = {  # orders as people read them when they were not carried out
    SwitchOn.__name__: "the supply did not switch on",
    LoadOn.__name__: "the load did not switch on",
    SetLimits.__name__: "the supply did not take its limits",
    SetSupply.__name__: "the supply did not take its set points",
    SetLoad.__name__: "the load did not take its current",
    Guide.__name__: "the actuator did not take its setting",
}


def all_done(undone: int) -> str:
    """How a run ended that came to its end, with so many steps left out that nobody was asked about."""
    if not undone:
        return "all steps done"
    return f"{undone} {'step was' if undone == 1 else 'steps were'} skipped, see the notes"


def why_off(reason: str, detail: str) -> list[Remark]:
    """Why the bench is switched off before the last step, for people and for the record; ``detail``: what an instrument said."""
    last = [Remark(f"Last reply: {detail}")] if detail else []
    return [*last, Remark(f"Switching the bench off: {reason}")]
