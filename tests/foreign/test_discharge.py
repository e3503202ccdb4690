"""The world of discharges: the same again for the same number, its truths by another way, its readings as its meters are said to be."""

import numpy as np
import pytest

from runner.events import LOAD_CURRENT, LOAD_VOLTAGE, METER_VOLTAGE
from tests.foreign.discharge.drawn import SHORTEST_PAUSE
from tests.foreign.discharge.world import departures, trial


def dense(flow):
    """Times with every knot and many between."""
    t = flow.current.t
    return np.union1d(
        np.linspace(flow.on - 1.0, flow.ended + 1.0, 400_001), t[(t > flow.on - 1.0) & (t < flow.ended + 1.0)]
    )


@pytest.mark.parametrize("departure", departures())
def test_the_same_number_makes_the_same_record_and_its_truth_is_the_area_of_what_flowed(departure):
    one, two = trial(7, departure), trial(7, departure)
    assert one.truth == two.truth
    for name, (t, values) in one.channels.items():
        assert np.array_equal(t, two.channels[name][0])
        assert np.array_equal(values, two.channels[name][1])
        assert (np.diff(t) >= 0).all()
    t = dense(one.extra["flow"])
    amps, volts = one.extra["flow"].current.at(t), one.extra["flow"].terminals.at(t)
    assert np.trapezoid(amps, t) == pytest.approx(one.truth["capacity"], rel=1e-6)
    assert np.trapezoid(amps * volts, t) - one.extra["flow"].ripple_loss == pytest.approx(one.truth["energy"], rel=1e-5)


@pytest.mark.parametrize("departure", ["plain", "constant power", "steps", "short discharge"])
def test_a_pack_gives_what_is_in_it_and_ends_at_the_cut_off_of_its_weakest_cell(departure):
    for seed in range(20):
        one = trial(seed, departure)
        pack, ended = one.drawn.pack, one.extra["flow"].ended
        assert 0.35 < one.truth["capacity"] / pack.capacity < 1.03
        before = one.extra["flow"].terminals.at(one.extra["flow"].opened - 1e-3)
        assert 0.8 * pack.cut_off < before / pack.cells < 1.15 * pack.cut_off
        assert one.extra["flow"].current.at(ended + 1.0) == 0
        assert one.extra["flow"].terminals.at(ended + 1.0) == pytest.approx(pack.left_over)


@pytest.mark.parametrize("seed", range(10))
def test_readings_are_off_by_no_more_than_is_declared(seed):
    one = trial(seed, "plain")
    for name, trace in ((LOAD_CURRENT, one.extra["flow"].current), (METER_VOLTAGE, one.extra["flow"].terminals)):
        t, values = one.channels[name]
        steady = (t > one.extra["flow"].on + 60) & (t < one.extra["flow"].opened - 60)
        gain, offset, resolution = one.declared["accuracy"][name]
        error = values[steady] - trace.at(t[steady])
        noise = one.drawn.bench.current.reading.noise if name == LOAD_CURRENT else one.drawn.bench.meter.reading.noise
        assert np.std(error) < 1.2 * noise + resolution + 1e-3
        assert abs(np.mean(error)) <= gain * np.mean(values[steady]) + offset + resolution / 2
    current, volts = one.extra["flow"].current, one.channels[LOAD_VOLTAGE]
    middle = np.abs(volts[0] - (one.extra["flow"].on + one.extra["flow"].opened) / 2) < 60
    lost = np.mean(one.extra["flow"].terminals.at(volts[0][middle]) - volts[1][middle])
    gain, offset, _ = one.declared["accuracy"][LOAD_VOLTAGE]
    drop = one.drawn.bench.leads * current.at((one.extra["flow"].on + one.extra["flow"].opened) / 2)
    assert lost == pytest.approx(drop, abs=gain * np.mean(volts[1][middle]) + offset + 0.01)


def test_in_a_gap_the_instruments_that_are_silent_say_nothing_and_now_and_then_nothing_flowed():
    paused = 0
    for seed in range(60):
        one = trial(seed, "load silent")
        t = one.channels[LOAD_CURRENT][0]
        for share, lasts in one.drawn.bench.gaps:
            begin = one.extra["flow"].on + share * one.drawn.expected
            if begin + lasts > one.extra["flow"].opened:
                continue
            assert not ((t > begin) & (t < begin + lasts)).any()
            assert (
                lasts < 5
                or ((one.channels[METER_VOLTAGE][0] > begin) & (one.channels[METER_VOLTAGE][0] < begin + lasts)).any()
            )
            inside = np.linspace(begin, begin + lasts, 2000)
            nothing = np.mean(one.extra["flow"].current.at(inside) == 0) * lasts
            assert nothing == 0 or nothing >= 0.9 * SHORTEST_PAUSE
            paused += nothing > 0
    assert 3 < paused < 30


def test_an_interrupted_discharge_goes_on_for_up_to_two_seconds_unseen():
    for seed in range(20):
        one = trial(seed, "interrupted")
        (first, second), t = one.extra["parts"], one.channels[LOAD_CURRENT][0]
        assert not first.stopped
        assert second.stopped
        assert not ((t > first.at) & (t < second.began)).any()
        assert one.extra["flow"].current.at(first.at) > 0
        assert one.extra["flow"].current.at(first.at + 2.6) == 0
