"""The current watcher: every way in which a charge current can fall, and the word for it. Common practice, no source."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runner.engine.watch.watcher import LOST_AFTER, Watcher
from runner.events import CHARGE, METER_VOLTAGE, Sampled
from tests.builders import sample

SET_VOLTAGE, SET_CURRENT, SMALLEST, STEP = 29.2, 4.0, 0.03, 0.25


def fed(samples, watcher=None):
    """The words said, in order, and the watcher."""
    if watcher is None:
        watcher = Watcher({CHARGE: SMALLEST})
        watcher.expect(CHARGE, SET_VOLTAGE, SET_CURRENT, 0.0)
    return [verdict.word for each in samples for verdict in watcher.take(each)], watcher


def steady(count=100, begin=0.0):
    return [sample(begin + STEP * index, 4.0 + 0.003 * math.sin(index)) for index in range(count)]


def after(samples):
    return samples[-1].t + STEP


def stopped(count, begin, **more):
    return [sample(begin + STEP * index, 0.001, **{"voltage": 29.2, "mode": "CV", **more}) for index in range(count)]


def test_a_current_that_falls_to_nothing_at_the_set_voltage_is_a_trip_and_its_first_sample_is_named():
    before = steady()
    words, watcher = fed(before + stopped(6, after(before)))
    assert words == ["steady", "stopped"]
    assert watcher.verdict.since == after(before)
    assert watcher.level == pytest.approx(4.0, abs=0.01)


def test_two_samples_without_current_are_a_dropout_and_no_trip():
    before = steady()
    gap = stopped(2, after(before))
    words, _ = fed(before + gap + steady(10, after(gap)))
    assert "dropout" in words
    assert "stopped" not in words


def test_a_taper_is_a_taper_down_to_full_and_never_a_trip():
    before = steady()
    taper = [
        sample(after(before) + STEP * index, 4.0 * math.exp(-index / 400), 29.2, mode="CV") for index in range(3000)
    ]
    words, _ = fed(before + taper)
    assert words == ["steady", "tapering", "full"]


def test_a_stop_late_in_a_taper_is_called_full_because_it_cannot_be_told_apart():
    before = steady()
    taper = [
        sample(after(before) + STEP * index, 4.0 * math.exp(-index / 400), 29.2, mode="CV") for index in range(700)
    ]
    words, _ = fed(before + taper + stopped(8, after(taper)))
    assert words[-1] == "full"
    assert "stopped" not in words


def test_a_sudden_stop_while_the_voltage_climbs_is_a_full_cell_and_no_trip():
    climbing = [sample(STEP * index, 4.0, 27.0 + 0.06 * STEP * index / 60 * 10) for index in range(400)]
    words, _ = fed(climbing + stopped(8, after(climbing)))
    assert words == ["steady", "full"]


def test_a_sudden_stop_near_the_full_voltage_is_called_full():
    high = [sample(STEP * index, 4.0, 28.6) for index in range(400)]
    words, _ = fed(high + stopped(8, after(high)))
    assert words == ["steady", "full"]


def test_no_reply_is_lost_after_a_while_and_never_a_current_of_zero():
    before = steady()
    silence = [sample(after(before) + STEP * index, None) for index in range(20)]
    words, _ = fed(before + silence)
    assert words == ["steady", "lost"]
    short = [sample(after(before) + STEP * index, None) for index in range(int(LOST_AFTER / STEP) - 2)]
    assert fed(before + short + steady(5, after(short)))[0] == ["steady"]


def test_readings_that_come_back_without_current_after_a_silence_are_still_a_trip():
    before = steady()
    silence = [sample(after(before) + STEP * index, None) for index in range(20)]
    words, _ = fed(before + silence + stopped(6, after(silence)))
    assert words == ["steady", "lost", "stopped"]


def test_an_output_that_went_off_by_itself_is_limited():
    before = steady()
    assert fed(before + stopped(6, after(before), output=False, voltage=0.1))[0] == ["steady", "limited"]


def test_no_current_below_the_set_voltage_is_limited():
    before = steady()
    assert fed(before + stopped(6, after(before), voltage=20.0))[0] == ["steady"], "it may be on its way up"
    assert fed(before + stopped(9, after(before), voltage=20.0))[0] == ["steady", "limited"]


def test_a_lead_that_comes_off_shows_at_the_packs_own_terminals():
    before = [Sampled(each.t, {**each.readings, METER_VOLTAGE: 26.5}, {}, each.mode, True) for each in steady()]
    off = stopped(8, after(before), terminal=26.4)  # two seconds: a meter may show the mean of one
    assert fed(before + off)[0] == ["steady", "open lead"]


def test_a_trip_is_told_with_the_voltmeter_at_the_supplys_voltage():
    before = [Sampled(each.t, {**each.readings, METER_VOLTAGE: 26.5}, {}, each.mode, True) for each in steady()]
    assert fed(before + stopped(8, after(before), terminal=29.2))[0] == ["steady", "stopped"]


def test_the_verdict_waits_for_a_voltmeter_that_is_polled_more_slowly():
    before = [*steady(), Sampled(24.9, {METER_VOLTAGE: 26.5})]
    silent = stopped(4, 25.0)
    words, watcher = fed(before + silent)
    assert words == ["steady"]
    assert fed([Sampled(26.1, {METER_VOLTAGE: 27.8}), *stopped(1, 26.15)], watcher)[0] == [], (
        "the mean of before and after"
    )
    assert fed([Sampled(26.3, {METER_VOLTAGE: 26.4}), *stopped(1, 26.4)], watcher)[0] == ["open lead"]


def test_a_current_that_comes_back_is_returned_and_then_steady():
    before = steady()
    off = stopped(40, after(before))
    words, watcher = fed(before + off + steady(14, after(off)))
    assert words == ["steady", "stopped"], "a pack may try by itself for two seconds"
    words, _ = fed(steady(1, after(off) + 14 * STEP), watcher)
    assert words == ["returned"]
    assert watcher.verdict.since == after(off)
    assert fed(steady(10, after(off) + 15 * STEP), watcher)[0] == ["steady"]


def test_a_pack_that_never_takes_current_has_not_tripped():
    assert fed(stopped(200, 0.0))[0] == []


def test_nothing_is_said_while_the_output_is_off():
    watcher = Watcher({CHARGE: SMALLEST})
    assert fed(stopped(50, 0.0), watcher)[0] == []


@given(shift=st.floats(0, 1e6), scale=st.floats(0.5, 4.0))
def test_shifting_time_and_scaling_current_change_no_word(shift, scale):
    before = steady(40)
    samples = before + stopped(6, after(before)) + steady(6, after(before) + 6 * STEP)
    plain, _ = fed(samples)
    watcher = Watcher({CHARGE: SMALLEST * scale})
    watcher.expect(CHARGE, SET_VOLTAGE, SET_CURRENT * scale, shift)
    moved = [
        sample(
            each.t + shift, each.readings["supply_current_A"] * scale, each.readings["supply_voltage_V"], mode=each.mode
        )
        for each in samples
    ]
    assert fed(moved, watcher)[0] == plain
