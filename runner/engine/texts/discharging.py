"""What is said of a discharge and of the wait for the pack to come back: how each ended, and what is foreseen meanwhile."""

from __future__ import annotations

from runner.notation.quantity import exact, shown

NO_CURRENT = (
    "no discharge current: a protection of the pack is still tripped or has latched, a lead is off, "
    "or the load does not draw"
)
READ_LOWEST_CELL = "Read the lowest cell voltage on the pack's own display."
LOWEST_CELL = "lowest cell voltage while waiting"
NOT_SEEN = "the terminals keep their voltage, so the moment of recovery cannot be seen"
BACK = "the terminals carry voltage again"


def did_not_cut_off(floor: float) -> str:
    """That a pack has not cut off by a floor (V)."""
    return f"did not cut off by {floor:.2f} V"


def did_not_cut_off_in_time(seconds: float, lowest: float) -> str:
    """That a pack has not cut off so long (s) below the lower limit (V) of its cut-off."""
    return f"did not cut off within {seconds:.0f} s below its lower limit of {exact(lowest, 2)} V"


def gave_up(limit: float) -> str:
    """That a discharge was not over in its time (s)."""
    return f"stopped after {shown(limit, 'time')} of discharge (time limit)"


def too_much(charge: float, times: float) -> str:
    """That more has been discharged (A·s) than the pack can have: so many times what it is rated."""
    return f"{shown(charge, 'charge')} discharged ({times:g} times the rated capacity) without a cut-off"


def no_recovery(limit: float) -> str:
    """That a pack did not come back in a time (s)."""
    return f"no recovery within {shown(limit, 'time')}"


# ---- the forecast while everything is off --------------------------------------------------------------------------

NOT_FORESEEN = "The cell voltages will probably not rise far enough without charge."
DUE = "The cells have reached the release voltage. The pack should be back."


def foreseen(expected: float, earliest: float, latest: float | None) -> str:
    """In how many seconds the pack should be back; ``latest``: None where nobody can say."""
    until = f"to {_roughly(latest)}" if latest is not None else "or more"
    return f"Recovery expected in about {_roughly(expected)} ({_roughly(earliest)} {until})."


def _roughly(seconds: float) -> str:
    """A time that is foreseen, without digits that nobody can know."""
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"
