"""The states of a run, the table between them, and in words how one ends.

Rule 1: every state but the last goes to MAKING_SAFE on a fault, a stop, a passed ceiling or an order that failed.
Rule 2: ENDED is reached only from MAKING_SAFE, and only when the bench has said that it is off (or that nothing answers).
Rule 3: the supply may be ordered on in WATCHING only, and WATCHING is entered only after a person agreed in HOLDING.
"""

from __future__ import annotations

from enum import Enum

from runner.engine.texts import ends
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
    SwitchOn.__name__: ends.SUPPLY_NOT_ON,
    LoadOn.__name__: ends.LOAD_NOT_ON,
    SetLimits.__name__: ends.LIMITS_NOT_TAKEN,
    SetSupply.__name__: ends.SUPPLY_NOT_SET,
    SetLoad.__name__: ends.LOAD_NOT_SET,
    Guide.__name__: ends.ACTUATOR_NOT_SET,
}


def why_off(reason: str, detail: str) -> list[Remark]:
    """Why the bench is switched off before the last step, for people and for the record; ``detail``: what an instrument said."""
    last = [Remark(ends.last_reply(detail))] if detail else []
    return [*last, Remark(ends.switching_off(reason))]
