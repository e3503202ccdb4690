"""The end of a charge: tapering, balancing, a full cell; and what only looks like one.

Ranges are common practice, no source (from memory).
"""

import numpy as np

from tests.foreign.bench import CELLS, log
from tests.foreign.stops import perhaps_back


def _taper(course, longest=220.0, end_share=None):
    """At the set voltage from now on: the current falls exponentially, to ``end_share`` or for ``longest`` seconds."""
    rng = course.rng
    tau = log(rng, 100.0, 3600.0) if end_share is None else log(rng, 100.0, 150.0)
    lasts = rng.uniform(0.5, 1.0) * longest if end_share is None else -tau * np.log(end_share)
    lasts = float(min(lasts, -tau * np.log(0.02)))
    course.block(1.0, 1.0, at=course.t - 1.0)  # the voltage has crept up to it before
    change = course.say("tapers", None, lasts)
    start = course.t
    x = np.linspace(0.0, 1.0, 80)[1:]
    course.put(start + x * lasts, course.full * np.exp(-x * lasts / tau))
    course.cv = (start, course.t)
    return change


def tapers(course):
    """Constant voltage to the end current or as long as anybody watches."""
    ended = course.rng.random() < 0.4
    course.asks(_taper(course, end_share=course.rng.uniform(0.03, 0.1) if ended else None))
    course.cv = (course.cv[0], np.inf)


def tapers_until_full(course):
    """The taper, and at its end the highest cell: the pack's own stop."""
    rng = course.rng
    if rng.random() < 0.5:
        _taper(course, end_share=rng.uniform(0.03, 0.15))
    else:
        _taper(course, longest=120.0)
    # nothing outside a pack tells a full cell from a hot one at this place
    course.asks(course.open(log(rng, 1e-4, 0.05), what="full"), "opens")


def balances(course):
    """On the taper the pack bleeds its high cells: 30 to 200 mA more for 1 to 10 s, again and again."""
    rng = course.rng
    course.asks(_taper(course, longest=160.0))
    times, amps = np.array(course.times), np.array(course.amps)
    begin, end = course.cv
    more, on, off = log(rng, 0.03, 0.2), rng.uniform(1.0, 10.0), rng.uniform(1.0, 10.0)
    ons = begin + 5.0 + np.arange(int((end - begin - 6.0) / (on + off))) * (on + off)
    edges = np.stack((ons, ons + 1e-3, ons + on, ons + on + 1e-3), axis=1).ravel()
    order = np.sort(np.concatenate((times, edges)))
    pulses = np.interp(order, edges, np.tile((0.0, more, more, 0.0), len(ons)), left=0.0, right=0.0)
    course.amps = (np.interp(order, times, amps) + pulses).tolist()
    course.times = order.tolist()
    course.cv = (begin, np.inf)


def _climbs(course, volts):
    """The voltage bends upwards to its end, which is now."""
    course.climb = (volts, course.t, log(course.rng, 8.0, 40.0))


def full(course):
    """Constant current, cells that climb, and the highest opens: all together, or a single one on the plateau or a hump."""
    rng, bench = course.rng, course.bench
    course.hold(rng.uniform(10.0, 60.0))
    highest = bench.set_voltage - 0.05 - bench.rest - 1.5
    if rng.random() < 0.5:
        _climbs(course, max(0.35, rng.uniform(0.5, 1.0) * highest))
    else:  # one cell goes from 3.35 to 3.6 V, the others know nothing of it
        _climbs(course, rng.uniform(0.22, 0.32))
        if rng.random() < 0.5:
            course.hump = (CELLS * rng.uniform(3e-3, 15e-3), course.t - rng.uniform(0.0, 30.0), rng.uniform(15.0, 40.0))
    course.asks(course.open(log(rng, 1e-4, 0.05), what="full"), "opens")
    perhaps_back(course, 0.3)


def hot_near_full(course):
    """The same climb, and the temperature opens: from outside nobody can tell."""
    rng = course.rng
    course.hold(rng.uniform(10.0, 60.0))
    _climbs(course, rng.uniform(0.25, 0.9))
    course.asks(course.open(log(rng, 1e-4, 0.05)), "full")
    perhaps_back(course, 0.5)


def hot_on_a_hump(course):
    """The hump in the middle of the plateau, where the anode changes its stage, is no end of charge."""
    rng = course.rng
    course.hold(rng.uniform(10.0, 60.0))
    volts, width = CELLS * rng.uniform(3e-3, 20e-3), rng.uniform(15.0, 60.0)
    course.hump = (volts, course.t - rng.uniform(-10.0, 20.0), width)
    steepest = volts / width / 4  # V/s, of the logistic curve
    # a single cell near its end climbs by 0.7 mV/s at a tenth of its capacity an hour (200 mV/min at half of it: the reference
    # cell of tests/outside), less before its end: so steep a hump may be one
    course.asks(course.open(log(rng, 1e-4, 0.05)), *(["full"] if steepest > 3e-4 else []))
    perhaps_back(course)


KINDS = {
    "tapers": tapers,
    "tapers until full": tapers_until_full,
    "balances": balances,
    "full": full,
    "hot near full": hot_near_full,
    "hot on a hump": hot_on_a_hump,
}
