"""The thermal world is right by itself: lags, drafts, looks and the truth, held against arithmetic. Nothing here asks the method."""

import math
from random import Random

import numpy as np
import pytest

from runner.events import PROBE_TEMPERATURE, SUPPLY_CURRENT
from tests.foreign.thermal.heat import GRID, LONGEST, Disturbances, Hand, lagged, leg
from tests.foreign.thermal.world import departures, trial
from tests.foreign.trial import EVERYTHING, PLAIN

SOME = range(12)


def test_a_lag_behind_a_ramp_is_the_textbooks():
    """First-order lag, ramp of r from 0: y = r·(t − τ·(1 − e^(−t/τ))), exact for any grid (any textbook on linear systems)."""
    t, r, tau = GRID * np.arange(600), 0.05, 8.0
    assert lagged(r * t, tau, 0.0) == pytest.approx(r * (t - tau * (1 - np.exp(-t / tau))), abs=1e-9)


def test_a_lag_starts_where_it_is_told_and_forgets_it():
    t, tau = GRID * np.arange(600), 5.0
    assert lagged(np.full(600, 20.0), tau, 30.0) == pytest.approx(20 + 10 * np.exp(-t / tau), abs=1e-9)


def test_the_same_number_makes_the_same_record_and_another_another():
    for name in (PLAIN, EVERYTHING):
        one, two, three = trial(3, name), trial(3, name), trial(4, name)
        assert one.truth == two.truth
        assert all((one.channels[each][1] == two.channels[each][1]).all() for each in one.channels)
        assert one.truth != three.truth


@pytest.mark.parametrize("departure", departures())
def test_every_departure_makes_a_whole_record(departure):
    one = trial(7, departure)
    for t, values in one.channels.values():
        assert len(t) == len(values) > 100
        assert (np.diff(t) > 0).all()
        assert np.isfinite(values).all()
    assert len(one.modes) == len(one.channels[SUPPLY_CURRENT][0])
    assert len(one.steps) == 2 * len(one.drawn.rates)
    assert [step.opens for step in one.steps] == [True, False] * len(one.drawn.rates)
    assert all(step.began < step.acted < step.ended for step in one.steps)
    assert abs(one.truth["trip"] - one.declared["trip"]) <= 1.0 + one.drawn.step
    assert one.truth["hysteresis"] == pytest.approx(abs(one.truth["trip"] - one.truth["release"]))


@pytest.mark.parametrize("seed", SOME)
def test_a_quiet_pack_acts_one_look_and_its_delay_after_its_sensor_has_crossed(seed):
    one = trial(seed, PLAIN)
    firmware, sensor = one.drawn.firmware, one.extra["sensor"]
    for step in one.steps:
        limit = one.truth["trip" if step.opens else "release"]
        assert sensor.at(step.crossed) == pytest.approx(limit, abs=1e-3)
        late = step.acted - step.crossed - firmware.longest
        assert -1e-6 <= late <= firmware.every + 1e-6


@pytest.mark.parametrize("seed", SOME)
def test_the_probe_is_off_by_what_was_drawn(seed):
    """Steady parts of the course apart, the mean of probe − sensor over up and down is calibration and coupling; lags cancel."""
    one = trial(seed, PLAIN)
    d = one.drawn
    t, probe = one.channels[PROBE_TEMPERATURE]
    away = np.mean([np.interp(step.acted, t, probe) - one.extra["sensor"].at(step.acted) for step in one.steps])
    lag = max(d.sensor_lags) + sum(d.sensor_lags) + d.probe_lag
    assert away == pytest.approx(d.common + d.calibration_error, abs=0.03 + 0.0015 * lag)


def test_coupling_by_direction_and_with_temperature_is_in_the_probe():
    for seed in SOME:
        one = trial(seed, "coupling by direction")
        t, probe = one.channels[PROBE_TEMPERATURE]
        warm, cold = ([], [])
        for step in one.steps:
            (warm if step.kind == "heat" else cold).append(
                np.interp(step.acted, t, probe) - one.extra["sensor"].at(step.acted)
            )
        lag = sum(one.drawn.sensor_lags) - one.drawn.probe_lag
        per_lag = np.mean([abs(rate) for rate in one.drawn.rates]) / 60
        assert (np.mean(warm) - np.mean(cold)) / 2 == pytest.approx(one.drawn.by_direction + per_lag * lag, abs=0.12)


def test_drafts_are_as_deep_and_long_as_practice_has_them():
    some = Disturbances(np.random.default_rng(1), Hand(drafts=1.0))
    assert 0.2 <= np.abs(some.draft_k).min() <= np.abs(some.draft_k).max() <= 1.0
    assert 5.0 <= some.draft_s.min() <= some.draft_s.max() <= 30.0
    t = np.arange(0.0, 3000.0, GRID)
    above, below = some.drafts(t, -1.0), some.drafts(t, 1.0)
    assert above == pytest.approx(-below)
    assert above.mean() < 0, "room air cools what is warmer"


def test_pulses_last_two_to_ten_seconds_and_leave_no_mean():
    some = Disturbances(np.random.default_rng(2), Hand(pulses=5.0, ripple=0.4))
    t = np.arange(10.0, 2000.0, GRID)
    values = some.place(t, 1.0)
    assert np.ptp(values) == pytest.approx(0.4, rel=0.1)
    assert values.mean() == pytest.approx(0.0, abs=0.01)
    assert np.diff(some.pulse_t[::2]) == pytest.approx(5.0, rel=0.21)
    assert some.pulse_t[-1] > LONGEST


def test_a_leg_goes_to_its_approach_and_then_at_its_rate():
    rng = Random(1)
    for _ in range(20):
        rate, hand = rng.uniform(0.5, 4.0) / 60, Hand(overshoot=rng.uniform(0, 2.0))
        values, ramp = leg(40.0, 50.0, rate, 3 * rate, hand, 1.0, 5.0, 69.0)
        assert values[0] == 40.0
        assert values[ramp] == pytest.approx(50 + hand.overshoot / 2, abs=0.02)
        assert np.diff(values[ramp + 1 : -1]) / GRID == pytest.approx(rate, rel=1e-6)
        assert values.min() == pytest.approx(39.0, abs=0.05), "carried on by the heat of the leg before"


def test_an_aperture_smears_a_stop_and_only_forwards_in_time():
    """The mean of a window that ends at the stamp: the reading falls from the stop on, for as long as the window is."""
    for seed in SOME:
        one = trial(seed, "averaging meter")
        aperture, late = one.drawn.current.aperture, max(one.drawn.late)
        t, amps = one.channels[SUPPLY_CURRENT]
        for step in (each for each in one.steps if each.opens):
            before = amps[(t > step.acted - 5) & (t < step.acted)]
            after = amps[(t > step.acted + aperture + 20 * late) & (t < step.acted + aperture + 3)]
            assert before.min() > 0.97 * one.level
            assert np.abs(after).max() < 0.03 * one.level


def test_every_range_of_a_hand_and_a_pack_is_met_in_everything_together():
    ones = [trial(seed, EVERYTHING).drawn for seed in range(150)]
    share = {
        "noise": np.mean([one.firmware.noise > 0 for one in ones]),
        "filter": np.mean([one.firmware.mean > 1 or one.firmware.lag > 0 for one in ones]),
        "aperture": np.mean([one.current.aperture > 0 for one in ones]),
        "one ramp": np.mean([len(one.rates) == 1 for one in ones]),
        "cold": np.mean([not one.hot for one in ones]),
    }
    assert 0.5 < share["noise"] < 0.9
    assert 0.35 < share["filter"] < 0.65
    assert 0.3 < share["aperture"] < 0.65
    assert 0.02 < share["one ramp"] < 0.16
    assert 0.2 < share["cold"] < 0.5
    assert max(one.firmware.every for one in ones) <= 4.0 * 1.03
    assert max(one.firmware.noise for one in ones) <= 0.3
    assert math.isclose(max(one.step for one in ones), 1.0, rel_tol=0.3)
