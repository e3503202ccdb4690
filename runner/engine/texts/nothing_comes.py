"""What is said where no current began, and it is the supply or the load from which none comes."""

from __future__ import annotations

RESTARTED = "it has restarted, or somebody switched it off"


def off_by_itself(role: str) -> str:
    """That the supply or the load says of itself that it is off, though it was ordered on."""
    return f"no current, and the {role} says that it is off: {RESTARTED}"


def not_regulating(volts: float, wanted: float) -> str:
    """That nothing flows because the supply does not hold its voltage: what it shows and what it was set to (V)."""
    return (
        f"no current since the supply was switched on, and it is at {volts:.2f} V instead of {wanted:.2f} V: "
        "its output is off, or it is not regulating"
    )


def draws_nothing(volts: float) -> str:
    """That nothing flows though the load sees the pack (V)."""
    return f"no current since the load was switched on, and it sees {volts:.2f} V: it is off, or it draws nothing"
