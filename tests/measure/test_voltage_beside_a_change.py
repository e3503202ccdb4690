"""Readings inside a fall or a rise enter no fit, and the beginning of a change is found: against meters and paths that are put in."""

import numpy as np
import pytest

from runner.measure.fits.level import Change, after_rise, before_fall, came_back, find_change, opened
from runner.measure.recording import Series

SLOPE = -0.012  # V/s


def shown(t, window, fall=0.0, late=0.0):
    """A voltage of 20 V that falls evenly to 0.2 V over ``fall`` s from t = 0: means of the window just past, stamped late."""
    fine = np.linspace(0.0, 1.0, 401)
    at = t[:, None] - late - window * fine[None, :]
    share = np.clip(at / max(fall, 1e-9), 0.0, 1.0) if fall else (at > 0).astype(float)
    value = (20.0 + SLOPE * at) * (1 - share) + 0.2 * share
    return value.mean(axis=1)


@pytest.mark.parametrize(
    ("window", "fall", "late"), [(0.0, 0, 0), (0.3, 0, 0), (1.0, 0, 0), (0.2, 2.0, 0), (0, 0, 0.3)]
)
def test_before_a_fall_what_was_read_inside_it_is_left_out(window, fall, late):
    dice = np.random.default_rng(3)
    for begin in np.linspace(-20.0, -19.5, 11):
        t = np.arange(begin, 8.0, 0.5)
        value = shown(t, window, fall, late) + dice.normal(0, 0.001, len(t))
        kept = before_fall(Series(t, value), -15.0, 1.0)
        expected = 20.0 + SLOPE * (kept.t - late - window / 2)
        assert np.abs(kept.value - expected).max() < 0.02
        assert kept.t[-1] > -0.9


@pytest.mark.parametrize(("window", "rise"), [(0.0, 0.0), (0.9, 0.0), (0.0, 2.0), (1.0, 2.0)])
def test_after_a_rise_too(window, rise):
    t = np.arange(-12.0, 25.0, 0.5)
    value = shown(-t[::-1] + window, window, rise)[::-1] if rise or window else np.where(t < 0, 0.2, 20.0 + SLOPE * -t)
    kept = after_rise(Series(t, value), Change(-0.5, 0.0), 20.0)
    assert kept.t[0] <= 3.5
    assert np.abs(np.diff(kept.value) - np.median(np.diff(kept.value))).max() < 0.02


def test_a_collapsed_reading_that_is_stamped_before_the_current_stopped_enters_no_fit():
    t = np.arange(-15.0, 0.6, 0.5)
    value = np.where(t < 0.3, 20.0 + SLOPE * t, 0.2)
    kept = before_fall(Series(t, value), -15.0, 1.0)
    assert kept.value.min() > 19.9


def test_ripple_is_no_fall():
    t = np.arange(-15.0, 0.0, 0.25)
    value = 20.0 + SLOPE * t + 0.05 * np.sin(7.3 * t)
    assert len(before_fall(Series(t, value), -15.0, 0.0)) == len(t)


@pytest.mark.parametrize("rise", [0.001, 0.4, 2.0])
def test_a_return_is_between_the_last_reading_without_and_the_first_inside_the_rise(rise):
    """A path that closes slowly has begun before the terminals are half way up."""
    t = np.arange(-15.2, 10.0, 0.5)
    volts = Series(t, 0.2 + np.interp(t, [0.0, rise], [0.0, 22.0]))
    half = float(t[volts.value > 11.0][0])
    seen = find_change(volts, half)
    assert seen.last <= 0.0 < seen.first
    assert seen.gap == pytest.approx(0.5)


def test_of_two_voltmeters_the_one_that_shows_it_first_counts():
    slow, fast = np.arange(-15.0, 12.0, 1.0), np.arange(-15.1, 12.0, 0.5)
    held = Series(slow, np.where(slow < 1.0, 0.2, 22.0))  # one second old
    point = Series(fast, np.where(fast < 0.0, 0.2, 22.0))
    back = came_back(held, point, 1.0)
    assert back.last < 0.0 < back.first
    assert back.gap == pytest.approx(0.5)
    assert came_back(held, Series(np.empty(0), np.empty(0)), 1.0) == Change(0.0, 1.0)


def test_a_current_that_is_shown_too_long_does_not_move_the_opening_where_a_voltage_has_fallen_before():
    t = np.arange(-15.1, 12.0, 0.25)
    fallen = Series(t, np.where(t < 0.0, 20.0, 0.2))
    stays = Series(t, np.full(len(t), 29.2))
    late = Change(0.3, 0.55)
    assert opened(late, (stays,)) == late
    gone = opened(late, (stays, fallen))
    assert gone.last < 0.0 < gone.first < 0.2
