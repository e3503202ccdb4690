"""Departures that any record with a firmware, a path and a meter can have: written into what was drawn for it.

All ranges are common practice, no source (from memory): what packs, meters and supplies are like. What is drawn has ``firmware``,
``path``, ``current``, ``level``, ``interval``, ``late``, ``step``, ``averages_said``, ``delay_said`` and ``polling_said``.
"""

from dataclasses import replace

from tests.foreign.bench import aperture, log
from tests.foreign.firmware import Firmware


def pace(rng, every):
    """(firmware, delay on the sheet): one that looks every so many s by a clock that is right to 3 %, and delays by 1 to 5 s.

    Half of the packs count looks, as many as the sheet's delay has; the others have a timer, right to 10 %.
    """
    clock, counted = rng.uniform(0.97, 1.03), rng.random() < 0.5
    delay = every * max(1, round(rng.choice((1.0, 2.0, 5.0)) / every)) if counted else rng.choice((1.0, 2.0, 5.0))
    own = delay * (clock if counted else rng.uniform(0.9, 1.1))
    return Firmware(every=every * clock, phase=rng.random() * every, delay=own, counted=counted), delay


def both(*changes):
    """One departure made of several."""

    def change(rng, d):
        for each in changes:
            each(rng, d)

    return change


def noise(rng, d):
    """0.02 to 0.3 K of noise in each look, as often in each decade."""
    d.firmware.noise = log(rng, 0.02, 0.3)


def steps(rng, d):
    """Steps of 0.02 to 1 K."""
    d.step = log(rng, 0.02, 1.0)


def mean(rng, d):
    """The mean of 4 to 16 looks."""
    d.firmware.mean = rng.randint(4, 16)


def lag(rng, d):
    """A first-order filter of 1 to 10 s."""
    d.firmware.lag = rng.uniform(1.0, 10.0)


def debounced(forgives=False):
    """Two to five looks in a row; the sheet gives the delay that comes of it, and only that."""

    def change(rng, d):
        firmware = d.firmware
        firmware.counted, firmware.forgives = True, forgives
        firmware.delay, firmware.in_a_row = 0.0, rng.randint(2, 5)
        d.delay_said = round((firmware.in_a_row - 1) * firmware.every, 1)
        firmware.noise = log(rng, 0.02, 0.3)

    return change


def by_time(rng, d):
    """A timer that starts again at a good look, on a noisy pack."""
    d.firmware.counted, d.firmware.noise = False, log(rng, 0.02, 0.3)


def at_looks(rng, d):
    """A timer that is read at the looks only: it takes whole looks whatever it is set to. The sheet has what it is set to."""
    d.delay_said = rng.choice((1.0, 2.0, 5.0))
    d.firmware.counted, d.firmware.delay = True, d.delay_said * rng.uniform(0.9, 1.1)


def looks(low, high, said=True):
    """So many s between looks, kept to 3 %; the sheet says so, or nothing."""

    def change(rng, d):
        every = log(rng, low, high)
        paced, d.delay_said = pace(rng, every)
        d.firmware = replace(d.firmware, every=paced.every, phase=paced.phase, delay=paced.delay, counted=paced.counted)
        d.polling_said = every if said else 0.0

    return change


def soft(rng, d):
    """Transistors that are turned off slowly: 1 to 50 ms."""
    d.path.off, d.path.off_time = "linear", log(rng, 0.001, 0.05)


def contactor(rng, d):
    """10 to 50 ms until its armature moves, and bounces of 1 to 10 ms."""
    d.path.dead, d.path.bounces, d.path.bounce = rng.uniform(0.01, 0.05), rng.randint(1, 5), log(rng, 0.001, 0.01)


def tail(rng, d):
    """A current that dies away with a time constant of 30 to 240 ms."""
    d.path.off, d.path.off_time = "tail", 3 * log(rng, 0.05, 0.4)


def slow_off(rng, d):
    """A current that is turned down over 1 to 2.5 s."""
    d.path.off, d.path.off_time = "linear", rng.uniform(1.0, 2.5)


def keeps_alive(rng, d):
    """50 to 500 mA stay."""
    d.path.left = log(rng, 0.05, min(0.5, 0.1 * d.level))


def pre_charge(rng, d):
    """5 to 20 % for 0.1 to 5 s before the path closes fully."""
    d.path.pre_charge = (rng.uniform(0.05, 0.2), log(rng, 0.1, 5.0))


def bounces(rng, d):
    """A return with two to eight pauses of 5 to 200 ms."""
    d.path.bounces, d.path.bounce = rng.randint(2, 8), log(rng, 0.005, 0.2)


def derates(rng, d):
    """Three quarters, a half or a quarter of the current before it stops."""
    d.path.derates = rng.choice((0.5, 0.25, 0.75))


def settles(rng, d):
    """A supply that takes 10 to 500 ms to come back to its current."""
    d.path.settling = log(rng, 0.01, 0.5)


def averages(said):
    """A meter that shows the mean of the last 20 ms to 1 s; the bench file says so, or nothing."""

    def change(rng, d):
        d.current.aperture = aperture(rng) or 0.02
        d.averages_said = d.current.aperture if said else 0.0

    return change


def renewed(rng, d):
    """A new reading every 20 ms to 0.5 s, on the meter's own clock."""
    d.current.renewal, d.current.phase = log(rng, 0.02, 0.5), rng.random()
    d.current.aperture = min(d.current.renewal, 0.2) * rng.random()


def coarse(rng, d):
    """A display of 10 to 100 mA steps, and as much noise."""
    d.current.resolution, d.current.noise = rng.choice((0.01, 0.05, 0.1)), rng.uniform(0.005, 0.05)


def late(rng, d):
    """0 to 0.2 s and some tens of ms more until the run stamps a reading."""
    d.late = (rng.uniform(0.0, 0.2), log(rng, 0.01, 0.1))


def polled(every):
    """One interval of polling."""

    def change(_rng, d):
        d.interval, d.probe_every = every, max(0.5, every)

    return change


PACK = {  # groups: departures that exclude each other, by name
    "looks": {
        "fast looks": looks(0.1, 0.5),
        "slow looks": looks(2.0, 4.0),
        "looks not on the sheet": looks(0.1, 4.0, said=False),
    },
    "pack": {"pack's noise": noise, "pack's steps": steps, "pack's noise and steps": both(noise, steps)},
    "filter": {"mean of looks": mean, "first-order filter": lag, "noise and mean of looks": both(noise, mean)},
    "debounce": {
        "looks in a row": debounced(),
        "a look takes one off": debounced(forgives=True),
        "debounce by time": by_time,
        "timer read at looks": at_looks,
    },
}
OFF = {
    "off": {"soft gate": soft, "contactor": contactor, "current's tail": tail, "slow turn-off": slow_off},
}
BACK = {
    "back": {"pre-charge on return": pre_charge, "bouncing return": bounces},
    "supply": {"supply settles": settles},
}
METER = {
    "meter": {
        "averaging meter": averages(said=False),
        "averaging meter, said": averages(said=True),
        "reading renewed slowly": renewed,
        "coarse meter": coarse,
    },
    "stamps": {"late stamps": late},
    "polling": {"polled every 0.1 s": polled(0.1), "polled every 1 s": polled(1.0)},
}
WEIGHTS = {
    "off": 0.4,
    "left": 0.3,
    "polling": 2 / 3,
}  # chance to depart in "everything together", where it is not one half
