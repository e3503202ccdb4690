"""How a pack stops the current, and how it lets it flow again.

Ranges are common practice, no source (from memory).
"""

from dataclasses import replace

from tests.foreign.bench import log
from tests.foreign.trace import LEAST


def rest(course, low=8.0, high=50.0):
    """Stopped, until it may come back."""
    course.hold(course.rng.uniform(low, high))


def back(course):
    """It comes back the plain way: at once, now and then softly or with a little overshoot."""
    rng = course.rng
    course.close(
        log(rng, LEAST, 2e-3) if rng.random() < 0.6 else log(rng, 2e-3, 0.5),
        overshoot=rng.uniform(0.02, 0.2) if rng.random() < 0.2 else 0.0,
    )


def perhaps_back(course, chance=0.8):
    """Most packs are watched until they are back; some records end before."""
    if course.rng.random() < chance:
        rest(course)
        back(course)


def transistor(course):
    """Off and back within a millisecond."""
    course.asks(course.open(log(course.rng, LEAST, 1e-3)))
    rest(course)
    course.close(log(course.rng, LEAST, 1e-3))


def contactor(course):
    """Springs part the contacts and the arc lasts: 10 to 50 ms; coming back they may bounce a little."""
    rng = course.rng
    course.asks(course.open(rng.uniform(0.01, 0.05), rng.choice(("linear", "s"))))
    rest(course)
    for index in range(rng.randint(0, 2)):
        course.close(LEAST, said=index == 0)
        course.hold(rng.uniform(0.5e-3, 3e-3))
        course.go(0.0, LEAST)
        course.hold(rng.uniform(0.5e-3, 2e-3))
    course.close(LEAST, said=course.changes[-1].what == "opens")


def soft_gate(course):
    """A slow gate: 1 to 50 ms."""
    rng = course.rng
    course.asks(course.open(log(rng, 1e-3, 0.05), rng.choice(("linear", "exponential", "s"))))
    perhaps_back(course)


def slow_fall(course):
    """A soft turn-off that is meant to be one: 0.2 to 2.5 s."""
    rng = course.rng
    course.asks(course.open(rng.uniform(0.2, 2.5), rng.choice(("linear", "exponential", "s"))))
    perhaps_back(course)


def tail(course):
    """Most of the current goes at once, the rest through inductance or into a capacitor over 50 to 400 ms."""
    rng = course.rng
    course.asks(course.open(log(rng, LEAST, 0.01), to=course.full * rng.uniform(0.1, 0.6)))
    course.go(0.0, rng.uniform(0.05, 0.4), "exponential")
    perhaps_back(course)


def tries_again(course):
    """Every 5 to 60 s it tries, finds the fault still there and opens again; at last it stays closed."""
    rng = course.rng
    every, lasts = log(rng, 5.0, 60.0), log(rng, 0.02, 2.0)
    share = 1.0 if rng.random() < 0.6 else rng.uniform(0.05, 0.5)
    course.asks(course.open())
    for _ in range(rng.randint(1, max(1, min(6, int(130 / every) - 1)))):
        course.hold(every * rng.uniform(0.97, 1.03))
        this = lasts * rng.uniform(0.8, 1.2)
        course.say("retries", share, this)
        course.close(min(1e-3, this / 10), share=share, said=False)
        course.hold(this)
        course.block(1.0, course.bench.jump)
        course.go(0.0, 1e-3)
    course.hold(every)
    back(course)


def tries_again_limited(course):
    """As above but always with little current, so that it might be taken for a pre-charge."""
    rng = course.rng
    every, share = rng.uniform(5.0, 30.0), rng.uniform(0.03, 0.25)
    course.asks(course.open())
    for _ in range(rng.randint(1, 3)):
        course.hold(every)
        lasts = rng.uniform(0.1, 2.0)
        course.say("retries", share, lasts)
        course.close(1e-3, share=share, said=False)
        course.hold(lasts)
        course.go(0.0, 1e-3)
    course.hold(every)
    back(course)


def pre_charge(course):
    """It comes back over a limited current of 5 to 20 % for 0.1 to 5 s."""
    rng = course.rng
    course.asks(course.open())
    rest(course)
    share, lasts = rng.uniform(0.05, 0.2), log(rng, 0.1, 5.0)
    course.say("pre-charges", share * course.full, lasts)
    course.close(1e-3, share=share, said=False)
    course.hold(lasts)
    back(course)


def bouncing(course):
    """It comes back in two to five pairs of on and off, 5 to 300 ms each."""
    rng = course.rng
    course.asks(course.open())
    rest(course)
    for index in range(rng.randint(2, 5)):
        course.close(LEAST, said=index == 0)
        course.hold(log(rng, 0.005, 0.3))
        course.block(1.0, course.bench.jump)
        course.go(0.0, LEAST)
        course.hold(log(rng, 0.005, 0.3))
    course.close(LEAST, said=False)
    back = next(index for index, each in enumerate(course.changes) if each.what == "closes")
    course.changes[back] = replace(course.changes[back], lasts=course.t - course.changes[back].t)


def overshoot(course):
    """The supply's current loop was wound up: 20 to 100 % too much for 10 to 500 ms after re-closing."""
    course.asks(course.open())
    rest(course)
    course.close(LEAST, overshoot=course.rng.uniform(0.2, 1.0))


def slow_supply(course):
    """The terminals need 10 to 300 ms to the set voltage; in half of them the shunt sees the capacitor's current."""
    rng, bench = course.rng, course.bench
    bench.jump = log(rng, 0.01, 0.3)
    if rng.random() < 0.5:  # not more than the supply can give into it
        bench.capacitor = min(log(rng, 5e-4, 5e-3), 0.5 * course.full * bench.jump / 3.2)
    bench.voltage.aperture = min(1.0 if bench.current.stamp == 1 else 0.9 * bench.interval, log(rng, 0.02, 1.0))
    course.asks(course.open(log(rng, LEAST, 0.02)))
    rest(course)
    back(course)


def bounces_when_opening(course):
    """Hysteresis too small for the pack's own recovery: off and on a few times within a second, then off."""
    rng = course.rng
    first = course.open()
    for _ in range(rng.randint(1, 3)):
        course.hold(rng.uniform(0.02, 0.3))
        lasts = log(rng, 0.01, 0.2)
        course.say("retries", 1.0, lasts)
        course.close(LEAST, said=False)
        course.hold(lasts)
        course.block(1.0, course.bench.jump)
        course.go(0.0, LEAST)
    course.asks(first)
    perhaps_back(course)


KINDS = {
    "transistor": transistor,
    "contactor": contactor,
    "soft gate": soft_gate,
    "slow fall": slow_fall,
    "tail": tail,
    "bounces when opening": bounces_when_opening,
    "tries again": tries_again,
    "tries again, limited": tries_again_limited,
    "pre-charge": pre_charge,
    "bouncing return": bouncing,
    "overshoot": overshoot,
    "slow supply": slow_supply,
}
