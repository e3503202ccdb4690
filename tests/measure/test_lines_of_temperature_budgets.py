"""Every line of the budget of a threshold, what is put in where one rate says nothing, and when a give-up fails.

± limits are half-width/√3, what lies between two values is their distance/√12 (JCGM 100:2008, 4.3.7).
"""

from dataclasses import replace

import numpy as np
import pytest

from runner.events import PROBE_TEMPERATURE, SUPPLY_CURRENT
from runner.measure.findings import findings
from runner.measure.recording import Attempt, Recording
from runner.measure.thermal import Thermal
from runner.measure.threshold import AGREE
from tests.builders import declared, series
from tests.builders import recording as recorded
from tests.measure.test_threshold import THETA, named, ramps, trip

QUIET = {"calibration": (0.1, "normal"), "resolution": 0.03, "coupling": 0.15, "probe_lag": (2.0, 0.5)}


def lines(finding):
    return {row.source: row.contribution for row in finding.budget}


def test_what_all_ramps_share_is_in_whole_however_many_there_are():
    for rates in ([2], [1, 2, 3], [1, 1.5, 2, 2.5, 3]):
        found = lines(trip(ramps(rates), **QUIET))
        assert found["probe calibration"] == pytest.approx(0.1)
        assert found["probe resolution"] == pytest.approx(0.03 / 12**0.5)
        assert found["contact of probe and sensor T1"] == pytest.approx(0.15)


def test_one_ramp_is_corrected_by_delay_half_a_poll_and_lag_less_the_probes_own():
    values = {"sensor_lag": {"T1": (9.0, 1.2)}, "delay": 1.5, "delay_uncertainty": 0.2, "polling": 1.0, **QUIET}
    finding = trip(ramps([3.0], noise=1e-4), **values)
    mean, deviation, _ = declared(**values).delay_in_looks
    read = THETA + 0.05 * 9.5
    assert finding.value == pytest.approx(read - 0.05 * (mean + 0.5 + 9.0 - 2.0), abs=0.01)
    found = lines(finding)
    assert found["lag of the sensor"] == pytest.approx(0.05 * 1.2, rel=1e-3)
    assert found["lag of the probe"] == pytest.approx(0.05 * 0.5, rel=1e-3)
    assert found["delay of the pack"] == pytest.approx(0.05 * deviation, rel=1e-3)
    assert found["polling interval of the pack"] == pytest.approx(0.05 * 1.0 / 12**0.5, rel=1e-3)
    assert found["moments of switching"] == pytest.approx(0.05 * 0.25 / 12**0.5, rel=1e-2)


def test_of_a_sensor_whose_lag_nobody_knows_sixteen_seconds_are_taken_off():
    """16 ± 13 s, of two lags in a row of 3 to 40 and 0.5 to 4 s: common practice, no source."""
    finding = trip(ramps([3.0], noise=1e-4), delay=1.0, polling=0.0, **QUIET)
    assert finding.value == pytest.approx(THETA + 0.05 * 9.5 - 0.05 * (1.0 + 16.0 - 2.0), abs=0.01)
    assert lines(finding)["lag of the sensor"] == pytest.approx(0.05 * 13.0, rel=1e-3)
    assert finding.functional, "a quick look"
    unprobed = trip(ramps([3.0], noise=1e-4), delay=1.0, polling=0.0, **{**QUIET, "probe_lag": None})
    assert finding.value - unprobed.value == pytest.approx(0.05 * 2.0, rel=1e-3)
    assert "lag of the probe" not in lines(unprobed)


def test_of_a_filter_that_nobody_knows_five_seconds_are_taken_off_and_none_of_two_rates():
    """None, a mean of 4 to 16 looks or first order with 1 to 10 s: anything from 0 to 10 s (common practice, no source)."""
    values = {"sensor_lag": {"T1": (9.0, 1.2)}, **QUIET}
    none, some = (trip(ramps([3.0], noise=1e-4), filter_lag=lag, **values) for lag in (0.0, None))
    assert none.value - some.value == pytest.approx(0.05 * 5.0, abs=0.002)
    assert lines(some)["filter of the pack"] == pytest.approx(0.05 * 10.0 / 12**0.5, rel=1e-3)
    said = trip(ramps([3.0], noise=1e-4), filter_lag=4.0, **values)
    assert lines(said)["filter of the pack"] == pytest.approx(0.05 * 4.0 * 0.25 / 3**0.5, rel=1e-3)
    assert "filter of the pack" not in lines(trip(ramps([1.0, 3.0]), filter_lag=None, **values)), (
        "it cancels with the lag"
    )


def test_several_ramps_of_one_rate_are_their_mean_and_average_out_what_each_has_for_itself():
    one, four = trip(ramps([3.0], noise=1e-4), **QUIET), trip(ramps([3.0] * 4, noise=1e-4), **QUIET)
    assert four.value == pytest.approx(one.value, abs=0.01)
    assert lines(four)["polling interval of the pack"] == pytest.approx(
        lines(one)["polling interval of the pack"] / 2, rel=1e-2
    )
    assert lines(four)["lag of the sensor"] == pytest.approx(lines(one)["lag of the sensor"], rel=1e-2)


@pytest.mark.parametrize(("behind", "possible"), [(85.0, True), (100.0, False), (-8.0, True), (-20.0, False)])
def test_a_lag_that_no_sensor_has_is_no_threshold(behind, possible):
    """Between −10 and 90 s: our own choice."""
    finding = trip(ramps([1, 2, 3], behind=behind, noise=1e-4), polling=0.0)
    assert (finding.value is not None) is possible


def test_ramps_agree_or_not_by_birges_ratio():
    assert trip(ramps([1, 3])).fit.startswith("only two rates")
    assert trip(ramps([1, 2, 3], noise=1e-3)).fit == AGREE


def test_a_thermometer_that_a_person_read_is_named_and_one_on_a_cable_is_not():
    wired = ramps([3.0], noise=1e-4)
    keys = replace(wired, taps=series((np.arange(51.0, 56.0) - 50.0) / 0.05, np.arange(51.0, 56.0)))
    said = "thermometer read by hand (mark at each whole degree)"
    assert said in trip(keys).caveats
    assert said not in trip(wired).caveats


# ---- given up ------------------------------------------------------------------------------------------------------


def given_up(limit, rate=0.05, name="trip", *, times=0, **more):
    """Heated, or cooled (a rate below nothing), up to the limit and given up."""
    sought = "stopped" if name == "trip" else "returned"
    kind = "heat" if rate > 0 else "cool"
    tried = Attempt(kind, "T1", 1, rate, 0.0, 1.0, 100.0, "gave up", "why", limit, sought=sought)
    before = ramps([3.0] * max(times, 1))
    attempts = (*before.attempts[:times], tried)
    recording = recorded(before.of(SUPPLY_CURRENT), before.of(PROBE_TEMPERATURE), attempts)
    return next(each for each in findings(recording, declared(**more)) if each.name == name)


# limit 57 °C; at 0.05 K/s 45 s of a sensor and 1 + 2·1 s of a delay are 2.4 K, and twice the root of 0.1² + 0.15² are 0.36 K
@pytest.mark.parametrize(("limit", "conformity"), [(59.75, "not measured"), (59.77, "fail")])
def test_a_give_up_fails_only_beyond_the_limit_by_all_the_lag_there_may_be(limit, conformity):
    assert given_up(limit).conformity == conformity
    assert ("too close to a limit to decide" in given_up(limit).reason) is (conformity == "not measured")


# of a sensor that lags by 8 ± 2·1 s: 20 s are taken at least, 1 K
@pytest.mark.parametrize(("limit", "conformity"), [(58.35, "not measured"), (58.37, "fail")])
def test_a_declared_lag_makes_that_less(limit, conformity):
    """Twenty seconds at least: our own choice."""
    assert given_up(limit, sensor_lag={"T1": (8.0, 1.0)}).conformity == conformity


# 45 s of a sensor and 20 + 2·1 s of a delay are 67 s, 3.35 K
@pytest.mark.parametrize(("limit", "conformity"), [(60.70, "not measured"), (60.72, "fail")])
def test_a_long_delay_is_waited_for_too(limit, conformity):
    assert given_up(limit, delay=20.0, delay_uncertainty=0.0, polling=1.0).conformity == conformity


@pytest.mark.parametrize(("limit", "conformity"), [(40.25, "not measured"), (40.23, "fail")])
def test_a_release_that_does_not_come_fails_below_its_lower_limit(limit, conformity):
    assert given_up(limit, -0.05, "release").conformity == conformity
    assert given_up(limit, -0.05, "release", latching=True).conformity == "not measured"


def test_what_it_did_before_is_said():
    assert given_up(60.0, times=2).caveats == ("seen before in this run: 2",)
    assert given_up(60.0).caveats == ()


# ---- one more ------------------------------------------------------------------------------------------------------


def near(theta, count=1, **more):
    values = {
        "delay": 0.0,
        "polling": 4.0,
        "probe_lag": (1.75, 0.01),
        "calibration": (1e-4, "normal"),
        "coupling": 1e-4,
        "resolution": 1e-3,
        "sensor_lag": {"T1": (9.75, 0.01)},
    }
    return trip(ramps([3.0] * count, theta=theta, behind=9.5, noise=1e-4), **{**values, **more})


def test_one_more_ramp_is_worth_it_near_a_limit_only():
    finding = near(57.0)
    assert finding.one_more > 0.05
    assert any(f"by about {100 * finding.one_more:.0f} %" in each for each in finding.caveats)
    assert near(55.0).one_more == 0.0
    assert near(53.0).one_more > 0.05


def test_the_gain_is_what_the_parts_average_out_that_each_ramp_has_for_itself():
    """With all of it its own, two ramps instead of one make it 1 − 1/√2 smaller: 29 %; three instead of two 18 %.

    How early noise makes the pack act is the same at each ramp, and averages out in none.
    """
    for count in (1, 2):
        finding = near(57.0, count)
        squares = {row.source: row.contribution**2 for row in finding.budget}
        own = 1 - squares["noise of the pack, which makes it act early"] / sum(squares.values())
        assert finding.one_more == pytest.approx(1 - (1 - own / (count + 1)) ** 0.5, abs=0.01)
        assert 0.4 < own < 0.9


def test_where_nothing_averages_out_none_is_offered():
    assert near(57.0, polling=0.0, coupling=0.5).one_more == 0.0


# ---- what a crossing takes of a ramp -------------------------------------------------------------------------------


def test_the_way_up_to_the_ramp_and_half_a_minute_of_it_are_left_out():
    """Freely heated at 6 K/min for 40 s, then 60 s at 1 K/min. Half a minute: for sensor and probe to follow."""
    t = np.arange(0.0, 105.0, 0.25)
    temperature = np.where(t < 40.0, 50.0 + 0.1 * t, 54.0 + (t - 40.0) / 60) + 1e-4 * (-1.0) ** np.arange(len(t))
    current = np.where(t < 100.1, 4.0, 0.0)
    attempt = Attempt("heat", "T1", 1, 1 / 60, 0.0, 40.0, 100.25, "stopped", "")
    maker = Thermal(
        Recording({SUPPLY_CURRENT: series(t, current), PROBE_TEMPERATURE: series(t, temperature)}, (attempt,)),
        declared(),
        "T1",
    )
    crossing = maker._crossing(attempt)
    assert crossing.ramp.begin >= 70.0
    assert crossing.ramp.rate * 60 == pytest.approx(1.0, abs=0.01)
    early = Attempt("heat", "T1", 1, 1 / 60, 0.0, None, 100.25, "stopped", "")
    finding = next(
        each
        for each in findings(
            Recording({SUPPLY_CURRENT: series(t, current), PROBE_TEMPERATURE: series(t, temperature)}, (early,)),
            declared(),
        )
        if each.name == "trip"
    )
    assert finding.functional
    assert any("1 of 1 changes occurred before the slow ramp" in each for each in finding.caveats)


def test_hysteresis_is_positive_whichever_is_the_higher():
    assert named(ramps([1, 2, 3]), "hysteresis").reason == "the release was not measured"
