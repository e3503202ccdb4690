"""A decade box in the place of a pack's sensor: a staircase past the trip, one past the release, then one large step each way.

The truth. Trip and release: the temperature, by the sensor's curve, of the resistance at which the firmware's comparison turns without
noise. Delay: from the first look that sees the large step until the current begins to fall, without noise; so it holds the
firmware's filter, debounce, timer or counted looks and a contactor's armature, as the operate time of a protection does (IEC
60255-151), but for the wait for that look, which is chance and is declared apart as the polling. How long the current then takes to
fall is no part of it.
"""

from random import Random

import numpy as np

from tests.foreign.box.drawn import GROUPS, WEIGHTS, plain
from tests.foreign.firmware import ZERO, Converter, thermistor
from tests.foreign.paths import Current
from tests.foreign.supply import SET_VOLTAGE, supply_readings
from tests.foreign.trial import Step, Trial, changed, names

WORLD = "box"
FAR, BEFORE, BEYOND, STEP = 10.0, 3.0, 8.0, 0.5  # K: the large step, the staircase


def departures():
    """Their names, plain first."""
    return names(GROUPS)


class _Pack:
    """The pack looks at a box that is set now and then."""

    def __init__(self, draw, d):
        self.draw, self.d = draw, d
        self.converter = Converter(draw, d.step, d.trip, 35.0, *thermistor(d.beta, d.resistor))
        self.set_t, self.set_to = [0.0], [25.0]

    def really(self, said):
        """The temperature that the sensor's curve has for what the box really is at this setting, °C."""
        ohms = 1e4 * np.exp(self.d.beta * (1 / (said + ZERO) - 1 / 298.15)) * (1 + self.d.box_error)
        return float(1 / (np.log(ohms / 1e4) / self.d.beta + 1 / 298.15) - ZERO)

    def set(self, t, said):
        """The box is set to what is said to be this temperature."""
        self.set_t.append(t)
        self.set_to.append(self.really(said))

    def forget(self, t):
        """What would have been set later than this was not."""
        kept = np.searchsorted(self.set_t, t)
        del self.set_t[kept:], self.set_to[kept:]

    def seen(self, looks):
        """What it is at the times of the looks."""
        return np.array(self.set_to)[np.searchsorted(self.set_t, looks, side="right") - 1]

    def acts(self, begin, end, limit, rising):
        """When it acts on what it sees from ``begin`` to ``end``, None if it does not."""
        firmware = self.d.firmware
        warm_up = firmware.every * (firmware.mean + 2) + 6 * firmware.lag
        looks = firmware.looks(begin - warm_up, end)
        codes = self.converter.codes(self.seen(looks) + firmware.noise * self.draw.standard_normal(len(looks)))
        compared = firmware.filtered(codes)
        past = compared >= limit - 0.5 if rising else compared < limit - 0.5
        return firmware.acts(looks, past & (looks >= begin))

    def delay(self, before, after, limit, rising):
        """s from the first look that sees the step to the act, without noise."""
        firmware = self.d.firmware
        looks = firmware.every * np.arange(-20.0, 400.0)
        codes = self.converter.codes(np.where(looks < 0, self.really(before), self.really(after)))
        compared = firmware.filtered(codes)
        past = compared >= limit - 0.5 if rising else compared < limit - 0.5
        return firmware.acts(looks, past) + 0.0


def trial(seed, departure):
    """The record of this number with this departure."""
    rng = Random(f"box {seed} {departure}")
    draw = np.random.default_rng(rng.getrandbits(64))
    d = changed(rng, plain(rng), GROUPS, departure, WEIGHTS)
    pack = _Pack(draw, d)
    sign = 1.0 if d.hot else -1.0
    trip, release = (pack.converter.limit(value) for value in (d.trip + d.trip_off, d.release + d.release_off))
    on_at = 5.0
    current = Current(d.path, d.level, 0.0)
    current.on(on_at)
    t, steps, last = on_at + 60.0, [], 25.0
    stairs = int((BEFORE + BEYOND) / STEP) + 1
    courses = (
        (True, [d.trip + sign * (STEP * n - BEFORE) for n in range(stairs)]),
        (False, [d.release - sign * (STEP * n - BEFORE) for n in range(stairs)]),
        (True, [d.trip + sign * FAR]),
        (False, [d.release - sign * FAR]),
    )
    for opens, levels in courses:
        limit, rising = (trip if opens else release)[0], (sign > 0) == opens
        if levels[1:] == [] and opens:
            delay = pack.delay(last, levels[0], limit, rising) + d.path.dead
        step = _course(rng, pack, t, levels, limit, rising, opens)
        (current.opens if opens else current.closes)(step.acted)
        last, t = step.levels[-1][0], step.ended
        steps.append(step)
    channels, modes = supply_readings(draw, d, current.until(t + 30.0), on_at, t + 25.0)
    truth = {
        "trip": trip[1],
        "release": release[1],
        "hysteresis": abs(trip[1] - release[1]),
        "delay": delay,
    }
    along = {"trip": sign, "release": -sign}
    return Trial(
        WORLD,
        departure,
        seed,
        channels,
        tuple(steps),
        _declared(d),
        truth,
        d,
        d.interval,
        on_at,
        d.level,
        modes,
        along=along,
    )


def _course(rng, pack, begin, levels, limit, rising, opens):
    """The hand sets one level after the other until the pack has acted."""
    d, t, keys = pack.d, begin, []
    dwell = d.delay_said + 3 * d.polling_said + 2.0 if levels[1:] else 10 * d.delay_said + 60.0
    for level in levels:
        t += rng.uniform(2.0, 6.0)  # the hand turns the dials
        pack.set(t, level)
        key = t + rng.gauss(*d.key) + (1.0 if rng.random() < d.forgets else 0.0)
        keys.append((t, level, key))
        t = max(t, key) + dwell
    acted = pack.acts(begin, t + 60.0, limit, rising)
    if acted is None:
        raise AssertionError("the pack did not act on the box")
    noticed = acted + 1.0
    pack.forget(noticed)
    held = tuple((level, key) for t, level, key in keys if t < noticed)
    return Step("box", begin, acted, opens, levels=held, ended=max(acted + 8.0, held[-1][1] + 2.0))


def _declared(d):
    """What the pack's sheet and the bench file say. Temperatures in °C, times in s, ``box`` ± of its resistance as a share."""
    kind = ("over" if d.hot else "under") + "_temperature"
    return {
        "protection": f"charge_{kind}",
        "trip": d.trip,
        "release": d.release,
        "tolerance": 2.0,
        "delay": d.delay_said,
        "polling": d.polling_said,
        "box": d.box_said,
        "beta": d.beta,
        "key": d.key_said,
        "averages": d.averages_said,
        "set_voltage": SET_VOLTAGE,
        "set_current": d.level,
        "smallest_current": 3 * d.current.noise + 2 * d.current.resolution,
    }
