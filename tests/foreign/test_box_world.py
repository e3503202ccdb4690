"""The box world is right by itself: what the box is, when the pack acts, and the delay's truth. Nothing here asks the method."""

import numpy as np
import pytest

from runner.events import SUPPLY_CURRENT
from tests.foreign.box.world import _Pack, departures, trial
from tests.foreign.trial import PLAIN

SOME = range(15)


@pytest.mark.parametrize("departure", departures())
def test_every_departure_makes_a_whole_record(departure):
    one = trial(5, departure)
    t, amps = one.channels[SUPPLY_CURRENT]
    assert (np.diff(t) > 0).all()
    assert len(t) == len(amps) == len(one.modes)
    assert [step.opens for step in one.steps] == [True, False, True, False]
    for before, after in zip(one.steps, one.steps[1:], strict=False):
        assert before.acted < before.ended == after.began < after.acted
    assert one.truth["delay"] > 0
    again = trial(5, departure)
    assert again.truth == one.truth
    assert (again.channels[SUPPLY_CURRENT][1] == amps).all()


def test_a_box_of_one_per_cent_too_much_is_a_third_of_a_kelvin_too_cold():
    """d ln R/dT = −B/T² (B-parameter equation): 3435/328.15² = 3.19 %/K at 55 °C."""
    d = trial(1, PLAIN).drawn
    d.beta, d.box_error = 3435.0, 0.01
    assert _Pack(np.random.default_rng(1), d).really(55.0) == pytest.approx(55.0 - 1 / 3.19, abs=0.005)


@pytest.mark.parametrize("seed", SOME)
def test_the_pack_acts_on_the_large_step_its_delay_and_at_most_a_look_later(seed):
    one = trial(seed, PLAIN)
    (_, key), step = one.steps[2].levels[0], one.steps[2]
    waited = step.acted - one.truth["delay"] - key
    assert -0.6 <= waited <= one.drawn.firmware.every + 0.6, "a key is right to 0.15 s, one sigma"


def test_waits_for_the_look_are_even_and_keys_are_as_much_before_as_after():
    ones = [trial(seed, PLAIN) for seed in range(200)]
    late = [
        (one.steps[2].acted - one.truth["delay"] - one.steps[2].levels[0][1]) / one.drawn.firmware.every for one in ones
    ]
    assert np.mean(late) == pytest.approx(0.5, abs=4 * 0.35 / 200**0.5)


def test_a_counted_delay_is_whole_looks_and_a_filter_adds_its_own():
    for seed in SOME:
        one = trial(seed, PLAIN)
        firmware = one.drawn.firmware
        assert one.truth["delay"] == pytest.approx(firmware.longest, abs=1e-6)
        if firmware.counted:
            assert firmware.longest / firmware.every == pytest.approx(
                round(firmware.longest / firmware.every), abs=1e-6
            )
            assert one.truth["delay"] == pytest.approx(one.declared["delay"], rel=0.031)
        assert trial(seed, "mean of looks").truth["delay"] > trial(seed, "mean of looks").drawn.firmware.longest


def test_the_staircase_stops_at_the_level_beyond_the_truth():
    for seed in SOME:
        one = trial(seed, PLAIN)
        for step, name in ((one.steps[0], "trip"), (one.steps[1], "release")):
            last, before = step.levels[-1][0], step.levels[-2][0]
            low, high = sorted((last, before))
            assert low - 0.25 <= one.truth[name] <= high + 0.25, "the box is off by up to half a per cent"
