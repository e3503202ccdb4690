"""Conformity: JCGM 106:2012 and ILAC-G8:09/2019. The examples' data are from memory, the sums ours, as marked."""

import math

import pytest

from runner.measure.conformity import STATEMENTS, probability, statement, worst

MANY = math.inf


@pytest.mark.parametrize(
    ("value", "u", "lower", "upper", "expected"),
    [
        (-5.47, 0.05, None, -5.40, 0.919243),  # clause 7.3, one-sided upper (Zener diode); data from memory
        (509.7, 8.6, 490.0, None, 0.989010),  # clause 7.3, one-sided lower (pressure vessel); data from memory
        (13.6, 1.8, 12.5, 16.3, 0.662630),  # clause 7.4, two-sided (motor oil); data from memory
    ],
)
def test_the_probability_of_conformity_of_the_guides_examples(value, u, lower, upper, expected):
    assert probability(value, u, MANY, lower, upper) == pytest.approx(expected, abs=2e-6)


def test_few_degrees_of_freedom_make_a_decision_less_sure():
    assert probability(56.0, 0.5, 2, 53.0, 57.0) < probability(56.0, 0.5, MANY, 53.0, 57.0)


# ILAC-G8:09/2019: rules of 4.2.1, 4.2.2 (read) and the four-way rule (second-hand); limits 53 … 57, U = 0.4
@pytest.mark.parametrize(
    ("value", "simple", "guarded", "four_way"),
    [
        (55.0, "pass", "pass", "pass"),
        (56.5, "pass", "pass", "pass"),
        (56.7, "pass", "fail", "conditional pass"),
        (57.0, "pass", "fail", "conditional pass"),
        (57.3, "fail", "fail", "conditional fail"),
        (57.5, "fail", "fail", "fail"),
        (53.1, "pass", "fail", "conditional pass"),
        (52.5, "fail", "fail", "fail"),
    ],
)
def test_the_three_rules(value, simple, guarded, four_way):
    words = [
        statement(value, 0.4, 53.0, 57.0, rule)
        for rule in ("simple acceptance", "guard band", "guard band with conditions")
    ]
    assert words == [simple, guarded, four_way]


def test_at_the_acceptance_limit_of_a_guard_band_of_u_the_risk_is_two_and_a_half_percent():
    """ILAC-G8: w = U, at most 2.5 %; for U = 1.96 u the sum is 2.4998 %."""
    assert 1 - probability(57.0 - 1.96 * 0.2, 0.2, MANY, None, 57.0) == pytest.approx(0.024998, abs=2e-6)


def test_the_worst_statement_stands_for_the_whole():
    assert worst(["pass", "conditional pass"]) == "conditional pass"
    assert worst(["pass", "fail", "not measured"]) == "fail"
    assert worst(["pass", "not measured"]) == "not measured"
    assert worst([]) == "not measured"
    assert {worst([each]) for each in STATEMENTS} == set(STATEMENTS)
