"""The threshold, against truths that are put in. The arithmetic of a first-order lag behind a ramp is exact: the lagging
value is behind by rate × lag once the ramp has gone on for several lags."""

import numpy as np
import pytest

from runner.events import PROBE_TEMPERATURE, SUPPLY_CURRENT
from runner.measure.budget import Inputs
from runner.measure.finding import NOT_REACHED
from runner.measure.findings import findings
from runner.measure.recording import Attempt
from runner.measure.thermal import hysteresis
from tests.builders import declared, series
from tests.builders import recording as recorded

THETA, DELAY, LAG = 54.6, 1.5, 8.0  # °C, s (delay and half the polling), s (sensor beyond the probe)


def ramps(
    rates_per_minute, *, theta=THETA, behind=DELAY + LAG, noise=0.01, seed=3, outcome="stopped", kind="heat", start=50.0
):
    """A recording of straight ramps that each end with a change of the current where theta + rate·behind is read."""
    dice = np.random.default_rng(seed)
    times, temperatures, currents, attempts = [], [], [], []
    clock = 0.0
    for cycle, per_minute in enumerate(rates_per_minute, start=1):
        rate = per_minute / 60
        tau = clock + (theta + rate * behind - start) / rate
        t = np.arange(clock, tau + 5.0, 0.25)
        times.append(t)
        temperatures.append(start + rate * (t - clock) + dice.normal(0, noise, len(t)))
        before, after = (4.0, 0.0) if outcome == "stopped" else (0.0, 4.0)
        currents.append(np.where(t < tau, before, after) + dice.normal(0, 0.003, len(t)))
        at = float(t[t >= tau][0])
        attempts.append(Attempt(kind, "T1", cycle, rate, clock, clock + 1.0, at, outcome, ""))
        clock = float(t[-1]) + 1.0
    t = np.concatenate(times)
    return recorded(series(t, np.concatenate(currents)), series(t, np.concatenate(temperatures)), tuple(attempts))


def trip(recording, **changed):
    return next(each for each in findings(recording, declared(**changed)) if each.name == "trip")


def named(recording, name, **changed):
    return next(each for each in findings(recording, declared(**changed)) if each.name == name)


def test_three_rates_give_the_threshold_free_of_delay_and_lag():
    finding = trip(ramps([1, 2, 3]))
    assert finding.value == pytest.approx(THETA, abs=0.03)
    assert max(finding.repeats) - THETA > 0.4  # what would have been read off by eye
    assert finding.conformity == "pass"


def test_the_slope_is_the_delay_and_the_lag():
    finding = named(ramps([1, 2, 3]), "delay and lag")
    assert finding.value == pytest.approx(DELAY + LAG, abs=3 * finding.expanded_uncertainty / finding.coverage_factor)
    assert finding.unit == "s"
    assert finding.conformity is None


def test_the_rates_need_not_be_the_ones_that_were_asked_for():
    assert trip(ramps([0.7, 2.4, 4.5])).value == pytest.approx(THETA, abs=0.04)


def test_one_ramp_is_corrected_by_what_is_declared_and_says_so():
    known = {"sensor_lag": {"T1": (LAG + 1.75, 1.0)}}
    finding = trip(ramps([2]), **known)
    assert finding.value == pytest.approx(THETA, abs=0.05)
    assert any("not extrapolated" in text for text in finding.caveats)


def test_an_unknown_lag_widens_the_interval_and_is_never_invented_in_silence():
    known, unknown = trip(ramps([3]), sensor_lag={"T1": (9.75, 1.0)}), trip(ramps([3]))
    assert unknown.expanded_uncertainty > known.expanded_uncertainty
    assert any("lag of sensor T1 not declared" in text for text in unknown.caveats)


def test_rates_that_are_too_much_alike_are_not_extrapolated():
    finding = trip(ramps([2.0, 2.1, 2.2]))
    assert finding.fit == "the rates are too similar"
    assert named(ramps([2.0, 2.1, 2.2]), "delay and lag").conformity == "not measured"


def test_a_difference_of_two_thresholds_loses_the_probes_common_error():
    down = ramps([1, 2, 3], theta=45.0, outcome="returned", kind="cool", start=40.0)
    up = ramps([1, 2, 3])
    later = float(up.of(SUPPLY_CURRENT).t[-1]) + 100.0
    both = recorded(
        series(np.concatenate([up.of(SUPPLY_CURRENT).t, down.of(SUPPLY_CURRENT).t + later]), np.concatenate([up.of(SUPPLY_CURRENT).value, down.of(SUPPLY_CURRENT).value])),
        series(np.concatenate([up.of(PROBE_TEMPERATURE).t, down.of(PROBE_TEMPERATURE).t + later]), np.concatenate([up.of(PROBE_TEMPERATURE).value, down.of(PROBE_TEMPERATURE).value])),
        up.attempts + tuple(Attempt(a.kind, a.sensor, a.cycle, a.rate, a.began + later, a.ramp_began + later, a.at + later, a.outcome, "")
                            for a in down.attempts),
    )  # fmt: skip
    hysteresis, alone = named(both, "hysteresis"), named(both, "trip")
    assert hysteresis.value == pytest.approx(THETA - 45.0, abs=0.06)
    assert hysteresis.expanded_uncertainty < 0.8 * alone.expanded_uncertainty
    assert not [row for row in hysteresis.budget if "calibration" in row.source or "coupling" in row.source]


def test_coupling_that_turns_with_the_direction_counts_twice_between_trip_and_release_and_growth_hardly():
    """22 K and 32 K above a room of 23 °C: 1 % is 0.22 and 0.32 K, of which the difference has 0.1 K."""
    ways = [ramps([rate]) for rate in (1, 2, 3)]
    ways += [ramps([-rate], theta=45.0, outcome="returned", kind="cool", start=50.0) for rate in (1, 2, 3)]
    both = _joined(ways)
    found = {
        each.name: {row.kind: row.contribution for row in each.budget}
        for each in findings(both, declared(coupling_growth=0.01, coupling_direction=0.1))
        if each.value is not None
    }
    assert found["trip"]["contact of probe and sensor, heating against cooling"] == pytest.approx(0.1)
    assert found["release"]["contact of probe and sensor, heating against cooling"] == pytest.approx(0.1)
    assert found["hysteresis"]["contact of probe and sensor, heating against cooling"] == pytest.approx(0.2)
    assert found["trip"]["contact of probe and sensor, growing with the temperature"] == pytest.approx(0.32, abs=0.01)
    assert found["hysteresis"]["contact of probe and sensor, growing with the temperature"] == pytest.approx(
        0.1, abs=0.01
    )


def test_an_unknown_lag_counts_twice_between_a_trip_on_the_way_up_and_a_release_on_the_way_down():
    rate = 2.0  # K/min, either way: θ' = θ ∓ rate · lag, so the difference moves by twice that
    down = ramps([-rate], theta=45.0, outcome="returned", kind="cool", start=50.0)
    hysteresis = named(_joined([ramps([rate]), down]), "hysteresis")
    share = {row.source: row.contribution for row in hysteresis.budget}
    assert share["lag of the sensor"] == pytest.approx(2 * rate / 60 * 13.0, rel=0.02)


def test_ramps_that_disagree_widen_the_interval():
    recording = ramps([1, 2, 3])
    bent = recorded(
        recording.of(SUPPLY_CURRENT),
        series(
            recording.of(PROBE_TEMPERATURE).t,
            recording.of(PROBE_TEMPERATURE).value
            + np.where((recording.of(PROBE_TEMPERATURE).t > 350) & (recording.of(PROBE_TEMPERATURE).t < 520), 0.4, 0),
        ),
        recording.attempts,
    )
    finding = trip(bent)
    assert "more than the instruments explain" in finding.fit
    assert finding.expanded_uncertainty > 2 * trip(recording).expanded_uncertainty
    assert any(row.source == "repeatability of the pack" for row in finding.budget)


def test_changes_that_do_not_follow_the_temperature_are_no_threshold():
    finding = trip(ramps([1, 2, 3], behind=-60.0))
    assert finding.conformity == "not measured"
    assert "do not match the temperature" in finding.reason


def test_a_give_up_beyond_the_limits_fails_and_one_near_them_says_nothing():
    def given_up(limit):
        attempt = Attempt(
            "heat",
            "T1",
            1,
            3 / 60,
            0.0,
            1.0,
            100.0,
            "gave up",
            f"did not trip by {limit:.1f} °C",
            limit,
            sought="stopped",
        )
        return trip(recorded(series([0, 1], [4, 4]), series([0, 1], [50, 50]), (attempt,)))

    assert given_up(63.0).conformity == "fail"
    assert given_up(63.0).reason == "did not trip by 63.0 °C"
    assert given_up(63.0).value is None
    assert given_up(57.5).conformity == "not measured"


def test_nothing_attempted_is_not_measured_with_the_reason():
    nothing = recorded(series([0], [0]), series([0], [20]), (), "stopped by me")
    assert trip(nothing).reason == NOT_REACHED


@pytest.mark.parametrize("rates", [[1, 2, 3], [2], [1, 3]])
def test_every_budget_adds_up_to_its_uncertainty(rates):
    for finding in findings(ramps(rates), declared()):
        if finding.value is not None:
            u = finding.expanded_uncertainty / finding.coverage_factor
            assert sum(row.contribution**2 for row in finding.budget) == pytest.approx(u**2, rel=1e-9)


def test_over_many_random_truths_the_stated_interval_holds_as_often_as_it_says():
    """Without the shared errors of probe and coupling: what the ramps themselves contribute, with the pack's polling."""
    dice, held, count = np.random.default_rng(11), 0, 150
    for seed in range(count):
        theta, lag = dice.uniform(54, 56), dice.uniform(1, 12)
        recordings = [
            ramps([rate], theta=theta, behind=lag + 1.0 + dice.uniform(0, 1), seed=1000 * seed + rate)
            for rate in (1, 2, 3)
        ]
        finding = trip(_joined(recordings), calibration=(1e-6, "normal"), coupling=1e-6)
        held += abs(finding.value - theta) <= finding.expanded_uncertainty
    assert held / count >= 0.93  # the ramps here are steadier than hands are, so more than 97 % is no surprise


def _joined(recordings):
    """Several recordings one after the other."""
    t, current, temperature, attempts, later = [], [], [], [], 0.0
    for cycle, each in enumerate(recordings, start=1):
        t.append(each.of(SUPPLY_CURRENT).t + later)
        current.append(each.of(SUPPLY_CURRENT).value)
        temperature.append(each.of(PROBE_TEMPERATURE).value)
        (a,) = each.attempts
        attempts.append(
            Attempt(a.kind, a.sensor, cycle, a.rate, a.began + later, a.ramp_began + later, a.at + later, a.outcome, "")
        )
        later += float(each.of(SUPPLY_CURRENT).t[-1]) + 100.0
    times = np.concatenate(t)
    return recorded(series(times, np.concatenate(current)), series(times, np.concatenate(temperature)), tuple(attempts))


@pytest.mark.parametrize(("protection", "sign"), [("charge_over_temperature", 1), ("discharge_under_temperature", -1)])
def test_a_pack_that_releases_beyond_its_trip_has_a_hysteresis_below_nothing(protection, sign):
    inputs = Inputs()
    trip, release = (inputs.add("it", value, 0.1) for value in (55.0, 45.0))
    assert float(hysteresis(declared(protection=protection), trip, release).x) == pytest.approx(sign * 10.0)
    assert float(hysteresis(declared(protection=protection), release, trip).x) == pytest.approx(-sign * 10.0)
