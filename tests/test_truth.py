"""A rehearsal says what it got right: as many values as hold the truth, and those that do not by name."""

import pytest

from runner.rehearsal.truth import against_truth, least_by_chance

TRUTH = {"changes": [], "thresholds": {"charge_over_temperature": {"T1": {"trip": 55.0, "release": 45.0}}}}


def finding(name, value, uncertainty=0.5):
    own = {"protection": "charge_over_temperature", "sensor": "T1", "unit": "°C", "procedure": "p"}
    return {**own, "name": name, "value": value, "expanded_uncertainty": uncertainty}


def test_what_holds_is_counted_and_what_does_not_is_named():
    found = [
        finding("trip", 55.2),
        finding("release", 46.0),
        finding("trip", None),
        finding("recovery of nothing", 3.0),
    ]
    assert against_truth([(found, TRUTH)]) == [
        "truth of the simulation: 1 of 2 values are within U of the true value; the largest error is 2.0 U",
        "  expected: about 2 (95 %); 1 or more is within chance (99 %)",
        "  p, release T1: 2.0 U away from the true 45 °C",
    ]


def test_a_value_of_what_did_not_happen_is_named():
    """A key at a load that was a slip makes a release of a pack that never tripped."""
    release = {**finding("release", 26.394), "protection": "under_voltage", "sensor": None, "unit": "V"}
    said = "  p, release: 26.394 V was found, but nothing of the kind happened at the pack"
    assert against_truth([([release], TRUTH)]) == ["truth of the simulation:", said]
    both = against_truth([([finding("trip", 55.2), release, {**release, "name": "recovery time"}], TRUTH)])
    assert "1 of 1 values" in both[0]
    assert said in both
    assert sum("nothing of the kind" in line for line in both) == 2


def test_of_runs_that_find_nothing_nothing_is_said():
    assert against_truth([([], TRUTH), ([finding("trip", None)], TRUTH)]) == []


@pytest.mark.parametrize("count", [1, 12, 45, 300])
def test_the_fewest_by_chance_are_those_of_a_binomial_distribution(count):
    """Outside: the quantile of the binomial distribution in scipy."""
    stats = pytest.importorskip("scipy.stats")
    assert least_by_chance(count) == stats.binom.ppf(0.005, count, 0.95)


def test_an_error_just_beyond_u_is_not_written_as_1_0():
    assert "1.02 U away" in against_truth([([finding("trip", 55.51)], TRUTH)])[-1]
