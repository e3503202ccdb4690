"""What lets less through than asked for: a current kept alive, derating, chopping.

Ranges are common practice, no source (from memory).
"""

import numpy as np

from tests.foreign.bench import log
from tests.foreign.course import Change
from tests.foreign.stops import perhaps_back
from tests.foreign.trace import LEAST


def _keep(course, amps):
    """It opens but for so much."""
    change = course.open(log(course.rng, LEAST, 0.02), to=amps, what="keeps alive", level=amps)
    share = amps / course.full
    # so large a rest is as well a pack that goes on charging slowly; 1.5 %: nobody derates to so little
    course.asks(change, *(["derates"] if share >= 0.015 else []))
    perhaps_back(course)


def keep_alive_small(course):
    """1 to 20 mA for the circuit itself."""
    _keep(course, min(log(course.rng, 1e-3, 20e-3), 0.1 * course.full))


def keep_alive_large(course):
    """50 to 500 mA through a resistor past the path."""
    _keep(course, min(log(course.rng, 0.05, 0.5), 0.4 * course.full))


def keep_alive_at_one_ampere(course):
    """60 mA left of a charge of 1 A: more than any reading's noise, and still not a charge."""
    _keep(course, 0.06 if course.rng.random() < 0.5 else course.rng.uniform(0.04, 0.08))


def derate(course, share, seconds=None, hears=True):
    """Less from now on. ``hears``: the supply is asked and gives less; else the pack limits and the supply stands at its
    set voltage."""
    rng = course.rng
    seconds = log(rng, 1e-3, 1.5) if seconds is None else seconds
    change = course.say("derates", share, seconds)
    if not hears:
        course.block(1.0, max(course.bench.jump, seconds))
    course.go(course.full * share, seconds, rng.choice(("linear", "exponential", "s")))
    return change


def asks_less_then_stops(course):
    """50 %; 8 %; 75, 50, 25 %; or a slope: then it opens."""
    rng = course.rng
    hears = rng.random() < 0.5
    how = rng.choice(((0.5,), (0.08,), (0.75, 0.5, 0.25), "slope"))
    others = []
    if how == "slope":
        to, seconds = rng.uniform(0.05, 0.4), rng.uniform(4.0, 40.0)
        derate(course, to, seconds, hears)
        course.hold(rng.uniform(0.0, 8.0))
        # cells of little resistance fill as fast (the reference cell of tests/outside: 3.5 % a second, then 1.9 %)
        others = ["full"] if not hears and -np.log(to) / seconds < 0.09 else []
    else:
        for share in how:
            derate(course, share, None, hears)
            course.hold(rng.uniform(2.0, 20.0))
    course.asks(course.open(log(rng, LEAST, 0.05)), *others)
    perhaps_back(course)


def _could_be_keep_alive(course, share):
    """A rest of 500 mA or less and an eighth or less may as well be what a pack keeps for itself or pre-charges with."""
    return ["keeps alive"] if share <= 0.125 and share * course.full <= 0.6 else []


def derates_and_stays(course):
    """To 60, 30, 8 or 3 %, and goes on so."""
    share = course.rng.choice((0.6, 0.3, 0.08, 0.03))
    change = derate(course, share, hears=course.rng.random() < 0.5)
    course.asks(change, *_could_be_keep_alive(course, share))
    course.hold(course.rng.uniform(5.0, 40.0))


def derates_and_recovers(course):
    """Down by steps, up again by steps or at once."""
    rng = course.rng
    hears = rng.random() < 0.5
    down = rng.choice(((0.5,), (0.75, 0.5), (0.75, 0.5, 0.25), (0.6, 0.3)))
    first = derate(course, down[0], hears=hears)
    for share in down[1:]:
        course.hold(rng.uniform(3.0, 15.0))
        derate(course, share, hears=hears)
    course.asks(first)
    course.hold(rng.uniform(5.0, 30.0))
    for share in reversed(down[:-1]) if rng.random() < 0.6 else ():
        derate(course, share, hears=hears)
        course.hold(rng.uniform(3.0, 15.0))
    course.say("closes")
    if not hears:
        course.block(0.0, 0.01)
    course.go(course.full, log(rng, 1e-3, 1.0))


def _as_seen(course, hertz, duty):
    """What chopping looks like too, with these instruments."""
    reading = course.bench.current
    period, every = 1 / hertz, max(course.bench.interval, reading.renewal)  # no sooner is there anything new
    if duty * course.full <= 0.6 and reading.aperture > 0.5 * period:  # little, and it hardly moves
        return ["derates", "keeps alive", "retries"]
    if reading.aperture >= 2 * period:  # the mean of whole periods is all that is shown
        return ["derates"]
    # each pause may be a stop of its own, too few samples say, or a pulse may fall between two
    missed = duty * period + reading.aperture < 1.2 * every
    if hertz <= 2 or every > 0.5 * period or missed:
        return ["retries", "opens", "derates"] if reading.aperture > 0.3 * period else ["retries", "opens"]
    return ["derates"] if reading.aperture > 0.5 * period else []


def chops(course):
    """The current in pieces, 0.5 to 50 a second, 10 to 90 % of the time: it stops, stays so or is whole again."""
    rng, bench = course.rng, course.bench
    hertz, duty = log(rng, 0.5, 50.0), rng.uniform(0.1, 0.9)
    lasts = min(rng.uniform(8.0, 40.0), 800 / hertz)
    n = max(2, int(lasts * hertz))
    start = course.t
    course.asks(course.say("chops", duty, n / hertz), *_as_seen(course, hertz, duty))
    offs = start + np.arange(n) / hertz  # each period begins with its pause
    ons = offs + (1 - duty) / hertz
    edges = np.stack((offs + LEAST, offs + 2 * LEAST, ons, ons + LEAST), axis=1)
    course.put(edges.ravel(), np.tile((course.full, 0.0, 0.0, course.full), n))
    pause = (1 - duty) / hertz
    reached, arrives = min(1.0, pause / bench.jump), min(0.999 * pause, bench.jump)
    course.block_t.extend(np.stack((offs + 0.5 * LEAST, offs + arrives, ons, ons + LEAST), axis=1).ravel().tolist())
    course.blocks.extend((0.0, reached, reached, 0.0) * n)
    course.hold(duty / hertz)
    if rng.random() < 0.5:
        course.open()
        perhaps_back(course)
    else:  # whole again: the last rise was the return
        course.changes.append(Change(float(ons[-1]), "closes"))


KINDS = {
    "keep-alive, small": keep_alive_small,
    "keep-alive, large": keep_alive_large,
    "keep-alive at 1 A": keep_alive_at_one_ampere,
    "asks for less, then stops": asks_less_then_stops,
    "derates and stays": derates_and_stays,
    "derates and recovers": derates_and_recovers,
    "chops": chops,
}
