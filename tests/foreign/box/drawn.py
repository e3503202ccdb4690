"""The pack, the box, the hand and the bench of one record with a decade box in a sensor's place, and its departures.

All ranges are common practice, no source (from memory): what packs, meters and hands are like.
"""

from dataclasses import dataclass, field

from tests.foreign import practice
from tests.foreign.bench import Reading, log
from tests.foreign.firmware import Firmware
from tests.foreign.paths import Path
from tests.foreign.thermal.drawn import point


@dataclass
class Drawn:
    """Everything about one record. Temperatures in °C, differences in K, times in s, currents in A.

    ``box_said`` is ± of the box's resistance as declared, ``box_error`` what it is off by (a share). ``key`` is (mean, standard
    deviation) of the person's key after the box was set, ``key_said`` what the bench file says of keys.
    """

    hot: bool
    trip: float
    release: float
    trip_off: float
    release_off: float
    box_said: float
    box_error: float
    firmware: Firmware = field(default_factory=Firmware)
    step: float = 0.005
    beta: float = 3435.0
    resistor: float = 1e4
    path: Path = field(default_factory=Path)
    level: float = 4.0
    interval: float = 0.25
    current: Reading = field(default_factory=lambda: point(0.001, 0.001, 2e-4))
    averages_said: float = 0.0
    late: tuple[float, float] = (0.0, 0.01)
    probe_every: float = 1.0
    key: tuple[float, float] = (0.0, 0.15)
    key_said: tuple[float, float] = (0.3, 0.15)
    forgets: float = 0.0  # share of keys that come another second late
    delay_said: float = 1.0
    polling_said: float = 1.0


def plain(rng):
    """A quiet pack, a hand that presses as it sets, and a meter that reads an instant."""
    hot = rng.random() < 0.65
    trip = float(rng.choice((50, 55, 60)) if hot else rng.choice((-5, 0, 5)))
    gap = float(rng.choice((5, 8, 10)) if hot else rng.choice((4, 5, 6)))
    every = rng.choice((0.5, 1.0, 2.0))
    firmware, delay = practice.pace(rng, every)
    said = log(rng, 0.0005, 0.005)
    return Drawn(
        hot=hot,
        trip=trip,
        release=trip - gap if hot else trip + gap,
        trip_off=rng.uniform(-1, 1),
        release_off=rng.uniform(-1, 1),
        box_said=said,
        box_error=rng.uniform(-said, said),
        firmware=firmware,
        beta=rng.uniform(3380, 3950),
        resistor=rng.choice((4.7e3, 1e4, 2.2e4)),
        level=rng.choice((2.0, 4.0, 10.0)),
        delay_said=delay,
        polling_said=every,
    )


def _late_key(rng, d):
    d.key, d.forgets = (rng.uniform(0.2, 0.6), rng.uniform(0.1, 0.2)), 1 / 50


GROUPS = {
    **practice.PACK,
    "key": {"key comes late": _late_key},
    **practice.OFF,
    "left": {"keep-alive": practice.keeps_alive},
    **practice.BACK,
    **practice.METER,
}
WEIGHTS = practice.WEIGHTS
