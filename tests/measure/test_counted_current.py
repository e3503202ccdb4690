"""What is not known of a current beneath its digits and between its readings, against truths that are put in."""

import numpy as np
import pytest

from runner.measure.fits.integral import changes, count, hidden
from runner.measure.recording import Series

DIGIT = 0.1  # A


def still(dice, t):
    return np.full(len(t), dice.uniform(3.0, 4.0))


def noisy(dice, t):
    return still(dice, t) + dice.normal(0.0, DIGIT * dice.uniform(0.05, 2.0), len(t))


def swinging(dice, t):
    """A ripple faster than the readings, which meet it at any phase."""
    return still(dice, t) + DIGIT * dice.uniform(0.2, 5.0) * np.sin(dice.uniform(0, 2 * np.pi, len(t)))


def stepping(dice, t):
    levels, lasts = dice.uniform(1.0, 4.0, dice.integers(2, 6)), dice.uniform(10.0, 100.0)
    return levels[(t // lasts).astype(int) % len(levels)]


def sloping(dice, t):
    return still(dice, t) + dice.uniform(-1.0, 1.0) * t / t[-1]


@pytest.mark.parametrize("current", [still, noisy, swinging, stepping, sloping])
def test_what_digits_hide_is_as_large_as_it_is_said(current):
    """The error of the sum of rounded readings, over many levels between the digits (first moment 0, second u²)."""
    dice, shares = np.random.default_rng(5), []
    t = np.arange(0.0, 3600.0, 2.0)
    for _ in range(300):
        true = current(dice, t)
        shown = np.round(np.round(true / DIGIT) * DIGIT, 6)
        u = sum(part**2 for part in hidden(shown, np.full(len(t), 2.0), DIGIT)) ** 0.5
        shares.append(2.0 * float((shown - true).sum()) / u)
    assert abs(np.mean(shares)) < 0.25
    assert np.mean(np.square(shares)) ** 0.5 < 1.1
    assert np.mean(np.abs(shares) < 2.0) > 0.95
    if current is still:
        assert np.mean(np.square(shares)) ** 0.5 == pytest.approx(1.0, abs=0.1)


def test_a_display_without_a_last_digit_hides_nothing():
    assert list(hidden(np.full(10, 2.3), np.ones(10), 0.0)) == []
    assert list(hidden(np.empty(0), np.empty(0), 0.1)) == []


def test_a_step_lies_anywhere_between_its_readings():
    dice, shares = np.random.default_rng(6), []
    t = np.arange(0.0, 100.0, 2.0)
    for _ in range(400):
        at = dice.uniform(10.0, 90.0)
        y = np.where(t < at, 20.0, 5.0)
        error = float(np.trapezoid(y, t)) - (20.0 * at + 5.0 * (98.0 - at))
        shares.append(error / float((changes(t, y) ** 2).sum() ** 0.5))
    assert np.mean(np.square(shares)) ** 0.5 == pytest.approx(1.0, abs=0.06)
    assert np.max(np.abs(shares)) < 3**0.5 + 1e-6


def test_means_over_a_window_that_end_late_leave_the_charge_as_it_is():
    t = np.arange(0.0, 400.0, 0.25)
    edges = np.clip((t - 20.3) / 1.0, 0.0, 1.0) - np.clip(
        (t - 371.7) / 1.0, 0.0, 1.0
    )  # each the mean of the last second
    flow = count(Series(t, 4.0 * edges), 10.0, 372.0, opens=True)
    assert flow.charge == pytest.approx(4.0 * (371.7 - 20.3), abs=0.05)


def test_the_rest_of_a_soft_turn_off_is_counted_and_what_comes_after_it_is_not():
    t = np.arange(0.0, 400.0, 0.25)
    soft = np.interp(t, [0.0, 19.9, 20.0, 300.0, 303.0, 320.0, 321.0, 400.0], [0.0, 0.0, 4.0, 4.0, 0.0, 0.0, 4.0, 4.0])
    flow = count(Series(t, soft), 10.0, 300.5, opens=True)
    assert flow.charge == pytest.approx(4.0 * 280.0 + 4.0 * 3.0 / 2, rel=1e-3)


@pytest.mark.parametrize(
    ("every", "lost", "gap"), [(2.0, 4.0, False), (2.0, 6.0, True), (4.0, 4.0, False), (4.0, 8.0, True)]
)
def test_a_gap_is_longer_than_five_seconds_and_than_readings_usually_are_apart(every, lost, gap):
    """Five seconds, and half as much again as usual: our own choice."""
    t = np.arange(0.0, 400.0, every)
    t = t[(t <= 200.0) | (t >= 200.0 + lost)]
    flow = count(Series(t, np.where((t > 10.0) & (t < 390.0), 4.0, 0.0)), 0.0, 390.0, opens=True)
    assert bool(flow.gaps) is gap
    assert flow.missing(flow.current) == pytest.approx(4.0 * lost if gap else 0.0)


def test_without_current_there_is_nothing_to_count():
    t = np.arange(0.0, 100.0)
    assert count(Series(t, np.full(100, 0.02)), 0.0, 90.0, opens=True, rest=0.02) is None
    assert count(Series(t, np.full(100, -4.0)), 0.0, 90.0, opens=True) is None
    assert count(Series(t[:0], t[:0]), 0.0, 90.0, opens=True) is None
