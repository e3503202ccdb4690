"""Temperature from what a sensor gives: platinum resistance thermometers, and thermocouples of the eight letters of IEC 60584-1.

Platinum: R(t) = R0·(1 + A·t + B·t² + C·(t − 100)·t³), C only below 0 °C (IEC 60751). Thermocouples: the reference functions of
ITS-90 (NIST Monograph 175) from a library, inverted here numerically, because its own inverse is an approximation of ±0.05 K.
The voltage at an instrument's terminals is E(t) − E(terminals): what the terminals have is added as a voltage, never as a
temperature.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

A, B, C = 3.9083e-3, -5.775e-7, -4.183e-12  # IEC 60751
PLATINUM_RANGE = (-200.5, 850.5)  # °C, with room for a table of two decimals
# °C over which the functions are inverted: all of each in NIST Monograph 175, but that between 0 °C and 42 °C a voltage of
# type B belongs to two temperatures
THERMOCOUPLE_RANGES = {
    "B": (50.0, 1820.0),
    "E": (-270.0, 1000.0),
    "J": (-210.0, 1200.0),
    "K": (-270.0, 1372.0),
    "N": (-270.0, 1300.0),
    "R": (-50.0, 1768.1),
    "S": (-50.0, 1768.1),
    "T": (-270.0, 400.0),
}

Thermocouple = Literal["B", "E", "J", "K", "N", "R", "S", "T"]


def platinum_resistance(temperature: float, r0: float = 100.0) -> float:
    """Ω at °C; ``r0`` is the resistance at 0 °C in Ω."""
    t = temperature
    below = C * (t - 100.0) * t**3 if t < 0 else 0.0
    return r0 * (1.0 + A * t + B * t * t + below)


def platinum_temperature(resistance: float, r0: float = 100.0) -> float:
    """°C at Ω. Raises ValueError outside of −200 to 850 °C."""
    low, high = (platinum_resistance(t, r0) for t in PLATINUM_RANGE)
    if not low <= resistance <= high:
        raise ValueError(f"{resistance:.6g} Ω is no resistance of a platinum thermometer with {r0:g} Ω at 0 °C")
    return _root(lambda t: platinum_resistance(t, r0) - resistance, *PLATINUM_RANGE)


def thermocouple_voltage(kind: Thermocouple, temperature: float, terminals: float = 0.0) -> float:
    """V between the terminals at ``terminals`` °C of a thermocouple whose junction is at ``temperature`` °C.

    Raises ValueError for a temperature at which this type has no voltage.
    """
    function = _function(kind)
    return float(function.emf(temperature) - function.emf(terminals)) * 1e-3


def thermocouple_temperature(kind: Thermocouple, voltage: float, terminals: float = 0.0) -> float:
    """°C of the junction from the voltage (V) at terminals of ``terminals`` °C. Raises ValueError out of range."""
    function = _function(kind)
    low, high = THERMOCOUPLE_RANGES[kind]
    try:
        whole = voltage * 1e3 + float(function.emf(terminals))
    except ValueError:
        raise ValueError(f"the terminals of a type {kind} thermocouple cannot be at {terminals:.4g} °C") from None
    if not float(function.emf(low)) <= whole <= float(function.emf(high)):
        raise ValueError(
            f"{voltage * 1e3:.6g} mV is no voltage of a type {kind} thermocouple from {low:g} to {high:g} °C"
        )
    return _root(lambda t: float(function.emf(t)) - whole, low, high)


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    from scipy import optimize  # half a second to import: only where a resistance or a voltage is really converted

    return float(optimize.brentq(function, low, high, xtol=1e-9))


def _function(kind: Thermocouple) -> Any:
    import thermocouple_its90  # only where there is a thermocouple

    return thermocouple_its90.get(kind)
