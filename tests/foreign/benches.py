"""What is no protection: nothing, bad samples, leads, and the supply itself.

Ranges are common practice, no source (from memory).
"""

import math

import numpy as np

from tests.foreign.bench import log
from tests.foreign.trace import LEAST


def nothing(course):
    """Steady, or a slow drift of up to 3 % either way, or a slow swing."""
    rng = course.rng
    lasts = rng.uniform(30.0, 150.0)
    x = np.linspace(0.0, 1.0, 40)[1:]
    drift, swing = rng.choice((0.0, rng.uniform(-0.03, 0.03))), rng.choice((0.0, rng.uniform(0.0, 0.01)))
    wave = swing * np.sin(2 * math.pi * x * lasts / rng.uniform(20.0, 120.0))
    course.put(course.t + x * lasts, course.full * (1 + drift * x + wave))


def bad_samples(course):
    """Nothing happens, and some samples are zero, not a number or missing; which, the instruments draw."""
    course.hold(course.rng.uniform(20.0, 120.0))


def lead_off(course):
    """A clamp slips off, perhaps after a flicker or two; the supply stands at its set voltage, the pack by itself."""
    rng, bench = course.rng, course.bench
    change = course.say("lead off")  # from the first loss on it is no connection
    for _ in range(rng.randint(0, 2)):
        began = course.t
        course.block(1.0, bench.jump)
        course.go(0.0, LEAST)
        course.hold(log(rng, 5e-3, 0.05))
        course.parted.append((began, course.t))
        course.close(LEAST, said=False)
        course.hold(log(rng, 5e-3, 0.2))
    # only a meter where the supply feeds in shows that its voltage no longer reaches the pack
    told = bench.meter is not None and bench.meter_at == "terminals"
    course.asks(change, *([] if told else ["opens"]))
    course.parted.append((course.t, math.inf))
    course.block(1.0, bench.jump)
    course.go(0.0, LEAST)


def supply_trips(course):
    """Its own protection: output off. Its reading goes to zero or stays with the pack behind it."""
    rng = course.rng
    course.asks(course.say("supply trips"))
    course.off_at = course.t
    if rng.random() < 0.5:
        course.bus = 0.0
        course.block(1.0, log(rng, 0.02, 0.5))
    course.go(0.0, log(rng, LEAST, 0.05))


def hiccup(course):
    """The supply gives nothing for less than 0.3 s and goes on; no change of the pack."""
    rng = course.rng
    if rng.random() < 0.5:  # some fall below the pack, behind a diode of their own
        course.bus = rng.uniform(5.0, 24.0)
    for _ in range(rng.randint(1, 3)):
        if course.bus < course.bench.set_voltage:
            course.block(1.0, 0.01)
        course.go(0.0, log(rng, LEAST, 0.01))
        course.hold(rng.uniform(0.02, 0.27))
        course.block(0.0, 0.01)
        course.go(course.full, log(rng, 1e-3, 0.02))
        course.hold(rng.uniform(5.0, 40.0))


KINDS = {
    "nothing": nothing,
    "bad samples": bad_samples,
    "lead off": lead_off,
    "supply trips": supply_trips,
    "hiccup": hiccup,
}
