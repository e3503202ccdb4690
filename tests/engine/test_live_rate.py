"""The rate on the screen, against a least-squares line of another library and against lines whose slope is put in."""

import numpy as np
import pytest

from runner.engine.bench_state import BenchState
from runner.events import PROBE_TEMPERATURE, SUPPLY_VOLTAGE, Sampled


def known(points, by_hand=False):
    state = BenchState()
    for t, value in points:
        state.take(Sampled(t, {PROBE_TEMPERATURE: value}, by_hand=by_hand))
    return state


def test_the_rate_is_the_slope_of_the_least_squares_line_also_where_readings_come_unevenly():
    times = [100.0, 101.0, 104.0, 104.5, 110.0, 111.0, 118.0]
    values = [50.0, 50.2, 49.9, 50.4, 50.6, 50.5, 51.1]
    assert known(zip(times, values, strict=True)).rate() == pytest.approx(np.polyfit(times, values, 1)[0], rel=1e-9)


def test_only_the_last_twenty_seconds_count():
    steep = [(t, 20.0 + 5.0 * t) for t in range(60)]
    gentle = [(60.0 + t, 320.0 + 0.05 * t) for t in range(25)]
    assert known(steep + gentle).rate() == pytest.approx(0.05, rel=1e-9)
    assert known(steep + gentle[:15]).rate() > 0.5, "a steep reading of less than twenty seconds ago still counts"


def test_too_few_readings_or_too_short_a_time_have_no_rate():
    assert known([(2.0 * t, 20.0 + t) for t in range(4)]).rate() is None
    assert known([(2.0 * t, 20.0 + t) for t in range(5)]).rate() == pytest.approx(0.5)
    assert known([(0.5 * t, 20.0 + t) for t in range(13)]).rate() is None, "six seconds"


def test_by_hand_the_last_four_taps_count_however_long_they_took():
    taps = [(0.0, 10.0), (5.0, 20.0), (60.0, 21.0), (120.0, 22.0), (180.0, 23.0)]
    assert known(taps, by_hand=True).rate() == pytest.approx(np.polyfit(*zip(*taps[1:], strict=True), 1)[0])
    assert known(taps[:2], by_hand=True).rate() is None, "five seconds"
    assert known(taps[1:3], by_hand=True).rate() == pytest.approx(1 / 55)


def test_what_the_supply_shows_while_it_is_off_is_remembered_at_its_highest():
    state = BenchState()
    for volts in (3.0, 25.0, 0.1):
        state.take(Sampled(1.0, {SUPPLY_VOLTAGE: volts}))
    assert state.highest_while_off == 25.0
    state.path = "charge"
    state.take(Sampled(2.0, {SUPPLY_VOLTAGE: 29.0}))
    assert state.highest_while_off == 25.0


def test_a_channel_that_reads_again_is_no_longer_lost():
    state = BenchState()
    state.take(Sampled(1.0, {}, {PROBE_TEMPERATURE: "no reply"}))
    assert state.lost == {PROBE_TEMPERATURE: "no reply"}
    assert state.temperature is None
    state.take(Sampled(2.0, {PROBE_TEMPERATURE: 25.0}))
    assert state.lost == {}
    assert state.temperature == 25.0
