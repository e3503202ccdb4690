"""The pack, the load and the meters of one under-voltage record, and each departure from its plain case.

All ranges are common practice, no source (from memory): what packs, meters and loads are like.
"""

from dataclasses import dataclass, field

from tests.foreign import practice
from tests.foreign.bench import Reading, aperture, log
from tests.foreign.firmware import Firmware
from tests.foreign.paths import Path
from tests.foreign.thermal.drawn import point
from tests.foreign.voltage.cells import Cells, share_at

COUNT, CAPACITY = 8, 40 * 3600.0


@dataclass
class Drawn:
    """Everything about one record. Voltages in V, times in s, currents in A, resistances in Ω.

    ``trip`` and ``release`` are the sheet's, for the pack; ``trip_off`` and ``release_off`` in V a cell. ``inside``: between the cells and the
    terminals. ``gains`` and ``offsets`` are (± as declared, true) of the voltmeter and of the load's voltage. ``leads_said`` is (value,
    standard uncertainty) or None. ``ripple`` is (V of the pack, Hz).
    """

    trip: float
    release: float
    trip_off: float
    release_off: float
    level: float
    cells: Cells
    firmware: Firmware
    gains: tuple[tuple[float, float], tuple[float, float]]
    offsets: tuple[tuple[float, float], tuple[float, float]]
    step: float = 0.0002
    inside: float = 0.0
    leads: float = 0.0
    leads_said: tuple[float, float] | None = None
    voltmeter: bool = True
    meter: Reading = field(default_factory=lambda: point(0.001, 0.0005, 0.0))
    meter_every: float = 0.5
    load_volts: Reading = field(default_factory=lambda: point(0.001, 0.002, 0.0))
    current: Reading = field(default_factory=lambda: point(0.01, 0.005, 2e-4))
    averages_said: float = 0.0
    interval: float = 0.25
    probe_every: float = 0.5
    late: tuple[float, float] = (0.0, 0.01)
    path: Path = field(default_factory=Path)
    rises: float = 0.001
    ripple: tuple[float, float] = (0.0, 1.0)
    until_trip: float = 240.0
    delay_said: float = 2.0
    polling_said: float = 0.25


def plain(rng):
    """Even cells, quiet converters, a voltmeter at the terminals."""
    level = rng.choice((10.0, 20.0, 40.0))
    ohmic, fast, slow = rng.uniform(0.03, 0.08), rng.uniform(0.04, 0.1), rng.uniform(0.18, 0.3)  # V at this current
    trip = rng.choice((2.5, 2.55, 2.6, 2.8))
    back = round(trip + ohmic + fast + rng.uniform(0.2, 0.6) * slow, 2)
    every = rng.choice((0.1, 0.25, 0.5))
    firmware, delay = practice.pace(rng, every)
    until = rng.uniform(150.0, 300.0)
    begin = share_at(trip + ohmic + fast + slow) + level * until / CAPACITY
    uneven = tuple(begin + rng.uniform(0.0, 0.0003) for _ in range(COUNT))
    gains, offsets = (5e-4, 1e-3), (0.002, 0.01)
    return Drawn(
        trip=COUNT * trip,
        release=COUNT * back,
        trip_off=rng.uniform(-0.015, 0.015),
        release_off=rng.uniform(-0.015, 0.015),
        level=level,
        cells=Cells(
            CAPACITY, uneven, ohmic / level, (fast / level, rng.uniform(10, 60)), (slow / level, rng.uniform(200, 600))
        ),
        firmware=firmware,
        gains=tuple((each, rng.uniform(-each, each)) for each in gains),
        offsets=tuple((each, rng.uniform(-each, each)) for each in offsets),
        until_trip=until,
        delay_said=delay,
        polling_said=every,
    )


def _noise(rng, d):
    d.firmware.noise = log(rng, 0.0005, 0.005)


def _steps(rng, d):
    d.step = rng.uniform(0.001, 0.005)


def _mean(rng, d):
    d.firmware.mean = rng.randint(2, 16)


def _lag(rng, d):
    d.firmware.lag = log(rng, 0.2, 3.0)


def _debounced(forgives=False):
    def change(rng, d):
        practice.debounced(forgives)(rng, d)
        _noise(rng, d)

    return change


def _delay(low, high):
    def change(rng, d):
        """Kept to 10 % by a timer; the sheet has the round figure."""
        d.delay_said = round(log(rng, low, high), 2)
        d.firmware.counted, d.firmware.delay = False, d.delay_said * rng.uniform(0.9, 1.1)

    return change


def _uneven(rng, d):
    d.cells.left = tuple(each + rng.uniform(0.0, 0.004) for each in d.cells.left)


def _inside(rng, d):
    d.inside = rng.uniform(0.001, 0.005)


def _leads(said):
    def change(rng, d):
        d.voltmeter, d.leads = False, rng.uniform(0.02, 0.03) if said else rng.uniform(0.0, 0.05)
        d.leads_said = (0.025, 0.005 / 3**0.5) if said else None

    return change


def _sensed(_rng, d):
    """Its sense leads are at the terminals, and the bench file says so."""
    d.voltmeter, d.leads_said = False, (0.0, 0.0005)


def _averaging_load(rng, d):
    _sensed(rng, d)
    d.load_volts.aperture = aperture(rng) or 0.02


def _averaging_meter(rng, d):
    d.meter.aperture = rng.uniform(0.02, 1.0)


def _slow_meter(rng, d):
    d.meter.renewal, d.meter.phase = rng.uniform(0.3, 1.0), rng.random()
    d.meter.aperture, d.meter_every = 0.3 * d.meter.renewal, 1.0


def _ripple(rng, d):
    d.ripple = (log(rng, 0.005, 0.05), log(rng, 0.2, 120.0))


def _rises(rng, d):
    d.rises = log(rng, 0.1, 2.0)


GROUPS = {
    "looks": {
        "fast looks": practice.looks(0.02, 0.1),
        "slow looks": practice.looks(0.3, 0.5),
        "looks not on the sheet": practice.looks(0.02, 0.5, said=False),
    },
    "delay": {"short delay": _delay(0.05, 0.5), "long delay": _delay(5.0, 10.0)},
    "pack": {"cells' noise": _noise, "cells' steps": _steps, "cells' noise and steps": practice.both(_noise, _steps)},
    "filter": {
        "mean of looks": _mean,
        "first-order filter": _lag,
        "noise and mean of looks": practice.both(_noise, _mean),
    },
    "debounce": {"looks in a row": _debounced(), "a look takes one off": _debounced(forgives=True)},
    "cells": {"uneven cells": _uneven},
    "inside": {"resistance inside the pack": _inside},
    "volts": {
        "no voltmeter, load senses": _sensed,
        "no voltmeter, leads said": _leads(said=True),
        "no voltmeter, leads unknown": _leads(said=False),
        "no voltmeter, averaging load": _averaging_load,
        "averaging voltmeter": _averaging_meter,
        "slow voltmeter": _slow_meter,
    },
    "ripple": {"load ripple": _ripple},
    **practice.OFF,
    "back": {"soft return": _rises},
    **practice.METER,
}
WEIGHTS = {**practice.WEIGHTS, "delay": 0.3}
