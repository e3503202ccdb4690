"""What a run shows by itself while it goes on: what a person reads in place of a word, and the coach of a ramp."""

from __future__ import annotations

from runner.scale import as_read, degrees, kelvins, per_minute

BY_HAND = "by hand"
CLAMP_NOT_READ = "not read on the clamp yet"


def clamp_read(amps: float) -> str:
    """What the clamp showed when a person read it last (A)."""
    return f"{amps:.3g} A when the clamp was read last"


def by_machine(sentence: str) -> str:
    """That what a step asks for is done by an actuator."""
    return f"The actuator does this: {sentence}"


def fast_then(kind: str, celsius: float, wanted: float, now: float) -> str:
    """The coach up to where the slow ramp begins (°C), and the rates from there on and now (K/s)."""
    then = f"then {per_minute(wanted)} (now {per_minute(now)})"
    return f"{kind.upper()} FAST to {degrees(celsius, '.0f')}, {then}"


def rates(now: float, wanted: float, cost: str) -> str:
    """The coach of the slow ramp: both rates (K/s), and what this one costs."""
    target, _ = as_read(wanted * 60, "K/min")
    return f"{per_minute(now)} (target {target:.1f}){cost}"


def cost(lag: float, half: float) -> str:
    """The error by the lag of a usual sensor (K), beside half the width of the trip's limits (K)."""
    return f"; lag error {kelvins(lag)} (tolerance {kelvins(half)})"
