"""What several findings take from readings: the error of one, the channel that counts, how near together they are."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from runner.events import CHARGE, DISCHARGE, METER_VOLTAGE, VOLTAGE_OF
from runner.measure.budget import Inputs, Quantity
from runner.measure.recording import Accuracy, Recording, Series
from runner.vocabulary import BudgetSource

SENSED = (0.0, 0.0)  # Ω, with its standard uncertainty: what leads have that carry no current
UNKNOWN_LEADS = (0.0, 0.050)  # Ω: what a pair of bench leads may have, where nobody knows (common practice, no source)
BEYOND = 0.1  # of the distance of a certificate's first and last point: further away its errors say nothing


@dataclass(frozen=True)
class Corrections:
    """What a calibration certificate says: (reading, error, standard uncertainty) of each point, by rising reading, in SI or °C."""

    points: tuple[tuple[float, float, float], ...]

    def corrected(self, series: Series) -> Series:
        """The readings less their errors, straight between the points; beyond them, that of the last."""
        reads, errors, _ = zip(*self.points, strict=True)
        return Series(series.t, series.value - np.interp(series.value, reads, errors))

    def uncertainty(self, reading: float) -> float:
        """The standard uncertainty of the error of a reading, straight between those of the points."""
        reads, _, known = zip(*self.points, strict=True)
        return float(np.interp(reading, reads, known))

    def reaches(self, reading: float) -> bool:
        """Whether a reading lies between the points, or no further beyond them than BEYOND of their distance."""
        low, high = self.points[0][0], self.points[-1][0]
        return low - BEYOND * (high - low) <= reading <= high + BEYOND * (high - low)


def reading_error(inputs: Inputs, accuracy: Accuracy, value: float, name: str) -> Quantity:
    """The error of a reading: gain, offset and resolution, each ± limits taken as rectangular (JCGM 100:2008, 4.3.7)."""
    gain = inputs.add(BudgetSource.GAIN.of(name), 0.0, accuracy.gain * abs(value) / 3.0**0.5, "rectangular")
    offset = inputs.add(BudgetSource.OFFSET.of(name), 0.0, accuracy.offset / 3.0**0.5, "rectangular")
    return (
        gain
        + offset
        + inputs.add(BudgetSource.RESOLUTION.of(name), 0.0, accuracy.resolution / 12.0**0.5, "rectangular")
    )


def lead_resistance(inputs: Inputs, known: tuple[float, float] | None, most: float = math.inf) -> tuple[Quantity, str]:
    """The resistance in Ω of the leads between an instrument and the pack, and what is known of it, in words.

    ``known``: with its standard uncertainty, as the bench file has it. Where nobody knows it, it is as likely anywhere in
    UNKNOWN_LEADS, up to ``most`` if the readings allow no more; a voltage that is sensed at the pack has none.
    """
    if known == SENSED:
        return 0.0, "sensed at the pack's terminals"
    if known is not None:
        return inputs.add(BudgetSource.LEADS, *known), f"corrected for {known[0] * 1e3:.3g} mΩ of leads"
    low, high = UNKNOWN_LEADS[0], min(UNKNOWN_LEADS[1], most)
    resistance = inputs.add(BudgetSource.LEADS, (low + high) / 2, (high - low) / 12.0**0.5, "rectangular")
    return resistance, f"lead resistance unknown; assumed {low * 1e3:g} to {high * 1e3:.3g} mΩ"


def lowest_held(part: Series, time: float) -> float:
    """The lowest level that readings stayed below for so long (s): a shorter dip releases nothing. Infinite if none."""
    begins = np.searchsorted(part.t, part.t - time + 1e-9, "right") - 1  # of so long a time, with the reading before it
    held = [part.value[begin : end + 1].max() for end, begin in enumerate(begins) if part.t[end] - part.t[0] >= time]
    return float(min(held, default=np.inf))


def terminals(recording: Recording) -> str:
    """The channel that has the voltage of the pack's terminals: its own voltmeter, else the load's, else the supply's."""
    for channel in (METER_VOLTAGE, VOLTAGE_OF[DISCHARGE]):
        if len(recording.of(channel)):
            return channel
    return VOLTAGE_OF[CHARGE]


def gap_before(series: Series, at: float) -> float:
    """Seconds between the reading at ``at`` and the one before it."""
    before = series.t[series.t < at - 1e-6]
    return float(at - before[-1]) if len(before) else 0.0
