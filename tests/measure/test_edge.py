"""The instant of a change from samples around it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runner.measure.fits.edge import find_edge
from tests.builders import series


def step(instant, interval=0.25, phase=0.1, noise=0.003, level=4.0, seed=0, rising=False):
    """Samples of a current that stops (or returns) at ``instant``, and the time of the first sample after it."""
    t = np.arange(phase, instant + 20, interval)
    current = np.where((t >= instant) == rising, level, 0.0) + np.random.default_rng(seed).normal(0, noise, len(t))
    return series(t, current), float(t[t >= instant][0])


@given(st.floats(30, 60), st.floats(0, 1), st.sampled_from([0.02, 0.25, 1.0, 2.0]), st.booleans(), st.floats(0.2, 20))
def test_the_instant_lies_between_the_last_sample_before_and_the_first_after(instant, phase, interval, rising, level):
    current, at = step(instant, interval, phase * interval, 0.002 * level, level, rising=rising)
    edge = find_edge(current, at, rising=rising)
    assert edge.last < instant <= edge.first + 1e-9
    assert edge.instant == pytest.approx((edge.last + edge.first) / 2)
    assert edge.uncertainty == pytest.approx(interval / 12**0.5, rel=1e-6)


def test_the_root_mean_square_error_is_the_best_that_point_samples_allow():
    """JCGM 100:2008, 4.3.7: half-width a = h/2 gives u = h/√12. From the text, arithmetic ours."""
    dice, interval = np.random.default_rng(7), 0.25
    errors = []
    for seed in range(2000):
        instant = 40 + dice.uniform(0, 1)
        current, at = step(instant, interval, dice.uniform(0, interval), seed=seed)
        errors.append(find_edge(current, at, rising=False).instant - instant)
    assert np.sqrt(np.mean(np.square(errors))) <= 1.05 * interval / 12**0.5
    assert abs(np.mean(errors)) < 0.01


def test_a_rise_that_the_supply_takes_its_time_for_is_placed_where_it_leaves_zero():
    t = np.arange(0.0, 60.0, 0.25)
    current = np.clip((t - 30.1) * 3.0, 0.0, 4.0)
    edge = find_edge(series(t, current), 30.5, rising=True)
    assert edge.last <= 30.25
    assert edge.first <= 30.5


def test_a_rise_that_the_watcher_saw_beside_less_current_than_came_is_found_at_the_next_reading():
    """A pack that let 1 A through when it stopped lets 4 A through when it is back: 0.07 A is something to the one, nothing beside 4."""
    t = np.arange(0.0, 60.0, 0.25)
    current = np.select([t < 30.0, t < 30.25, t < 30.5], [0.005, 0.07, 2.9], 4.0)
    edge = find_edge(series(t, current), 30.0, rising=True)
    assert (edge.last, edge.first) == (30.0, 30.25)


def test_samples_that_show_no_change_give_no_edge():
    t = np.arange(0.0, 60.0, 0.25)
    assert find_edge(series(t, np.full_like(t, 4.0)), 30.0, rising=False) is None
    assert find_edge(series([], []), 30.0, rising=False) is None


def test_a_gap_around_the_change_makes_the_instant_as_uncertain_as_it_is():
    current, _ = step(40.0)
    keep = (current.t < 38.0) | (current.t > 41.0)
    edge = find_edge(
        series(current.t[keep], current.value[keep]), float(current.t[keep][current.t[keep] > 41.0][0]), rising=False
    )
    assert edge.first - edge.last > 3.0
    assert edge.uncertainty == pytest.approx((edge.first - edge.last) / 12**0.5)
