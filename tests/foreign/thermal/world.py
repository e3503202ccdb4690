"""Temperature trips and releases of a pack that nobody here wrote a method for.

The truth. A trip's threshold is the temperature of the pack's own sensor at which the comparison of its firmware turns when nothing is
noisy and nothing moves: the edge of the converter's code at which "past the limit" begins. Looks, filters, debounce and delays are
no part of it, nor what noise does to the first look that is past the limit. The release's likewise, and the hysteresis is the distance
of the two. The error of the pack's sensor is inside the threshold: it is what the pack takes for its limit.

The physics. A hand takes a place from ambient towards the limit. Sensor: two first-order lags behind the place. Probe: one lag
behind the place and what couples it to the sensor: a common part, a share of T − ambient, a part by direction, self-heating.
Drafts reach the probe fully and the taped sensor in part.
"""

from dataclasses import replace
from random import Random

import numpy as np

from runner.events import PROBE_TEMPERATURE, channel_named
from tests.foreign.firmware import Converter, thermistor
from tests.foreign.instruments import asked, ends_of, shown
from tests.foreign.paths import Current
from tests.foreign.supply import SET_VOLTAGE, supply_readings
from tests.foreign.thermal.departures import GROUPS, WEIGHTS
from tests.foreign.thermal.drawn import plain
from tests.foreign.thermal.heat import GRID, Disturbances, lagged, leg
from tests.foreign.trace import Trace
from tests.foreign.trial import Step, Trial, changed, names

WORLD = "temperature"
APPROACH = 5.0  # K before the sheet's limit, where the ramp itself begins
GIVE_UP = 14.0  # K beyond it
SECOND = channel_named(PROBE_TEMPERATURE, "second")


def departures():
    """Their names, plain first."""
    return names(GROUPS)


class _Thermal:
    """The temperatures on a grid, leg by leg: place, sensor and probe."""

    def __init__(self, draw, drawn):
        self.drawn, self.disturbances = drawn, Disturbances(draw, drawn.hand)
        self.t, self.at_place = 0.0, drawn.trip - self.sign * 12.0
        self.states = None
        self.times, self.probe, self.second, self.sensor = [], [], [], []

    @property
    def sign(self):
        """+1 where the pack trips hot."""
        return 1.0 if self.drawn.hot else -1.0

    def try_leg(self, approach, rate, fast, carry, pause, until):
        """The whole leg as if nobody reacted: (times, hand's course, sensor, ramp index), and how to keep a part of it."""
        d, direction = self.drawn, np.sign(rate)
        even, ramp = leg(self.at_place, approach, rate, fast, d.hand, carry, pause, until)
        t = self.t + GRID * np.arange(len(even))
        drafts = self.disturbances.drafts(t, np.sign(d.ambient - d.trip))
        place = even + self.disturbances.place(t, direction)
        felt = place + d.hand.draft_share * drafts
        if self.states is None:
            self.states = [felt[0], felt[0], place[0], place[0]]
        once = lagged(felt, d.sensor_lags[0], self.states[0])
        sensor = lagged(once, d.sensor_lags[1], self.states[1])
        share, by_direction = d.share * (place - d.ambient), direction * d.by_direction
        coupling = d.common + d.self_heating + share + by_direction
        probe = lagged(place + drafts + coupling, d.probe_lag, self.states[2])
        second = probe
        if (other := d.second) is not None:
            off = other.common + d.self_heating + other.share * share + other.by_direction * by_direction
            second = lagged(place + drafts + off, other.lag, self.states[3])
        return t, even, sensor, ramp, (once, probe, second)

    def keep(self, count, t, even, sensor, more):
        """The first ``count`` points of a leg were what happened."""
        once, probe, second = more
        self.times.append(t[:count])
        self.probe.append(probe[:count])
        self.second.append(second[:count])
        self.sensor.append(sensor[:count])
        self.t, self.at_place = float(t[count]), float(even[count])
        self.states = [once[count], sensor[count], probe[count], second[count]]


def trial(seed, departure):
    """The record of this number with this departure."""
    rng = Random(f"temperature {seed} {departure}")
    draw = np.random.default_rng(rng.getrandbits(64))
    d = changed(rng, plain(rng), GROUPS, departure, WEIGHTS)
    converter = Converter(draw, d.step, d.trip, 25.0, *thermistor(d.beta, d.resistor))
    limits = [converter.limit(value) for value in (d.trip + d.trip_off, d.release + d.release_off)]
    thermal = _Thermal(draw, d)
    on_at = 5.0
    current = Current(d.path, d.level, 0.0)
    current.on(on_at)
    thermal.t = on_at + rng.uniform(35.0, 60.0)
    steps, carry = [], 0.0
    for cycle, per_minute in enumerate(d.rates, start=1):
        for opens in (True, False):
            nominal, limit = (d.trip, limits[0]) if opens else (d.release, limits[1])
            sign = thermal.sign if opens else -thermal.sign
            step, derated, carry = _one_way(
                rng, draw, thermal, converter, d, nominal, limit, sign, per_minute / 60, carry
            )
            steps.append(replace(step, opens=opens, cycle=cycle, rate=sign * round(per_minute * 2) / 120))
            if opens and derated is not None:
                current.less(derated, d.path.derates)
            (current.opens if opens else current.closes)(step.acted)
    end = thermal.t + 20.0
    channels, modes = _read(draw, d, thermal, current.until(end + 2.0), on_at, end)
    truth = {"trip": limits[0][1], "release": limits[1][1], "hysteresis": abs(limits[0][1] - limits[1][1])}
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
        {"sensor": Trace(np.concatenate(thermal.times), np.concatenate(thermal.sensor))},
        {"trip": thermal.sign, "release": -thermal.sign},
    )


def _one_way(rng, draw, thermal, converter, d, nominal, limit, sign, rate, carry):
    """(step, when the pack asks for less, what the place carries on by): one leg until the pack has acted."""
    began = thermal.t
    fast = max(3 * rate, 5.0 / 60)
    pause, until = rng.uniform(0.0, 15.0), nominal + sign * GIVE_UP
    t, even, sensor, ramp, more = thermal.try_leg(nominal - sign * APPROACH, sign * rate, fast, carry, pause, until)
    looks = d.firmware.looks(float(t[0]), float(t[-1]))
    seen = np.interp(looks, t, sensor)
    codes = converter.codes(seen + d.firmware.noise * draw.standard_normal(len(looks)))
    compared = d.firmware.filtered(codes)
    rising = sign > 0
    past = compared >= limit[0] - 0.5 if rising else compared < limit[0] - 0.5
    acted = d.firmware.acts(looks, past)
    if acted is None:
        raise AssertionError(f"the pack did not act before {until:.1f} °C")
    reaction = rng.uniform(1.0, 3.0) + d.interval
    count = min(int((acted + reaction - t[0]) / GRID) + 2, len(t) - 1)
    thermal.keep(count, t, even, sensor, more)
    ramp_began = float(t[ramp]) if t[ramp] < acted else None
    crossed = _first(t, sign * (sensor - limit[1]))
    kind = "heat" if rising else "cool"
    step = Step(kind, began, acted, True, ramp_began=ramp_began, ended=thermal.t, crossed=crossed)
    less = _first(t, sign * (sensor - limit[1]) + d.path.derates_before) if d.path.derates else None
    kept = d.hand.overshoot * min(1.0, rate * 60 / 3)
    return step, less if less is not None and less < acted - 20.0 else None, kept


def _first(t, beyond):
    """The first time at which this is above nothing, between the points of the grid; None if it never is."""
    above = np.flatnonzero(beyond > 0)
    if not len(above) or above[0] == 0:
        return None
    k = above[0]
    return float(t[k] - GRID * beyond[k] / (beyond[k] - beyond[k - 1]))


def _read(draw, d, thermal, trace, on_at, end):
    """(channels, modes): what the instruments say, with the times that the run gives to it."""
    channels, modes = supply_readings(draw, d, trace, on_at, end)
    course = Trace(np.concatenate(thermal.times), np.concatenate(thermal.probe))
    t, at = asked(draw, d.probe_every, float(course.t[0]) + 1.5, float(course.t[-1]), d.late)
    degrees = shown(draw, d.probe, course, ends_of(d.probe, t)) + d.calibration_error
    channels |= {PROBE_TEMPERATURE: (at, degrees)}
    if d.second is not None:
        course = Trace(np.concatenate(thermal.times), np.concatenate(thermal.second))
        t, at = asked(draw, d.probe_every, float(course.t[0]) + 1.5, float(course.t[-1]), d.late)
        channels |= {SECOND: (at, shown(draw, d.probe, course, ends_of(d.probe, t)) + d.second.calibration_error)}
    return channels, modes


def _declared(d):
    """What the pack's sheet and the bench file say. Temperatures in °C, u in K, times in s."""
    kind = ("over" if d.hot else "under") + "_temperature"
    return {
        "protection": f"charge_{kind}",
        "trip": d.trip,
        "release": d.release,
        "tolerance": 2.0,
        "delay": d.delay_said,
        "polling": d.polling_said,
        "calibration": d.calibration,
        "resolution": d.probe.resolution,
        "coupling": d.coupling,
        "probe_lag": d.probe_says,
        "sensor_lag": d.sensor_says,
        "averages": d.averages_said,
        "set_voltage": SET_VOLTAGE,
        "set_current": d.level,
        "smallest_current": 3 * d.current.noise + 2 * d.current.resolution,
        "ambient": round(d.ambient, 1),
        "second": None if d.second is None else (SECOND, d.second.calibration, d.second.coupling),
    }
