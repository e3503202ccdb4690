"""Conformity: JCGM 106:2012 and ILAC-G8:09/2019. Where data of an example are from memory, or second-hand, it stands beside them."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from runner.measure.conformity import STATEMENTS, Decision, outside, percent, probability, worst
from runner.vocabulary import Rule
from tests.distributions import student

ZENER = (-5.47, student(0.05), None, -5.40)
VESSEL = (509.7, student(8.6), 490.0, None)
OIL = (13.6, student(1.8), 12.5, 16.3)


@pytest.mark.parametrize(
    ("measured", "expected"),
    [
        (ZENER, 0.919243),  # clause 7.3, one-sided upper (Zener diode, V); data from memory, sum ours
        (VESSEL, 0.989010),  # clause 7.3, one-sided lower (pressure vessel, kPa); data from memory, sum ours
        (OIL, 0.662630),  # clause 7.4, two-sided (motor oil, mm²/s); data from memory, sum ours
    ],
)
def test_the_probability_of_conformity_of_the_guides_examples(measured, expected):
    assert probability(*measured) == pytest.approx(expected, abs=2e-6)
    assert outside(*measured) == pytest.approx(1 - expected, abs=2e-6)


@pytest.mark.parametrize(
    ("measured", "risk", "consumer", "producer"),
    [
        (ZENER, 0.10, "pass", "pass"),
        (ZENER, 0.05, "fail", "pass"),
        (VESSEL, 0.05, "pass", "pass"),
        (VESSEL, 0.01, "fail", "pass"),
        (OIL, 0.50, "pass", "pass"),
        (OIL, 0.30, "fail", "pass"),
        ((17.5, student(1.8), None, 16.3), 0.26, "fail", "fail"),  # Φ(−0.667) = 0.2525: computed
        ((17.5, student(1.8), None, 16.3), 0.25, "fail", "pass"),
        ((17.5, student(1.8), 12.5, 16.3), 0.26, "fail", "fail"),  # and Φ(−2.778) = 0.0027 for the other limit
        ((17.5, student(1.8), 12.5, 16.3), 0.25, "fail", "pass"),
    ],
)
def test_a_rule_of_maximum_risk_accepts_by_the_guides_probability(measured, risk, consumer, producer):
    """Specific consumer's and producer's risk are 1 − p and p (JCGM 106:2012, 3.3.13 and 3.3.14; numbers from memory)."""
    assert Decision(Rule.CONSUMER, maximum=risk).statement(*measured) == consumer
    assert Decision(Rule.PRODUCER, maximum=risk).statement(*measured) == producer


def test_a_driver_is_fined_only_when_the_speed_is_over_the_limit_almost_for_certain():
    """Guarded rejection, clause 8.3.3: limit 100 km/h, u = 2 % of the reading, 99.9 %: from 107 km/h (data from memory)."""
    rule = Decision(Rule.PRODUCER, maximum=0.001)
    said = {
        speed: rule.statement(speed, student(0.02 * speed), None, 100.0) for speed in (101.0, 106.58, 106.60, 107.0)
    }
    assert said == {101.0: "pass", 106.58: "pass", 106.60: "fail", 107.0: "fail"}


# ---- what the rules let through of a production whose distribution is known (JCGM 106:2012, clause 9) --------------------


def accepted(decision, u, lower, upper):
    """The values between which a rule says pass, found from its statements alone."""
    spread = student(u)

    def edge(inside, beyond):
        for _ in range(60):
            middle = (inside + beyond) / 2
            passed = decision.statement(middle, spread, lower, upper) == "pass"
            inside, beyond = (middle, beyond) if passed else (inside, middle)
        return inside

    if lower is None:
        return -math.inf, edge(upper - 5 * u, upper + 5 * u)
    middle = (lower + upper) / 2
    return edge(middle, lower - 5 * u), edge(middle, upper + 5 * u)


def risks(prior, u, lower, upper, accepts):
    """(global consumer's, global producer's risk): accepted and outside; rejected and inside."""
    low, high = accepts
    spread = student(u)

    def passes(eta):
        return spread.below(high - eta) - (0.0 if math.isinf(low) else spread.below(low - eta))

    first, last = prior.ppf(1e-13), prior.ppf(1 - 1e-13)
    bottom = first if lower is None else lower
    grid = [
        np.linspace(*ends, 2001) for ends in ((bottom, upper), (upper, max(last, upper)), (min(first, bottom), bottom))
    ]
    inside, above, below = (
        integrate.simpson([prior.pdf(eta) * passes(eta) for eta in each], x=each) if each[0] < each[-1] else 0.0
        for each in grid
    )
    return above + below, prior.cdf(upper) - (0.0 if lower is None else prior.cdf(lower)) - inside


def with_factor(k):
    """A guard band of k·u."""
    return Decision(Rule.GUARD_BAND, 2 * stats.norm.cdf(k) - 1)


def test_ball_bearings_pass_and_fail_as_often_as_the_guide_says():
    """Clause 9.5.4: prior gamma(4, 0.25 µm), limit 2 µm, u 0.25 µm (second-hand; the producer's risk computed)."""
    prior, u = stats.gamma(4, scale=0.25), 0.25
    simple = accepted(Decision(Rule.SIMPLE), u, None, 2.0)
    assert simple[1] == pytest.approx(2.0, abs=1e-9)
    assert risks(prior, u, None, 2.0, simple)[0] == pytest.approx(0.00801911, abs=2e-6)
    guarded = accepted(with_factor(0.3281712 / u), u, None, 2.0)
    assert guarded[1] == pytest.approx(1.6718288, abs=1e-6)
    consumer, producer = risks(prior, u, None, 2.0, guarded)
    assert (consumer, producer) == (pytest.approx(0.001, abs=2e-6), pytest.approx(0.0754939, abs=2e-6))


@pytest.mark.parametrize(
    ("process", "u", "half", "accept", "consumer", "producer"),
    [
        (0.12, 0.04, 0.20, 0.18, 0.0098783, 0.0690265),  # clause 9.5.5 (from memory), resistors about 1500 Ω; computed
        (0.12, 0.04, 0.20, 0.20, 0.0189422, 0.0372078),  # without a guard band
        (1.0, 0.25, 2.0, 2.0, 0.0080061, 0.0148509),  # published to three digits as 0.008 and 0.015 (second-hand)
        (1.0, 0.50, 2.0, 0.91 * 2.0, 0.0080516, 0.0661065),  # published as 0.008 and 0.066 (second-hand)
    ],
)
def test_global_risks_of_a_guard_band_between_two_limits(process, u, half, accept, consumer, producer):
    accepts = accepted(with_factor((half - accept) / u), u, -half, half)
    assert accepts == (pytest.approx(-accept, abs=1e-9), pytest.approx(accept, abs=1e-9))
    found = risks(stats.norm(0, process), u, -half, half, accepts)
    assert found == (pytest.approx(consumer, abs=2e-6), pytest.approx(producer, abs=2e-6))


# ---- ILAC-G8:09/2019 -----------------------------------------------------------------------------------------------------


# rules of 4.2.1, 4.2.2 (read) and the four-way rule (second-hand); limits 53 … 57, U = 0.4
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
def test_the_three_rules_of_acceptance(value, simple, guarded, four_way):
    spread = student(0.4 / 1.959964)
    rules = (Rule.SIMPLE, Rule.GUARD_BAND, Rule.WITH_CONDITIONS)
    assert [Decision(rule).statement(value, spread, 53.0, 57.0) for rule in rules] == [simple, guarded, four_way]


@pytest.mark.parametrize(
    ("multiple", "risk", "stated"),
    [(0.5, 0.158655, 0.16), (0.83, 0.048457, 0.05), (1.0, 0.022750, 0.025), (1.5, 0.001350, 0.0016), (3.0, 1e-9, 1e-6)],
)
def test_the_risk_at_the_acceptance_limit_of_a_multiple_of_u(multiple, risk, stated):
    """w = r·U with U = 2u: < 16 %, < 5 %, < 2.5 %, < 0.16 %, < 1 ppm (multiples second-hand, exact values computed)."""
    u = 0.2
    found = outside(57.0 - multiple * 2 * u, student(u), None, 57.0)
    assert found == pytest.approx(risk, rel=1e-3 if multiple < 3 else 0.02)
    assert found < stated


def test_at_the_acceptance_limit_of_a_guard_band_of_u_the_risk_is_two_and_a_half_percent():
    """ILAC-G8: w = U, at most 2.5 %; for U = 1.96 u the sum is 2.4998 %; for U = 2 u, 95.45 %, it is 2.275 %."""
    assert outside(57.0 - 1.96 * 0.2, student(0.2), None, 57.0) == pytest.approx(0.024998, abs=2e-6)
    assert [percent(Decision(Rule.GUARD_BAND, c).risk) for c in (0.95, 0.9545)] == ["2.5 %", "2.275 %"]
    assert percent(Decision(Rule.SIMPLE).risk) == "50 %"


def test_few_degrees_of_freedom_make_a_decision_less_sure():
    assert probability(56.0, student(0.5, 2), 53.0, 57.0) < probability(56.0, student(0.5), 53.0, 57.0)


def test_the_worst_statement_stands_for_the_whole():
    assert worst(["pass", "conditional pass"]) == "conditional pass"
    assert worst(["pass", "fail", "not measured"]) == "fail"
    assert worst(["pass", "not measured"]) == "not measured"
    assert worst([]) == "not measured"
    assert {worst([each]) for each in STATEMENTS} == set(STATEMENTS)
