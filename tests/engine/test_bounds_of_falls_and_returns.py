"""Falls that come back, falls with a stop on the way, and currents that come again: the bounds are our own choice, unless it says so."""

import numpy as np
import pytest
from scipy import stats

from runner.engine.watch.fall import Fall
from runner.engine.watch.levels import Levels
from runner.events import CHARGE, Sampled
from tests.engine.test_bounds_of_the_watcher import SET, Watched, steady

# ---- the level before ----------------------------------------------------------------------------------------------


def test_the_noise_of_a_current_is_the_standard_deviation_of_its_readings():
    """The median of |x| of a normal distribution is σ·Φ⁻¹(3/4), that of a difference of two readings √2 of it."""
    dice, sigma = np.random.default_rng(7), 0.02
    found = []
    for _ in range(300):
        levels = Levels()
        for t, current in enumerate(dice.normal(4.0, sigma, 41)):
            levels.add(float(t), float(current))
        found.append(levels.noise())
    assert np.mean(found) == pytest.approx(sigma, rel=0.05)
    levels = Levels()
    for t, current in enumerate((4.0, 4.1, 4.0, 4.1, 4.0)):
        levels.add(float(t), current)
    assert levels.noise() == pytest.approx(0.1 / stats.norm.ppf(0.75) / 2**0.5, rel=1e-4)


def test_at_slow_polling_the_last_three_readings_are_the_level_before():
    """One reading in four seconds leaves one or none in the seconds that count otherwise."""
    levels = Levels()
    for t, current in ((0.0, 4.0), (4.0, 4.0), (8.0, 4.0), (12.0, 4.0), (16.0, 2.0), (20.0, 2.1), (24.0, 2.2)):
        levels.add(t, current)
    assert levels.before(28.0) == 2.1


# ---- falls that come back ------------------------------------------------------------------------------------------


def chopped(current, count):
    """A charge at this current, one reading without it and three with it, so often."""
    watched = Watched()
    watched.watcher.expect(CHARGE, SET, current, 0.0)
    watched.read(150, current)
    for _ in range(count):
        watched.read(1, 0.0).read(3, current)
    return watched


@pytest.mark.parametrize(("current", "chops"), [(0.11, False), (0.13, True)])
def test_a_current_near_what_can_be_told_from_none_comes_and_goes_without_being_chopped(current, chops):
    """0.03 A can be told from none; four times that are sure."""
    assert ("limited by the pack" in chopped(current, 5).words) is chops


def test_a_dropout_says_how_many_readings_were_without_current():
    watched = steady().read(2, 0.0).read(1, 4.0)
    assert watched.verdicts[-1].why == "samples without current: 2; then 4 A again"


def test_after_two_pauses_in_five_seconds_a_stop_is_one_after_two_and_a_half_seconds():
    watched = steady().read(1, 0.0).read(1, 4.0).read(1, 0.0).read(1, 4.0)
    watched.read(10, 0.0, SET, every=0.25)
    assert "stopped" not in watched.words, "two and a quarter seconds without current"
    watched.read(1, 0.0, SET, every=0.25)
    assert (watched.words[-1], watched.verdicts[-1].since) == ("stopped", 154.25)


def test_after_one_pause_half_a_second_is_enough():
    watched = steady().read(1, 0.0).read(1, 4.0).read(3, 0.0, SET, every=0.25)
    assert (watched.words[-1], watched.verdicts[-1].since) == ("stopped", 152.25)


def test_one_reading_at_the_set_current_does_not_end_a_limit_and_half_of_the_last_fifteen_do():
    watched = steady().read(20, 2.0, SET, mode="CV")
    assert watched.words[-1] == "limited by the pack"
    watched.read(7, 4.0)
    assert watched.words[-1] == "limited by the pack"
    watched.read(1, 4.0)
    assert (watched.words[-1], watched.verdicts[-1].since) == ("steady", 178.0)


# ---- falls with a stop on the way ----------------------------------------------------------------------------------


def test_three_readings_are_no_lower_level_and_four_are():
    watched = steady().read(3, 2.0, SET, mode="CV")
    assert watched.words == ["steady"]
    assert watched.read(1, 2.0, SET, mode="CV").words[-1] == "limited by the pack"


@pytest.mark.parametrize(("readings", "since"), [(2, 150.25), (3, 150.25), (4, 151.25), (5, 151.5)])
def test_a_fall_begins_where_the_current_last_stood_still_for_three_quarters_of_a_second(readings, since):
    """Four readings a second at half of the level, then nothing: four of them are a level, three are part of the fall."""
    watched = steady().read(readings, 2.0, 27.0, every=0.25).read(6, 0.0, SET, every=0.25)
    assert (watched.words[-1], watched.verdicts[-1].since) == ("stopped", since)


def test_a_current_that_has_come_to_nothing_stands_nowhere():
    """Less than 0.04 A is nothing: the five readings down to it lie within a twentieth of the level, and end there."""
    fall = Fall(4.0, 0.0, 0.03, after_pauses=True)
    for number, current in enumerate((2.0, 0.2, 0.15, 0.1, 0.05, 0.03, 0.3, 0.0, 0.0)):
        fall.add(Sampled(150.0 + 0.25 * number, {}), current)
    assert fall.instant() == 150.0


def test_a_taper_is_told_after_five_seconds():
    """The median of fifteen readings is at 3.84 A with the eighth of them, at 158 s."""
    watched = steady().read(20, lambda n: 3.84 + 1e-4 * (-1) ** n, SET, mode="CV")
    assert (watched.words[-1], watched.verdicts[-1].since) == ("tapering", 163.0)


# ---- currents that come again --------------------------------------------------------------------------------------


def left(current=0.4):
    """A charge that has fallen to a little, which stays."""
    watched = steady().read(8, lambda n: current + 1e-4 * (-1) ** n, SET, mode="CV")
    assert watched.words[-1] == "keep-alive"
    return watched


@pytest.mark.parametrize(("current", "word"), [(0.515, "keep-alive"), (0.525, "pre-charging")])
def test_three_tenths_more_than_what_was_left_is_a_current_that_comes_again(current, word):
    """0.4 A were left: more than 0.52 A."""
    assert left().read(4, current, SET, mode="CV").words[-1] == word


def test_what_was_left_has_stopped_after_three_readings_and_half_a_second():
    watched = left(0.3).read(3, 0.0, SET, every=0.2)
    assert watched.words[-1] == "keep-alive"
    watched.read(1, 0.0, SET, every=0.2)
    assert (watched.words[-1], watched.verdicts[-1].since) == ("stopped", pytest.approx(158.2))


@pytest.mark.parametrize(("readings", "word"), [(1, "stopped"), (2, "retrying"), (3, "retrying")])
def test_the_first_try_of_a_pack_is_told_if_more_than_one_reading_saw_it(readings, word):
    assert steady().read(5, 0.0, SET).read(readings, 4.0).read(3, 0.0, SET).words[-1] == word


def test_of_tries_that_one_reading_sees_the_second_is_told():
    watched = steady().read(5, 0.0, SET)
    for said in ("stopped", "retrying"):
        assert watched.read(1, 4.0).read(3, 0.0, SET).words[-1] == said


@pytest.mark.parametrize(
    ("readings", "current", "said"), [(3, 1.99, []), (3, 2.01, ["returned"]), (2, 2.01, []), (1, 4.0, [])]
)
def test_a_return_that_is_switched_off_is_one_if_three_readings_had_more_than_half_of_the_level(
    readings, current, said
):
    watched = steady().read(5, 0.0, SET).read(readings, current)
    assert [str(each.word) for each in watched.watcher.forget(watched.t)] == said
