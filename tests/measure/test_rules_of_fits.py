"""Edges, ramps, taps, bends and forecasts, each rule at its bound."""

import math

import numpy as np
import pytest

from runner.measure.fits.averaging import LEAST_DEVIATION, of_window
from runner.measure.fits.edge import Edge, find_edge
from runner.measure.fits.ramp import fit_bend, fit_ramp, fit_taps
from runner.measure.fits.recovery import fit_relaxation, forecast
from runner.measure.readings import gap_before, lowest_held
from runner.measure.recording import Series
from tests.builders import series
from tests.distributions import half_width

# ---- edges ---------------------------------------------------------------------------------------------------------


def stopping(values, every=0.5):
    """The edge of readings that end with the first one after the change."""
    t = np.arange(len(values)) * every
    return find_edge(series(t, values), float(t[-1]), rising=False)


@pytest.mark.parametrize(("dip", "last"), [(3.65, 9.5), (3.55, 9.0)])
def test_a_current_has_left_its_level_below_nine_tenths_of_it(dip, last):
    """Nine tenths: our own choice."""
    assert stopping([4.0] * 19 + [dip, 0.0]).last == last


@pytest.mark.parametrize(("value", "first"), [(0.079, 10.0), (0.081, 9.5)])
def test_a_current_has_come_back_above_a_fiftieth_of_its_level(value, first):
    """A fiftieth: our own choice, so that a pre-charge is the beginning of a return."""
    values = [0.0] * 19 + [value, 4.0, 4.0, 4.0]
    t = np.arange(len(values)) * 0.5
    assert find_edge(series(t, values), 10.0, rising=True).first == first


def test_a_change_is_looked_for_in_the_five_seconds_before_it_was_seen():
    """Five seconds: our own choice."""
    t = np.arange(0.0, 20.5, 0.5)
    for early, found in ((15.5, True), (15.0, False), (14.0, False)):
        current = np.where(t < early, 4.0, 0.0)
        assert (find_edge(series(t, current), 20.0, rising=False) is not None) is found


def test_at_a_slow_meter_three_readings_before_are_looked_at():
    t = np.arange(0.0, 41.0, 4.0)
    edge = find_edge(series(t, np.where(t < 30.0, 4.0, 0.0)), 32.0, rising=False)
    assert (edge.last, edge.first) == (28.0, 32.0)


def test_readings_before_the_current_was_switched_on_belong_to_something_else():
    t = np.arange(0.0, 12.5, 0.5)
    current = np.where(t < 9.0, 0.0, np.where(t < 12.0, 4.0, 0.0))
    assert find_edge(series(t, current), 12.0, rising=False, begin=9.0).level == 4.0
    assert find_edge(series(t, current), 12.0, rising=False, begin=11.9) is None


@pytest.mark.parametrize(("share", "stamp", "instant"), [(0.25, 0.5, 9.975), (0.75, 0.5, 10.025), (0.25, 1.0, 9.925)])
def test_a_reading_that_averages_over_the_stop_says_where_it_was(share, stamp, instant):
    """A tenth of a second about 10.0 s, a quarter of it before the stop: 25 ms after its beginning; or the tenth before 10.0 s."""
    t = np.arange(0.0, 12.0, 0.5)
    current = np.where(t < 10.0, 4.0, 0.0)
    current[t == 10.0] = 4.0 * share
    edge = find_edge(series(t, current), 10.0, rising=False, meter=of_window(0.1, stamp))
    assert edge.instant == pytest.approx(instant, abs=0.001)
    assert not edge.rectangular
    assert edge.uncertainty == pytest.approx(LEAST_DEVIATION * 0.1, rel=0.1), "no window is a perfect rectangle"


def test_a_reading_that_averages_over_a_rise_says_that_it_began_before_as_a_supply_takes_its_time():
    """A quarter of a window of 0.4 s that ends at 10.0 s was with current: for 0.1 s, or for more while the supply settled."""
    t = np.arange(0.0, 14.0, 0.5)
    current = np.where(t > 10.0, 4.0, 0.0)
    current[t == 10.0] = 1.0
    edge = find_edge(series(t, current), 10.0, rising=True, meter=of_window(0.4))
    assert 9.4 < edge.instant - half_width(edge, 1.0) < edge.instant + half_width(edge, 1.0) == pytest.approx(9.9)


@pytest.mark.parametrize("share", [0.04, 0.96])
def test_a_reading_near_one_of_the_ends_is_not_inside_the_change(share):
    t = np.arange(0.0, 12.0, 0.5)
    current = np.where(t < 10.0, 4.0, 0.0)
    current[t == 9.5 if share > 0.5 else t == 10.0] = 4.0 * share
    assert find_edge(series(t, current), 10.0, rising=False, meter=of_window(0.1, 0.5)).rectangular


def test_half_an_interval_of_a_rectangle_is_its_share_of_the_half_width():
    assert half_width(Edge(0.0, 1.0, 4.0, 0.0, 1.0), 0.95) == pytest.approx(0.95 * 3**0.5)
    assert half_width(Edge(0.0, 1.0, 4.0, 0.0, 1.0, rectangular=False), 0.95) == pytest.approx(1.96, abs=0.001)


# ---- ramps ---------------------------------------------------------------------------------------------------------


def line(seconds, every=0.5, rate=0.05, bend=0.0):
    t = np.arange(0.0, seconds + every / 2, every)
    return Series(t, 50.0 + rate * t + bend * (t - seconds) ** 2 + 1e-4 * (-1.0) ** np.arange(len(t)))


def test_a_ramp_is_fitted_to_its_last_minute_and_a_bent_one_to_less():
    assert fit_ramp(line(100.0), 100.0, 0.0, 0.0).begin == 40.0
    bent = fit_ramp(line(100.0, bend=1e-3), 100.0, 0.0, 0.0)
    assert not bent.straight
    assert bent.begin == pytest.approx(100.0 - 60.0 * 0.75**4, abs=0.5)


@pytest.mark.parametrize(("seconds", "fitted"), [(14.5, False), (15.0, True)])
def test_a_quarter_of_a_minute_is_the_shortest_ramp(seconds, fitted):
    """A quarter of a minute, eight readings: our own choice."""
    assert (fit_ramp(line(seconds), seconds, 0.0, 0.0) is not None) is fitted
    assert (fit_ramp(line(30.0, every=30.0 / (7 if fitted else 6)), 30.0, 0.0, 0.0) is not None) is fitted


def test_a_display_that_steps_knows_no_better_than_its_step():
    flat = Series(np.arange(0.0, 30.0, 0.5), np.full(60, 50.0))
    assert fit_ramp(flat, 29.5, 0.0, 0.1).scatter == pytest.approx(0.1 / 12**0.5)


def tapped(late=(0.0, 0.0, 0.0, 0.0), rate=0.05, reaction=(0.5, 0.2), count=4):
    t = np.arange(count) / rate + np.array(late[:count]) + reaction[0]
    return fit_taps(Series(t, 50.0 + np.arange(count)), float((count - 1) / rate), 0.0, reaction)


def test_taps_are_a_reaction_late_and_as_sure_as_keys_are():
    ramp = tapped()
    assert ramp.temperature == pytest.approx(53.0)
    assert ramp.rate == pytest.approx(0.05)
    assert ramp.scatter == pytest.approx(0.05 * 0.2)
    assert ramp.wander == 0.0
    x = np.array([-60.0, -40.0, -20.0, 0.0])
    covariance = np.linalg.inv(np.column_stack([np.ones(4), x]).T @ np.column_stack([np.ones(4), x]))
    assert ramp.temperature_uncertainty == pytest.approx(0.01 * covariance[0, 0] ** 0.5)
    assert ramp.rate_uncertainty == pytest.approx(0.01 * covariance[1, 1] ** 0.5)
    assert math.isinf(ramp.dof)


def test_taps_that_scatter_more_than_keys_do_have_wandered():
    ramp = tapped((3.0, -3.0, 3.0, -3.0))
    assert ramp.wander == pytest.approx((ramp.scatter**2 - (ramp.rate * 0.2) ** 2) ** 0.5)
    assert ramp.dof == 2


def test_two_taps_are_too_few_and_of_many_the_last_four_count():
    assert tapped(count=2) is None
    assert tapped(count=3) is not None
    t = np.arange(8) / 0.05
    values = np.array([0.0, 5.0, 40.0, 41.0, 50.0, 51.0, 52.0, 53.0])
    assert fit_taps(Series(t, values), float(t[-1]), 0.0, (0.0, 0.2)).temperature == pytest.approx(53.0)


def test_a_bend_needs_five_readings_and_gives_value_and_slope_anywhere():
    t = np.arange(10.0)
    bend = fit_bend(Series(t, 3.0 + 0.2 * t + 0.05 * t * t), 5.0, 0.0, 9.0, 0.0)
    value, _, slope = bend.at(-2.0)
    assert (value, slope) == (pytest.approx(3.0 + 0.6 + 0.45), pytest.approx(0.2 + 0.3))
    assert bend.dof == 7
    assert fit_bend(Series(t, t), 5.0, 0.0, 4.0, 0.0).dof == 2
    assert fit_bend(Series(t, t), 5.0, 0.0, 3.0, 0.0) is None


# ---- forecasts -----------------------------------------------------------------------------------------------------


def test_a_forecast_spans_both_laws_and_needs_five_readings():
    t = np.arange(0.0, 201.0, 10.0)
    volts = Series(100.0 + t, 21.0 + 1.5 * (1 - np.exp(-t / 200.0)))
    found = forecast(volts, 100.0, 22.2)
    truth = 200.0 * math.log(1.5 / 0.3)
    assert found.low <= truth <= found.high
    assert found.low >= 200.0
    assert forecast(Series(volts.t[:5], volts.value[:5]), 100.0, 22.2) is None, "the one at off does not count"
    assert forecast(Series(volts.t[:6], volts.value[:6]), 100.0, 22.2) is not None


@pytest.mark.parametrize(("hours", "never"), [(23.9, False), (24.1, True)])
def test_what_would_take_longer_than_a_day_is_never(hours, never):
    """A voltage that rises by as much in every tenfold of the time; a day: our own choice."""
    t = np.geomspace(2.0, 600.0, 40)
    volts = Series(t, 21.0 + 0.2 * np.log10(t))
    assert math.isinf(forecast(volts, 0.0, 21.0 + 0.2 * math.log10(hours * 3600.0)).expected) is never


def test_what_does_not_rise_is_never_there_and_not_before_now():
    t = np.arange(0.0, 201.0, 10.0)
    found = forecast(Series(t, 21.0 - 0.001 * t), 0.0, 22.0)
    assert (found.expected, found.low, found.high) == (math.inf, 200.0, math.inf)


def test_a_rise_from_nothing_has_its_end_its_amplitude_and_its_rate():
    x = np.linspace(0.1, 10.0, 50)
    fit = fit_relaxation(x, 2.0 * (1.0 - np.exp(-0.5 * x)), (1.0,), from_zero=True)
    assert (fit.final, *fit.amplitudes, *fit.rates) == pytest.approx((2.0, -2.0, 0.5))
    fall = fit_relaxation(x, 1.0 + 3.0 * np.exp(-0.5 * x), (1.0,))
    assert (fall.final, *fall.amplitudes, *fall.rates) == pytest.approx((1.0, 3.0, 0.5))


def test_what_has_come_up_already_is_said_when():
    t = np.arange(0.0, 201.0, 10.0)
    found = forecast(Series(100.0 + t, 21.0 + 0.01 * t), 100.0, 22.0)
    assert (found.expected, found.low, found.high) == (100.0, 100.0, 100.0)


# ---- readings ------------------------------------------------------------------------------------------------------


def test_a_dip_that_is_shorter_than_the_pack_looks_releases_nothing():
    part = Series(np.arange(0.0, 10.0), np.array([29.0, 29, 27, 28.5, 28.4, 28.3, 28.4, 28.5, 28.6, 28.6]))
    assert lowest_held(part, 0.0) == 27.0
    assert lowest_held(part, 3.0) == 28.5
    assert lowest_held(part, 20.0) == math.inf


def test_the_gap_before_a_reading_is_to_the_one_before_it():
    part = Series(np.array([1.0, 4.0, 6.0]), np.zeros(3))
    assert (gap_before(part, 6.0), gap_before(part, 4.0), gap_before(part, 1.0)) == (2.0, 3.0, 0.0)
