"""How different the rates of ramps have to be before their thresholds are carried on to no rate at all."""

from dataclasses import replace

import numpy as np
import pytest

from runner.events import PROBE_TEMPERATURE, SUPPLY_CURRENT
from tests.builders import recording as recorded
from tests.builders import series
from tests.measure.test_threshold import LAG, THETA, named, ramps, trip

SURE = {"coupling": 0.0, "calibration": (0.01, "normal")}
KNOWN = {"sensor_lag": {"T1": (LAG + 1.75, 1.0)}}


def joined(parts):
    """Records of one ramp each, one after the other."""
    current, probe, attempts, clock = [], [], [], 0.0
    for cycle, part in enumerate(parts, start=1):
        (attempt,), supply, thermometer = part.attempts, part.of(SUPPLY_CURRENT), part.of(PROBE_TEMPERATURE)
        current.append((supply.t + clock, supply.value))
        probe.append((thermometer.t + clock, thermometer.value))
        moved = {name: getattr(attempt, name) + clock for name in ("began", "ramp_began", "at")}
        attempts.append(replace(attempt, cycle=cycle, **moved))
        clock += float(supply.t[-1]) + 1.0
    return recorded(
        *(series(*map(np.concatenate, zip(*each, strict=True))) for each in (current, probe)), tuple(attempts)
    )


@pytest.mark.parametrize(("rates", "carried_on"), [((2.0, 2.76), False), ((2.0, 2.84), True), ((2.84, 2.0), True)])
def test_two_ramps_are_extrapolated_from_a_ratio_of_seven_to_five(rates, carried_on):
    """Seven to five: our own choice; below it the line is turned by the noise of two points."""
    delay_and_lag = named(ramps(rates), "delay and lag")
    assert (delay_and_lag.conformity != "not measured") is carried_on
    assert any("rates are too similar" in text for text in trip(ramps(rates)).caveats) is not carried_on


def test_the_fastest_and_the_slowest_count_whatever_is_between():
    assert named(ramps([2.0, 2.1, 3.0]), "delay and lag").conformity != "not measured"


def test_ramps_that_are_alike_are_each_corrected_by_what_is_declared():
    one, three = trip(ramps([3.0]), **KNOWN), trip(ramps([3.0, 3.1, 2.9]), **KNOWN)
    assert three.value == pytest.approx(THETA, abs=0.05)
    assert one.value == pytest.approx(THETA, abs=0.05)


def scattered(rates, seed, scatter=0.3):
    """Ramps of a pack that trips by this much (K, standard deviation) higher or lower each time."""
    dice = np.random.default_rng(seed)
    parts = [ramps([rate], theta=THETA + dice.normal(0, scatter), seed=seed) for rate in rates]
    return joined(parts)


@pytest.mark.parametrize(("rates", "least"), [((2.0, 2.004), 0.74), ((2.0, 2.1, 2.05, 1.98), 0.90)])
def test_a_pack_that_does_not_repeat_shows_in_ramps_of_nearly_one_rate(rates, least):
    """120 packs that scatter by 0.3 K, twice as much as packs usually do: two ramps leave one degree of freedom for that, and hold
    82 % (of packs that scatter by 0.15 K, 92 %). A line through two points of nearly one rate leaves none, and held 58 %."""
    held = []
    for seed in range(120):
        finding = trip(scattered(rates, seed), sensor_lag={"T1": (LAG + 1.75, 0.1)}, **SURE)
        held.append(abs(finding.value - THETA) <= finding.expanded_uncertainty)
    assert np.mean(held) >= least


def test_ramps_of_nearly_one_rate_that_disagree_say_so():
    apart = joined([ramps([2.0], theta=THETA - 0.6), ramps([2.01], theta=THETA + 0.6)])
    assert any("the ramps differ by about" in text for text in trip(apart, **KNOWN).caveats)
    alike = joined([ramps([2.0]), ramps([2.6])])
    assert not any("the ramps differ by about" in text for text in trip(alike, **KNOWN).caveats), (
        "a lag is no disagreement"
    )
