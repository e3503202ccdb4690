"""What a bench file of a person's own says of its instruments, and the errors that a seed draws from it."""

from __future__ import annotations

import itertools
import random
from collections.abc import Mapping
from dataclasses import dataclass, field

CHANNELS = ("supply voltage", "supply current", "load voltage", "load current", "meter voltage", "probe")


@dataclass(frozen=True)
class MeterError:
    """By how much a reading is off what it should be: ``gain`` of it, ``offset``, and straight between ``points``."""

    gain: float = 0.0
    offset: float = 0.0
    points: tuple[tuple[float, float], ...] = ()  # reading, error

    def __call__(self, value: float) -> float:
        return self.gain * value + self.offset + self._between(value)

    def _between(self, value: float) -> float:
        if not self.points:
            return 0.0
        if value <= self.points[0][0]:
            return self.points[0][1]
        for (x0, y0), (x1, y1) in itertools.pairwise(self.points):
            if value <= x1:
                return y0 + (value - x0) / (x1 - x0) * (y1 - y0)
        return self.points[-1][1]


@dataclass(frozen=True)
class DeclaredMeter:
    """One reading: ± limits ``gain`` and ``offset``, or ``points`` (reading, error, standard uncertainty) with ``drift``.

    ``standard``: a standard uncertainty in place of limits. In the unit of the reading; ``averages`` in s.
    """

    gain: float = 0.0
    offset: float = 0.0
    resolution: float = 0.001
    points: tuple[tuple[float, float, float], ...] = ()
    drift: float = 0.0
    standard: float = 0.0
    averages: float = 0.0

    def drawn(self, dice: random.Random) -> MeterError:
        """The error that holds for one bench. The errors of a certificate's points go together."""
        together = dice.gauss(0.0, 1.0)
        offset = dice.uniform(-1.0, 1.0) * (self.offset + self.drift) + dice.gauss(0.0, self.standard)
        points = tuple((reads, error + together * u) for reads, error, u in self.points)
        return MeterError(dice.uniform(-self.gain, self.gain), offset, points)


@dataclass(frozen=True)
class DeclaredFurther:
    """A further thermometer at ``sensors`` (in the room if there are none), or a further voltmeter at a ``cell`` or at the pack.

    ``coupling``: the standard uncertainty of a thermometer's contact, in K.
    """

    meter: DeclaredMeter
    thermometer: bool
    sensors: tuple[str, ...] = ()
    cell: int | None = None
    coupling: float = 0.0


@dataclass(frozen=True)
class DeclaredLeads:
    """Leads in Ω with their standard uncertainty; ``remote``: the voltage is sensed at the pack."""

    resistance: float | None = None
    uncertainty: float = 0.0
    remote: bool = False

    def drawn(self, otherwise: float, dice: random.Random) -> float:
        """What they have."""
        if self.resistance is None:
            return otherwise
        return max(dice.gauss(self.resistance, self.uncertainty), 1e-4)


@dataclass(frozen=True)
class DeclaredBench:
    """What a bench is built around. Limits in V and A; coupling in K, its growth as a share of the difference to the room;
    lag in s; gains of the counter as ratios.

    ``own`` is true for a bench file of a person's own: then every reading is as that file says, by channel, and what it does
    not say of a reading is taken as without error.
    """

    supply: tuple[float, float] = (31.0, 18.0)
    load: tuple[float, float] = (31.0, 60.0)
    own: bool = False
    meters: Mapping[str, DeclaredMeter] = field(default_factory=dict)
    supply_leads: DeclaredLeads = DeclaredLeads()
    load_leads: DeclaredLeads = DeclaredLeads()
    coupling_growth: float = 0.0
    coupling_direction: float = 0.0
    coupling: float | None = None
    probe_lag: tuple[float, float] | None = None
    counter: tuple[float, float] | None = None
    further: Mapping[str, DeclaredFurther] = field(default_factory=dict)  # "probe by_the_cell", "meter cell_3"

    def meter(self, channel: str) -> DeclaredMeter:
        """What is declared of a reading."""
        return self.meters.get(channel, DeclaredMeter())
