"""The pack, the hand and the bench of one temperature record: what is drawn in the plain case.

All ranges are common practice, no source (from memory): what packs, meters and hands are like.
"""

from dataclasses import dataclass, field

from tests.foreign import practice
from tests.foreign.bench import Reading, log
from tests.foreign.firmware import Firmware
from tests.foreign.paths import Path
from tests.foreign.thermal.heat import Hand

RATES = {1: (2.0,), 2: (1.0, 3.0), 3: (1.0, 2.0, 3.0), 4: (1.0, 2.0, 3.0, 2.0)}  # K/min that are asked for


@dataclass
class Second:
    """A second probe on the other side of the sensor: lag in s, u as declared and errors in K.

    ``share`` and ``by_direction`` are those of the first times this.
    """

    lag: float
    calibration: float
    calibration_error: float
    coupling: float
    common: float
    share: float
    by_direction: float


@dataclass
class Drawn:
    """Everything about one record. Temperatures in °C, differences in K, times in s, currents in A.

    ``trip`` and ``release`` are those of the sheet; ``trip_off`` and ``release_off`` how far the pack is from them before its
    converter's steps are counted. ``probe_says`` and ``sensor_says`` are (lag, standard uncertainty) as declared, None where nobody has
    said. ``delay_said`` and ``polling_said`` are the sheet's.
    """

    hot: bool
    trip: float
    release: float
    trip_off: float
    release_off: float
    ambient: float
    rates: tuple[float, ...]
    sensor_lags: tuple[float, float]
    probe_lag: float
    calibration: float  # u as declared
    calibration_error: float
    coupling: float  # u as declared
    common: float
    share: float = 0.0  # of T − ambient, that the probe reads too much
    by_direction: float = 0.0  # that the probe reads too much while warming, and too little while cooling
    self_heating: float = 0.0
    hand: Hand = field(default_factory=Hand)
    firmware: Firmware = field(default_factory=Firmware)
    step: float = 0.005
    beta: float = 3435.0
    resistor: float = 1e4
    path: Path = field(default_factory=Path)
    level: float = 4.0
    interval: float = 0.25
    current: Reading = field(default_factory=lambda: point(0.001, 0.001, 2e-4))
    averages_said: float = 0.0
    late: tuple[float, float] = (0.0, 0.01)  # the least, and the mean of what is added to it
    probe_every: float = 0.5
    probe: Reading = field(default_factory=lambda: point(0.01, 0.005, 0.0))
    probe_says: tuple[float, float] | None = (1.75, 0.72)  # uniform from 0.5 to 3 s
    sensor_says: tuple[float, float] | None = None
    delay_said: float = 1.0
    polling_said: float = 1.0
    second: Second | None = None


def point(resolution, noise, share_noise):
    """A meter that reads one instant."""
    return Reading(0.0, 1.0, 0.0, 0.0, resolution, 1.0, 0.0, share_noise, noise)


def plain(rng):
    """Three even ramps on a quiet pack with meters that read an instant."""
    hot = rng.random() < 0.65
    trip = float(rng.choice((50, 55, 60)) if hot else rng.choice((-5, 0, 5)))
    gap = float(rng.choice((5, 8, 10)) if hot else rng.choice((4, 5, 6)))
    coupling, calibration = log(rng, 0.05, 0.2), log(rng, 0.03, 0.1)  # a careful hand; loose contact is a departure
    every = rng.choice((0.5, 1.0, 2.0))
    firmware, delay = practice.pace(rng, every)
    return Drawn(
        hot=hot,
        trip=trip,
        release=trip - gap if hot else trip + gap,
        trip_off=rng.uniform(-1, 1),
        release_off=rng.uniform(-1, 1),
        ambient=rng.uniform(16, 28),
        rates=tuple(each * rng.uniform(0.88, 1.12) for each in RATES[3]),
        sensor_lags=(log(rng, 3.0, 12.0), rng.uniform(0.5, 1.5)),
        probe_lag=rng.uniform(0.5, 3.0),
        calibration=calibration,
        calibration_error=rng.gauss(0, calibration),
        coupling=coupling,
        common=rng.gauss(0, coupling),
        firmware=firmware,
        beta=rng.uniform(3380, 3950),
        resistor=rng.choice((4.7e3, 1e4, 2.2e4)),
        level=rng.choice((2.0, 4.0, 10.0)),
        delay_said=delay,
        polling_said=every,
    )
