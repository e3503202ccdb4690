"""Rules of counting, levels, edges and falls, each with the smallest record that shows it. Expected values by hand."""

import numpy as np
import pytest

from runner.measure.finding import Finding
from runner.measure.fits.averaging import of_window
from runner.measure.fits.edge import SETTLING, find_edge
from runner.measure.fits.integral import BLOCK, count, flowing, hidden, largest_first
from runner.measure.fits.level import came_back, find_change
from runner.measure.recording import Series, Specification

ROOT12 = 12.0**0.5


def _series(*pairs):
    return Series(*(np.array(column, float) for column in zip(*pairs, strict=True)))


def test_most_readings_without_a_current_do_not_make_little_of_one():
    """An output that was off for most of the record: what flows is judged by what flowed, not by the middle of all."""
    assert flowing(np.array([0.0] * 9 + [0.15, 2.0, 2.0, 2.0])).tolist() == [False] * 10 + [True] * 3


def test_the_last_reading_stands_until_the_end():
    flow = count(_series((0, 1), (1, 1), (2, 3)), 0.0, 3.0, opens=False)
    assert flow.t.tolist() == [0, 1, 2, 3]
    assert flow.current.tolist() == [1, 1, 3, 3]
    assert float(flow.weight @ flow.current) == pytest.approx(1 + 2 + 3)  # A·s: trapezoids


def test_what_is_left_of_the_parts_adds_by_its_squares():
    assert largest_first([3.0, 7.0, 4.0, 9.0], 2) == ([9.0, 7.0], pytest.approx(5.0))


def test_digits_of_a_current_that_moves_in_a_later_part_are_many_draws():
    """Steady for a block: one hidden digit for all of it. Where it moves from reading to reading, the digits average out."""
    steady = np.full(BLOCK, 2.0)
    moving = np.where(np.arange(BLOCK) % 2, 2.4, 2.6)
    value, weight = np.concatenate([steady, moving]), np.ones(2 * BLOCK)
    parts = sorted(hidden(value, weight, 0.1))
    assert parts[-1] == pytest.approx(BLOCK * 0.1 / ROOT12)
    assert sum(parts[:-1]) < 0.8 * parts[-1]


def test_a_voltage_that_moves_in_its_own_noise_has_not_changed():
    rng = np.random.default_rng(1)
    t = np.arange(0.0, 40.0, 0.5)
    noisy = 20.0 + 0.01 * rng.standard_normal(len(t)) + np.where(t >= 20.0, 0.06, 0.0)
    assert find_change(Series(t, noisy), 20.0) is None
    assert find_change(Series(t, noisy + np.where(t >= 20.0, 1.0, 0.0)), 20.0).first == 20.0


def test_the_level_after_a_change_is_what_was_read_after_it():
    """A voltage that had been high long before, and is gone again soon: only the readings around the change count."""
    t = np.arange(0.0, 300.0, 0.5)
    value = np.where(t < 60.0, 26.0, np.where(t < 100.0, 0.1, np.where(t < 115.0, 25.0, 0.1)))
    change = find_change(Series(t, value), 100.0)
    assert (change.last, change.first) == (99.5, 100.0)


def test_terminals_that_were_read_once_before_they_came_back_have_that_reading_before():
    """Of too few readings no change is found: then it lies between the reading before and the one that was seen."""
    change = came_back(_series((10.0, 25.0), (12.0, 25.0)), _series((500.0, 0.0)), 12.0)
    assert (change.last, change.first) == (10.0, 12.0)


def test_a_noisy_current_has_not_fallen_by_its_noise():
    """Readings of a tenth more or less: one of 88 % is noise. The fall is between 10.0 s and 10.5 s."""
    rng = np.random.default_rng(2)
    t = np.arange(0.0, 14.0, 0.5)
    value = np.where(t <= 10.0, 4.0 + 0.2 * rng.standard_normal(len(t)), 0.0)
    value[20] = 0.85 * 4.0  # at 10.0 s
    edge = find_edge(Series(t, value), 10.5, rising=False)
    assert (edge.last, edge.first) == (10.0, 10.5)
    assert edge.uncertainty == pytest.approx(0.5 / ROOT12)


def test_a_rise_between_two_readings_is_as_unsure_as_they_are_apart():
    """A whole reading after none, over a window of 0.2 s that ends with its time.

    The last reading may hide √(2·0.02·0.1·0.2) s of a slow beginning; but no rise is known better than its readings are apart.
    """
    t = np.arange(0.0, 20.0, 0.5)
    edge = find_edge(Series(t, np.where(t >= 10.0, 2.0, 0.0)), 10.0, rising=True, meter=of_window(0.2))
    latest, soonest = 10.0 - 0.2, 9.5 - (2 * 0.02 * SETTLING * 0.2) ** 0.5
    assert edge.instant == pytest.approx((latest + soonest) / 2)
    assert edge.uncertainty == pytest.approx(0.5 / ROOT12)


def test_a_finding_is_measured_unless_it_says_otherwise():
    """Findings of before the word existed have none."""
    content = Finding(
        "trip", "under_voltage", None, 20.5, "V", 0.1, 2.0, 0.95, None, None, None, None, None, None, ""
    ).as_json()
    del content["functional"]
    assert Finding.from_json(content).functional is False


def test_what_nobody_said_of_a_calibration_is_nothing():
    assert Specification.__dataclass_fields__["calibration"].default == (0.0, "normal")
