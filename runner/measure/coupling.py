"""How the temperature of the probe differs from that of the sensor beside it, apart from lags: the parts that ramps share.

Coupling has three parts. One is the same for all ramps of a sensor (contact, paste, distance). One grows with the difference to
the room, because heat flows along the probe's stem and out of the spot. One changes its sign with the direction, because the heat
comes from one side: it doubles in the hysteresis, where the others nearly cancel.
"""

from __future__ import annotations

from dataclasses import dataclass

from runner.measure.budget import Inputs, Quantity
from runner.measure.recording import Specification
from runner.vocabulary import BudgetSource

# where the bench file does not say: standard uncertainties (common practice, no source)
GROWTH = 0.0015  # of the difference to the room
DIRECTION = 0.22 / 3.0**0.5  # K, rectangular


@dataclass(frozen=True)
class Shared:
    """What all ramps of an evaluation share: one object each, so that differences lose what is common.

    ``calibration``, ``resolution``, ``coupling`` and ``direction`` in K; ``growth`` a share of the difference to ``ambient`` (°C).
    """

    calibration: Quantity
    resolution: Quantity
    coupling: Quantity
    growth: Quantity
    direction: Quantity
    ambient: float

    def error(self, temperature: float, rate: float) -> Quantity:
        """The probe's error in K at a temperature (°C) that rises or falls (K/s, its sign)."""
        whole = self.calibration + self.resolution + self.coupling + (temperature - self.ambient) * self.growth
        return whole + self.direction if rate > 0 else whole - self.direction


def shared(inputs: Inputs, declared: Specification, sensor: str, ambient: float) -> Shared:
    """The shared input quantities of one sensor; ``ambient`` in °C."""
    u, distribution = declared.calibration
    growth = GROWTH if declared.coupling_growth is None else declared.coupling_growth
    direction = DIRECTION if declared.coupling_direction is None else declared.coupling_direction
    add = inputs.add
    return Shared(
        add(BudgetSource.PROBE_CALIBRATION, 0.0, u, distribution),
        add(BudgetSource.PROBE_RESOLUTION, 0.0, declared.resolution / 12.0**0.5, "rectangular"),
        add(BudgetSource.COUPLING.of(sensor), 0.0, declared.coupling),
        add(BudgetSource.COUPLING_GROWTH, 0.0, growth),
        add(BudgetSource.COUPLING_DIRECTION, 0.0, direction, "rectangular"),
        ambient,
    )
