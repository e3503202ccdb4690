"""The foreign world is right by itself: charge, stamps, voltages and energies, and the truth lies inside its record."""

from collections import Counter
from random import Random

import numpy as np
import pytest

from runner.events import METER_VOLTAGE, SUPPLY_CURRENT, SUPPLY_VOLTAGE
from tests.foreign.bench import INTERVALS, Reading
from tests.foreign.instruments import ends_of, shown
from tests.foreign.trace import Trace
from tests.foreign.world import DEPARTURES, record

WHATS = {
    "opens",
    "closes",
    "derates",
    "keeps alive",
    "pre-charges",
    "retries",
    "tapers",
    "full",
    "lead off",
    "supply trips",
    "chops",
}


def area(values, times):
    return float((0.5 * (values[1:] + values[:-1]) * np.diff(times)).sum())


def perfect(aperture=0.0, stamp=1.0, renewal=0.0):
    return Reading(aperture, stamp, renewal, 0.0, 1e-6, 1.0, 0.0, 0.0, 0.0)


def read(reading, trace, times):
    return shown(np.random.default_rng(0), reading, trace, ends_of(reading, np.asarray(times, dtype=float)))


def test_the_same_number_makes_the_same_record():
    for seed in range(20):
        one, two = record(seed), record(seed)
        assert (one.samples, one.changes, one.explanations) == (two.samples, two.changes, two.explanations)


def test_every_kind_comes_in_500_numbers_and_every_truth_lies_in_its_record():
    kinds, whats, fitting = Counter(), Counter(), Counter()
    for seed in range(500):
        one = record(seed)
        kinds[one.kind] += 1
        whats.update(each.what for each in one.changes)
        fitting.update(one.explanations)
        times = [each.t for each in one.samples]
        assert times == sorted(times)
        assert one.on_at <= times[0]
        for each in one.changes:
            assert one.on_at + 30 < each.t
            assert each.t + each.lasts < times[-1] - 10
        assert one.about is None or (one.about in one.changes and one.about.what in one.explanations)
    assert set(kinds) == set(DEPARTURES)
    assert set(whats) == WHATS
    assert set(fitting) <= WHATS | {"nothing"}


@pytest.mark.parametrize("interval", INTERVALS)
@pytest.mark.parametrize("kind", DEPARTURES)
def test_a_kind_and_an_interval_may_be_given(kind, interval):
    one = record(3, kind, interval)
    assert (one.kind, one.interval) == (kind, interval)
    fast = [each.t for each in one.samples if METER_VOLTAGE not in each.readings]
    assert np.median(np.diff(fast)) == pytest.approx(interval, rel=0.1)
    assert all(each.mode in ("", "CC", "CV") for each in one.samples)


@pytest.mark.parametrize("kind", DEPARTURES)
def test_means_of_windows_that_touch_hold_all_charge(kind):
    one = record(11, kind)
    current = one.world.current
    assert (np.diff(current.t) > 0).all()
    ends = one.on_at + 0.02 * np.arange(3000)
    means = current.mean(ends[1:], 0.02)
    dense = np.union1d(
        np.linspace(ends[0], ends[-1], 20_001), current.t[(current.t > ends[0]) & (current.t < ends[-1])]
    )
    assert means.sum() * 0.02 == pytest.approx(area(current.at(dense), dense), rel=1e-9)


@pytest.mark.parametrize("stamp", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("aperture", [0.02, 0.4, 1.0])
def test_the_share_of_a_step_in_a_reading_follows_from_its_stamp(stamp, aperture):
    step = Trace([-10, 0, 1e-6, 10], [4, 4, 0, 0])
    times = np.linspace(-2, 2, 401)
    before = np.clip(-(times - stamp * aperture), 0, aperture) / aperture  # the part of the window until the step
    assert read(perfect(aperture, stamp), step, times) == pytest.approx(4 * before, abs=2e-4)


def test_a_reading_is_repeated_until_it_is_renewed():
    slope = Trace([0, 10], [0, 10])
    assert read(perfect(renewal=0.5), slope, [1.1, 1.3, 1.6]).tolist() == [1.0, 1.0, 1.5]


@pytest.mark.parametrize("seed", range(10))
def test_the_supplys_energy_is_in_the_cells_or_in_the_resistances(seed):
    one = record(seed, "tapers")
    bench, world = one.bench, one.world
    times = np.linspace(one.on_at + 5, one.on_at + 30, 5001)
    amps = world.current.at(times)
    cells = (world.voltage.at(times) - amps * (bench.r_leads + bench.r_path + bench.r_cells)) * amps
    heat = amps**2 * (bench.r_leads + bench.r_path + bench.r_cells)
    ends = one.on_at + 6 + np.arange(25)
    told = (world.voltage.mean(ends, 1.0) * world.current.mean(ends, 1.0)).sum()
    assert told == pytest.approx(area(cells + heat, times), rel=1e-3)
    stored = area(cells, times) / (amps.mean() * 25)
    assert bench.rest < stored < one.set_voltage


@pytest.mark.parametrize("seed", range(20))
def test_an_open_pack_leaves_the_supply_at_its_set_voltage_and_the_cells_below(seed):
    one = record(seed, "transistor")
    opened, closed = one.changes
    late = closed.t - 0.5
    assert one.world.current.at(late) == 0
    assert one.world.voltage.at(late) == pytest.approx(one.set_voltage)
    assert one.world.voltage.at(opened.t) < one.set_voltage - 0.5
    meter = one.world.meter.at(late)
    if one.bench.meter_at == "terminals":
        assert meter == pytest.approx(one.set_voltage)
    else:
        assert one.bench.rest <= meter < one.world.meter.at(opened.t)


@pytest.mark.parametrize("seed", range(20))
def test_a_lead_that_came_off_leaves_the_pack_by_itself(seed):
    one = record(seed, "lead off")
    end = one.samples[-1].t
    assert one.world.voltage.at(end) == pytest.approx(one.set_voltage)
    assert one.world.meter.at(end) < one.world.meter.at(one.changes[0].t - 0.1)
    assert ("opens" in one.explanations) == (one.meter_at != "terminals")


def test_a_tripped_supply_says_that_it_is_off():
    for seed in range(10):
        one = record(seed, "supply trips")
        said = [each for each in one.samples if each.output is not None]
        assert all(each.output == (each.t < one.changes[0].t) for each in said)
        assert abs(np.median([each.readings[SUPPLY_CURRENT] for each in said[-5:]])) < 0.15 * one.set_current


def test_bad_samples_are_few_and_never_a_made_up_number():
    for seed in range(30):
        one = record(seed, "bad samples")
        lost = [each for each in one.samples if SUPPLY_CURRENT in each.lost]
        assert all(SUPPLY_CURRENT not in each.readings and SUPPLY_VOLTAGE in each.readings for each in lost)
        assert len(lost) <= 6


def test_noise_is_what_the_instrument_is_said_to_have():
    rng = Random(1)
    for seed in rng.sample(range(1000), 20):
        one = record(seed, "transistor", 0.1)
        steady = [
            each.readings[SUPPLY_CURRENT]
            for each in one.samples
            if SUPPLY_CURRENT in each.readings and one.on_at + 3 < each.t < one.changes[0].t - 2
        ]
        reading = one.bench.current
        sigma = reading.noise + reading.share_noise * one.set_current
        assert np.std(steady) < 1.6 * sigma + reading.resolution
        assert np.mean(steady) == pytest.approx(
            one.set_current * reading.gain + reading.offset, abs=sigma + reading.resolution
        )


def test_what_is_called_unseen_is_in_no_reading():
    for seed in range(60):
        one = record(seed, "tries again", 1.0)
        least = 5 * one.bench.current.noise + 2 * one.bench.current.resolution + abs(one.bench.current.offset)
        for retry in (each for each in one.changes if each.what == "retries"):
            near = [
                each.readings[SUPPLY_CURRENT]
                for each in one.samples
                if SUPPLY_CURRENT in each.readings and retry.t - 1 < each.t < retry.t + 1.5
            ]
            if near and not one.seen(retry):
                assert max(near) < 2 * least + 0.02 * one.set_current
