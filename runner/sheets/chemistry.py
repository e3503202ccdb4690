"""What a cell of a chemistry can be: the bounds that no step and no ceiling passes, and the range that is usual.

Every figure is common practice, no source, unless a line says otherwise. *Never* is for the minutes of a protection test,
in which a protection may have to be shown not to act.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Chemistry:
    """One chemistry. Volts of a cell, °C: ``never`` below and above; ``lowest``, ``nominal`` and ``highest`` in usual use;
    ``charge`` between which temperatures charging is usual; ``slope``: V for the whole of the charge at which the curve rises in
    its middle, 0 where it is flat."""

    name: str
    never: tuple[float, float]
    lowest: tuple[float, float]
    nominal: tuple[float, float]
    highest: tuple[float, float]
    charge: tuple[float, float]
    slope: float = 0.0


CHEMISTRIES = (
    Chemistry("LFP", (2.0, 3.9), (2.0, 2.8), (3.2, 3.3), (3.5, 3.65), (0.0, 55.0)),
    Chemistry("NMC", (2.0, 4.4), (2.5, 3.0), (3.6, 3.7), (4.1, 4.25), (0.0, 45.0), 1.2),
    Chemistry("NCA", (2.0, 4.4), (2.5, 3.0), (3.6, 3.7), (4.1, 4.25), (0.0, 45.0), 1.2),
    Chemistry("NMC HV", (2.0, 4.55), (2.5, 3.0), (3.7, 3.85), (4.35, 4.45), (0.0, 45.0), 1.2),
    Chemistry("LCO", (2.5, 4.4), (3.0, 3.0), (3.6, 3.8), (4.1, 4.25), (0.0, 45.0), 0.8),
    Chemistry("LMO", (2.5, 4.4), (3.0, 3.0), (3.6, 3.8), (4.1, 4.25), (0.0, 45.0), 0.8),
    Chemistry("LTO", (1.2, 3.0), (1.5, 1.8), (2.2, 2.4), (2.7, 2.85), (-20.0, 50.0), 0.5),
    Chemistry("Na-ion", (1.0, 4.3), (1.5, 2.0), (3.0, 3.1), (3.95, 4.1), (-10.0, 45.0), 2.0),
)
OTHER = "other"
NAMES = (*(each.name for each in CHEMISTRIES), OTHER)
SENSOR_LIMITS = (-40.0, 100.0)  # °C that a sensor may be taken to unless the sheet says otherwise, and


def canonical(name: str) -> str:
    """A chemistry's name as it is written here, whatever its capitals and hyphens; unknown ones as they are."""
    wanted = _plain(name)
    return next((known for known in NAMES if _plain(known) == wanted), name)


def find(name: str) -> Chemistry | None:
    """A known chemistry by its canonical name; None for ``other``."""
    return next((each for each in CHEMISTRIES if each.name == name), None)


def _plain(name: str) -> str:
    return "".join(letter for letter in name.lower() if letter.isalnum())
