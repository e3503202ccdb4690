"""The states of a run and the table between them.

Rule 1: every state but the last goes to MAKING_SAFE on a fault, a stop, a passed ceiling or an order that failed.
Rule 2: ENDED is reached only from MAKING_SAFE, and only when the bench has said that it is off (or that nothing answers).
Rule 3: the supply may be ordered on in WATCHING only, and WATCHING is entered only after a person agreed in HOLDING.
"""

from __future__ import annotations

from enum import Enum


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
