"""A foreign record reaches the method whole: each world's plain case gives every finding that has a truth, and no record breaks the method."""

import math
from importlib import import_module

import pytest

from runner.vocabulary import Outcome
from tests.benchmarks.foreign import WORLDS, count_one, line_of, wilson
from tests.foreign.handed import FINDERS, found
from tests.foreign.trial import EVERYTHING, PLAIN


def test_every_world_has_a_way_to_the_method():
    assert set(WORLDS) == set(FINDERS)


@pytest.mark.parametrize("world", WORLDS)
def test_the_plain_case_gives_every_finding_that_has_a_truth(world):
    one = import_module(WORLDS[world]).trial(1, PLAIN)
    findings = {finding.name: finding for finding in found(one)}
    assert set(one.truth) <= set(findings)
    for name, true in one.truth.items():
        finding = findings[name]
        assert finding.value is not None, finding.reason
        assert math.isclose(finding.value, true, abs_tol=5 * finding.expanded_uncertainty)


@pytest.mark.parametrize("world", WORLDS)
def test_no_record_breaks_the_method(world):
    for seed in range(12):
        assert count_one((world, EVERYTHING, seed))["failed"] == ""


def test_steps_reach_the_method_as_the_run_would_have_ended_them():
    from tests.foreign.handed import _attempts
    from tests.foreign.thermal.world import trial

    one = trial(2, PLAIN)
    for step, attempt in zip(one.steps, _attempts(one), strict=True):
        assert attempt.outcome == (Outcome.STOPPED if step.opens else Outcome.RETURNED)
        assert -0.05 <= attempt.at - step.acted <= 2 * one.interval


def test_a_line_of_the_table_counts_what_it_says():
    """Wilson (1927): 8 of 10 are 0.49 to 0.943."""
    assert wilson(8, 10) == pytest.approx((0.490, 0.943), abs=0.001)
    item = {"name": "trip", "seed": 7, "unit": "°C", "true": 55.0, "U": 0.5, "functional": False, "along": -1.0}
    item |= {"k": 2.0, "dof": 3}
    items = [{**item, "value": value} for value in (55.4, 54.4, 56.2, None)] + [
        {**item, "value": 55.1, "functional": True}
    ]
    line = line_of(items)
    assert (line["n"], line["measured"], line["functional"]) == (5, 0.6, 0.2)
    assert line["not_measured"] == pytest.approx(0.2)
    assert line["coverage"] == pytest.approx(1 / 3)
    assert line["coverage_functional"] == 1.0
    assert line["bias"] == pytest.approx(-(0.4 - 0.6 + 1.2) / 3)
    assert (line["worst_in_U"], line["above_2U"], line["above_4U"]) == (pytest.approx(2.4), 1, 0)
    beyond = 0.00406  # t of 3 degrees of freedom, beyond ±8: 2·(1/2 − (atan u + u/(1 + u²))/π), u = 8/√3 (closed form, from memory)
    assert line["above_4U_expected"] == pytest.approx(3 * beyond, rel=0.01)
