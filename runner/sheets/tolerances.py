"""Between which values a trip and a release are allowed: declared by the pack sheet, or assumed by the laboratory. One road for
the plan, the screen and the findings."""

from __future__ import annotations

from dataclasses import dataclass

from runner.notation.quantity import shown
from runner.sheets.bench import Assumed
from runner.sheets.pack import PackSheet
from runner.sheets.parts.protections import Protection, VoltageProtection

Limits = tuple[float, float] | None

# how far about the trip a test looks where a sheet declares no tolerance: K, V a cell, a part of it (common practice, no source)
USUAL_KELVIN, USUAL_CELL, USUAL_CURRENT = 2.0, 0.0375, 15.0
# how far beyond those marks a release is looked for that a sheet does not declare: K; V a cell at the end of charge, of discharge
RELEASE_KELVIN, RELEASE_FULL, RELEASE_EMPTY = 5.0, 0.1, 0.2
_DIFFERENCE = {"temperature": "temperature difference", "voltage": "voltage", "current": "current"}


@dataclass(frozen=True)
class Allowed:
    """(lowest, highest) of trip and release in the protection's unit, None where there are none; ``assumed`` how limits that the
    sheet does not declare were come by."""

    trip: Limits = None
    release: Limits = None
    assumed: str = ""


def allowed(protection: Protection | None, assumed: Assumed) -> Allowed:
    """The limits of a protection; nothing of a protection that is not declared."""
    if protection is None:
        return Allowed()
    trip, release = protection.trip_limits(), protection.release_limits()
    half = getattr(assumed, protection.dimension)
    if half is None or (trip is not None and (release is not None or protection.release is None)):
        return Allowed(trip, release)
    if protection.dimension == "current":
        half = half * protection.trip
    words = f"a tolerance of ±{shown(half, _DIFFERENCE[protection.dimension])} was assumed by the laboratory (none is declared)"
    trip = trip or (protection.trip - half, protection.trip + half)
    if protection.release is not None:
        release = release or (protection.release - half, protection.release + half)
    return Allowed(trip, release, words)


def marks(protection: Protection, assumed: Assumed, cells: int) -> tuple[float, float]:
    """Between which values a test looks for a trip, lowest first: the limits, or about what sheets declare where there are none."""
    limits = allowed(protection, assumed).trip
    if limits is not None:
        return limits
    half = {"temperature": USUAL_KELVIN, "voltage": USUAL_CELL * cells, "current": protection.trip / USUAL_CURRENT}
    around = half[protection.dimension]
    return protection.trip - around, protection.trip + around


UNDER_VOLTAGE = "under_voltage"


def implied_cut_off(pack: PackSheet) -> VoltageProtection:
    """The cut-off of a pack whose sheet declares a cut-off voltage and no protection: it has no limits and is not judged."""
    implied = VoltageProtection.model_construct({"trip"}, trip=pack.cut_off_voltage, delay=None, polling=0.0)
    implied.assume_delay(UNDER_VOLTAGE)
    return implied


def release_about(kind: str, protection: Protection, assumed: Assumed, cells: int) -> float | None:
    """About where a test looks for a release: the declared value, or beyond the marks of the trip; None of a current."""
    if protection.release is not None or protection.dimension == "current":
        return None if protection.release is None else float(protection.release)
    low, high = marks(protection, assumed, cells)
    if protection.dimension == "temperature":
        return low - RELEASE_KELVIN if "over" in kind else high + RELEASE_KELVIN
    return low - RELEASE_FULL * cells if "over" in kind else high + RELEASE_EMPTY * cells
