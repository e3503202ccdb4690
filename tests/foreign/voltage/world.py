"""An under-voltage cut-off under load and the pack's own release at rest.

The truth. Trip: the voltage at the pack's terminals under this load, without ripple, at the instant at which the lowest-seen cell,
without noise, ripple and filter, passes its limit (the edge of the converter's code at which "below" begins); likewise the release at
rest, when the last cell is above its own. The leads to the load, and what happens between that instant and the act (looks, filter,
debounce, delay), are no part of either. Recovery time: from when the pack begins to open its path to when it begins to close it.
"""

from random import Random

import numpy as np

from runner.events import LOAD_CURRENT, LOAD_VOLTAGE, METER_VOLTAGE
from tests.foreign.firmware import Converter
from tests.foreign.instruments import asked, ends_of, shown
from tests.foreign.paths import Current
from tests.foreign.trace import LEAST, Trace
from tests.foreign.trial import Step, Trial, changed, names
from tests.foreign.voltage.cells import GRID
from tests.foreign.voltage.drawn import COUNT, GROUPS, WEIGHTS, plain

WORLD = "under-voltage"
LONGEST = 2500.0  # s of rest
OFF_AFTER = 6.0  # s from the act until the run has switched the load off
NOMINAL = 25.6


def departures():
    """Their names, plain first."""
    return names(GROUPS)


def _same(value):
    return value


class Impossible(Exception):
    """What was drawn begins past its limit, or never comes to it."""


class _Pack:
    """Eight cells, each with its own converter, and a firmware that acts on the lowest."""

    def __init__(self, rng, draw, d):
        self.rng, self.draw, self.d = rng, draw, d
        self.converters = [Converter(draw, d.step, d.trip / COUNT, 0.5, _same, _same) for _ in range(COUNT)]

    def limits(self, volts):
        """Each cell's (code, V)."""
        return [each.limit(volts) for each in self.converters]

    def crossing(self, t, volts, limits, below):
        """When the comparison turns without noise: the first cell below its limit, or the last one above."""
        sign = -1.0 if below else 1.0
        times = []
        for row, (_, limit) in zip(volts, limits, strict=True):
            beyond = sign * (row - limit) > 0
            k = int(np.argmax(beyond))
            if k == 0:
                raise Impossible("a cell is beyond its limit from the beginning, or never")
            times.append(t[k - 1] + GRID * (row[k - 1] - limit) / (row[k - 1] - row[k]))
        return float(min(times) if below else max(times))

    def acts(self, t, volts, limits, below, around):
        """When the firmware acts; it is asked from some time before ``around`` on."""
        d, firmware = self.d, self.d.firmware
        doubt = 40.0 if below else min(around - t[0], 400.0)
        looks = firmware.looks(max(float(t[0]), around - doubt), float(t[-1]))
        looks = looks[looks <= around + 120.0 + 300.0 * (not below)]
        wave = ripple(d.ripple, looks, 0.0) / COUNT if below else 0.0
        past = np.zeros(len(looks), bool) if below else np.ones(len(looks), bool)
        for row, converter, (code, _) in zip(volts, self.converters, limits, strict=True):
            seen = np.interp(looks, t, row) + wave + firmware.noise * self.draw.standard_normal(len(looks))
            compared = firmware.filtered(converter.codes(seen))
            past = past | (compared < code - 0.5) if below else past & (compared >= code - 0.5)
        acted = firmware.acts(looks, past)
        if acted is None:
            raise AssertionError("the pack did not act")
        return acted


def trial(seed, departure):
    """The record of this number with this departure; one that cannot be (about 1 of 1,500 with coarse steps) is drawn again."""
    for again in range(5):
        try:
            return _drawn(seed, departure, Random(f"voltage {seed} {departure}" + again * " again"))
        except Impossible:
            continue
    raise AssertionError(f"no record {seed} with {departure}")


def _drawn(seed, departure, rng):
    draw = np.random.default_rng(rng.getrandbits(64))
    d = changed(rng, plain(rng), GROUPS, departure, WEIGHTS)
    pack, on_at = _Pack(rng, draw, d), 5.0
    t = on_at + GRID * np.arange(int((d.until_trip + 250.0) / GRID))
    under = d.cells.voltages(np.full(len(t), d.level))
    limits = pack.limits(d.trip / COUNT + d.trip_off)
    crossed = pack.crossing(t, under, limits, below=True)
    opened = pack.acts(t, under, limits, True, crossed)
    rest_t = opened + GRID * np.arange(int(LONGEST / GRID))
    flowed = int((opened - on_at) / GRID)
    amps = np.concatenate((np.full(flowed, d.level), np.zeros(len(rest_t))))
    rest = d.cells.voltages(amps)[:, flowed:]
    d.firmware.delay *= rng.uniform(0.95, 1.05) if not d.firmware.counted else 1.0
    back = pack.limits(d.release / COUNT + d.release_off)
    back_at = pack.crossing(rest_t, rest, back, below=False)
    closed = pack.acts(rest_t, rest, back, False, back_at)
    truth = {
        "trip": float(np.interp(crossed, t, under.sum(axis=0))) - d.level * d.inside,
        "release": float(np.interp(back_at, rest_t, rest.sum(axis=0))),
        "recovery time": closed - opened,
    }
    end = closed + 40.0
    channels, t_load = _read(draw, d, (t, under.sum(axis=0)), (rest_t, rest.sum(axis=0)), opened, closed, end, on_at)
    steps = (
        Step("drain", on_at, opened, True, ended=opened + OFF_AFTER, crossed=crossed),
        Step("rest", opened + OFF_AFTER, closed, False, ended=end, crossed=back_at),
    )
    return Trial(
        WORLD,
        departure,
        seed,
        channels,
        steps,
        _declared(d),
        truth,
        d,
        d.interval,
        on_at,
        d.level,
        np.full(len(t_load), ""),
        along={"trip": -1.0},
    )


def _read(draw, d, loaded, rested, opened, closed, end, on_at):
    """(channels, times of the load's readings): what load and voltmeter say."""
    leak = float(draw.uniform(0.0, 0.3))
    falls = max(d.path.dead + d.path.off_time, LEAST)
    before = loaded[0] < opened
    after = rested[0] > closed + d.rises
    volts_t = np.concatenate((loaded[0][before], [opened, opened + falls, closed, closed + d.rises], rested[0][after]))
    stack = np.interp(opened, *loaded) - d.level * d.inside
    up = np.interp(closed + d.rises, *rested)
    volts_v = np.concatenate((loaded[1][before] - d.level * d.inside, [stack, leak, leak, up], rested[1][after]))
    keep = np.concatenate(([True], np.diff(volts_t) > 1e-6))
    terminals = Trace(volts_t[keep], volts_v[keep])
    current = Current(d.path, d.level, on_at - 1.0)
    current.on(on_at)
    current.opens(opened)
    amps = current.until(end + 2.0)

    def read(reading, times, leads, gain, offset):
        ends = np.maximum(ends_of(reading, times), on_at + reading.aperture + 1e-3)
        flows = amps.mean(ends, reading.aperture) / d.level
        true = (
            shown(draw, reading, terminals, ends)
            - leads * d.level * flows
            + flows * ripple(d.ripple, ends, reading.aperture)
        )
        return np.round((true * (1 + gain[1]) + offset[1]) / reading.resolution) * reading.resolution

    first, first_at = asked(draw, d.interval, on_at + 1.1, opened + OFF_AFTER, d.late)
    later, later_at = asked(draw, max(0.5, d.interval), opened + OFF_AFTER + 0.3, end, d.late)
    t, at = np.concatenate((first, later)), np.concatenate((first_at, later_at))
    channels = {
        LOAD_CURRENT: (at, shown(draw, d.current, amps, ends_of(d.current, t))),
        LOAD_VOLTAGE: (at, read(d.load_volts, t, d.leads, d.gains[1], d.offsets[1])),
    }
    if d.voltmeter:
        t, meter_at = asked(draw, d.meter_every, on_at + 1.2, end, d.late)
        channels[METER_VOLTAGE] = (meter_at, read(d.meter, t, 0.0, d.gains[0], d.offsets[0]))
    return channels, at


def ripple(drawn, ends, aperture):
    """V of a sine of (V, Hz), as the mean over ``aperture`` s before each end: its integral is a cosine."""
    volts, turns = drawn[0], 2 * np.pi * drawn[1]
    if not aperture:
        return volts * np.sin(turns * ends)
    return volts * (np.cos(turns * (ends - aperture)) - np.cos(turns * ends)) / (turns * aperture)


def _declared(d):
    """What the pack's sheet and the bench file say: V, s, Ω; ``meter`` and ``load`` are (± gain, ± offset, resolution)."""
    return {
        "protection": "under_voltage",
        "trip": d.trip,
        "release": d.release,
        "tolerance": 0.5,
        "delay": d.delay_said,
        "polling": d.polling_said,
        "cells": COUNT,
        "nominal": NOMINAL,
        "meter": (d.gains[0][0], d.offsets[0][0], d.meter.resolution) if d.voltmeter else None,
        "load": (d.gains[1][0], d.offsets[1][0], d.load_volts.resolution),
        "leads": d.leads_said,
        "averages": d.averages_said,
        "smallest_current": 3 * d.current.noise + 2 * d.current.resolution,
        "set_current": d.level,
    }
