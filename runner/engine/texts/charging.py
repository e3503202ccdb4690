"""What is said of a charge and of a wake charge: why nothing flows, how the step ended, and while everything goes off."""

from __future__ import annotations

from runner.notation.quantity import shown

NO_CURRENT = "no charge current: a protection of the pack is still tripped or has latched, or a lead is off"
NEEDS_NO_WAKING = "No wake charge needed: the pack recovered by itself."
WOKEN = "woken: the terminal voltage stays up"
AWAKE_NOT_SEEN = "it cannot be seen whether the pack is awake"
WAIT_FOR_OFF = "Supply and load are switching off. Wait."
TERMINALS_NOT_SEEN = "no instrument shows the pack's terminals while everything is off"


def too_full(why: str) -> str:
    """That the current tapers where a trip is to be looked for, by the watcher's reason."""
    return f"the pack is too full for this test; discharge it first ({why})"


def stopped_before_full(why: str) -> str:
    """That the pack opened its path in a full charge, by the watcher's reason."""
    return f"the pack stopped the charge before it was full: {why}"


def ended_by_the_pack(why: str) -> str:
    """That the pack ended a full charge as it should, by the watcher's reason."""
    return f"the pack itself ended the charge: {why}"


def tapered(end: float) -> str:
    """That the current has come down to the end current (A)."""
    return f"tapered to the end current of {end:.3g} A"


def did_not_trip(limit: float, why: str) -> str:
    """That the pack did not stop a charge up to a voltage (V), by the watcher's reason."""
    return f"did not trip by {limit:.2f} V: {why}"


def gave_up(limit: float) -> str:
    """That a charge was not over in its time (s)."""
    return f"stopped after {shown(limit, 'time')} of charging (time limit)"


def not_woken(limit: float) -> str:
    """That a pack could not be woken in a time (s)."""
    return f"could not be woken within {limit / 60:.0f} min"
