"""U, statement and probability of conformity come from one distribution: at an acceptance limit they say the same."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as any_of
from scipy import integrate, stats

from runner.measure.conformity import Decision, outside, probability
from runner.measure.distribution import Part, distribution_of
from runner.measure.finding import Evaluator
from runner.measure.recording import Recording, Specification
from runner.vocabulary import Rule
from tests.distributions import student

COVERAGES = (0.5, 0.8, 0.9, 0.95, 0.9545, 0.99, 0.999)
BUDGETS = {
    "normal": [Part("normal", 0.2), Part("normal", 0.1)],
    "Student, one degree of freedom": [Part("normal", 0.2, 1.0)],
    "Student, two, with a little normal": [Part("normal", 0.2, 2.0), Part("normal", 0.05)],
    "one rectangle": [Part("rectangular", 0.2)],
    "mostly one rectangle": [Part("rectangular", 0.2), Part("normal", 0.03)],
    "two rectangles and few repeats": [Part("rectangular", 0.2), Part("rectangular", 0.15), Part("normal", 0.1, 3.0)],
    "arc sine": [Part("U-shaped", 0.2), Part("normal", 0.05)],
    "two values": [Part("two values", 0.2), Part("rectangular", 0.1), Part("normal", 0.02)],
}
parts = any_of.lists(
    any_of.builds(
        Part,
        any_of.sampled_from(["normal", "normal", "rectangular", "U-shaped", "two values"]),
        any_of.floats(0.01, 1.0),
        any_of.sampled_from([1.0, 1.5, 2.0, 4.0, 20.0, math.inf]),
    ),
    min_size=1,
    max_size=7,
)


@pytest.mark.parametrize("coverage", COVERAGES)
@pytest.mark.parametrize("budget", BUDGETS.values(), ids=BUDGETS)
def test_at_the_acceptance_limit_the_probability_is_the_one_of_the_rule(budget, coverage):
    """One limit: P = 1 − (1 − coverage)/2, and the statement changes there (JCGM 106:2012, 8.2 and 8.3, from memory)."""
    spread, upper = distribution_of(budget), 57.0
    rule, risk = Decision(Rule.GUARD_BAND, coverage), (1 - coverage) / 2
    consumer, producer = Decision(Rule.CONSUMER, 0.95, risk), Decision(Rule.PRODUCER, 0.95, risk)
    guard, hair = spread.half_width(coverage), 1e-7 * spread.uncertainty
    assert rule.risk == pytest.approx(risk)
    assert probability(upper - guard, spread, None, upper) == pytest.approx(1 - risk, abs=1e-9)
    assert probability(upper + guard, spread, None, upper) == pytest.approx(risk, abs=1e-9)
    assert probability(53.0 + guard, spread, 53.0, None) == pytest.approx(1 - risk, abs=1e-9)
    for each in (rule, consumer):
        said = [each.statement(upper - guard + by, spread, None, upper) for by in (-hair, hair)]
        assert said == ["pass", "fail"]
        assert each.statement(53.0 + guard + hair, spread, 53.0, None) == "pass"
    said = [producer.statement(upper + guard + by, spread, None, upper) for by in (-hair, hair)]
    assert said == ["pass", "fail"]


@settings(max_examples=150, deadline=None)
@given(parts, any_of.floats(0.5, 0.999), any_of.floats(-4.0, 4.0), any_of.floats(0.0, 8.0))
def test_for_any_budget_a_pass_is_as_sure_as_its_rule_says(budget, coverage, off, width):
    """``off`` and ``width``: where the value is from the upper limit, and how far apart the limits are, in standard uncertainties."""
    spread = distribution_of(budget)
    u = spread.uncertainty
    value, lower, upper = off * u, -width * u, 0.0
    sure, out = probability(value, spread, lower, upper), outside(value, spread, lower, upper)
    assert sure + out == pytest.approx(1.0, abs=1e-9)
    risk = (1 - coverage) / 2
    slack = 1e-9
    if Decision(Rule.GUARD_BAND, coverage).statement(value, spread, lower, upper) == "pass":
        assert out <= 2 * risk + slack, "each limit has its risk"
        assert outside(value, spread, None, upper) <= risk + slack
        assert outside(value, spread, lower, None) <= risk + slack
    if Decision(Rule.CONSUMER, coverage, risk).statement(value, spread, lower, upper) == "pass":
        assert sure >= 1 - risk - slack
        guard_band = Decision(Rule.GUARD_BAND, coverage)
        assert guard_band.statement(value, spread, lower - slack * u, upper + slack * u) == "pass"
    if Decision(Rule.PRODUCER, coverage, risk).statement(value, spread, lower, upper) == "fail":
        assert sure <= risk, "specific producer's risk"
        assert not lower <= value <= upper
    one_limit = Decision(Rule.PRODUCER, coverage, risk).statement(value, spread, None, upper)
    assert (one_limit == "fail") == (probability(value, spread, None, upper) <= risk)


@settings(max_examples=100, deadline=None)
@given(parts, any_of.floats(0.001, 0.49), any_of.floats(0.0, 8.0), any_of.floats(0.0, 1.0))
def test_however_close_its_limits_are_a_pack_inside_them_seldom_fails(budget, risk, width, where):
    """The values that fail, found from the statements, have for every true value inside at most the probability of the rule."""
    spread = distribution_of(budget)
    lower, upper = 0.0, width * spread.uncertainty
    rule, good, bad = Decision(Rule.PRODUCER, 0.95, risk), upper, upper + spread.half_width(0.9999)
    for _ in range(60):
        middle = (good + bad) / 2
        good, bad = (middle, bad) if rule.statement(middle, spread, lower, upper) == "pass" else (good, middle)
    true = lower + where * (upper - lower)
    fails = spread.below(true - bad) + spread.below((lower - (bad - upper)) - true)
    assert fails <= risk + 1e-6


@settings(max_examples=150, deadline=None)
@given(parts, any_of.floats(0.01, 0.999), any_of.floats(0.01, 0.999))
def test_a_distribution_is_symmetric_rises_and_is_what_its_interval_says(budget, one, other):
    spread = distribution_of(budget)
    low, high = sorted((one, other))
    narrow, wide = spread.half_width(low), spread.half_width(high)
    assert narrow <= wide * (1 + 1e-9)
    assert spread.below(wide) - spread.below(-wide) == pytest.approx(high, abs=1e-9)
    for x in (narrow, wide):
        assert spread.below(x) + spread.below(-x) == pytest.approx(1.0, abs=1e-9)
    assert spread.half_width(low) == narrow, "the same again"


# ---- what the distribution is ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("dof", [1.0, 1.000001, 1.3, 2.0, 5.0, 40.0, math.inf])
@pytest.mark.parametrize("half", [0.05, 1.0, 20.0])
def test_student_and_a_rectangle_are_what_an_integral_says(dof, half):
    """∫ T((x − b)/s)/2h db over the rectangle, by quadrature."""
    spread = distribution_of([Part("normal", 1.0, dof), Part("rectangular", half / 3**0.5)])
    t = stats.norm() if math.isinf(dof) else stats.t(dof)
    for x in (-30.0, -3.0, -1.0, 0.0, 0.4, 2.0, 30.0):
        wanted = integrate.quad(lambda b, x=x: t.cdf(x - b), -half, half, limit=200, epsabs=1e-12)[0] / (2 * half)
        assert spread.below(x) == pytest.approx(wanted, abs=1e-6)


@pytest.mark.parametrize("dof", [1.0, 3.0, 8.0])
def test_few_repeats_with_rectangles_are_what_a_million_draws_say(dof):
    dice = np.random.default_rng(5)
    many = 10**6
    total = 0.3 * dice.standard_t(dof, many) + sum(3**0.5 * u * dice.uniform(-1, 1, many) for u in (0.5, 0.4, 0.2))
    spread = distribution_of([Part("normal", 0.3, dof), *(Part("rectangular", u) for u in (0.5, 0.4, 0.2))])
    for coverage in (0.5, 0.9, 0.95, 0.99):
        assert np.mean(np.abs(total) <= spread.half_width(coverage)) == pytest.approx(coverage, abs=0.0015)


def test_a_rectangle_alone_ends_where_it_ends():
    """99.9 % of ±√3·u, and nothing beyond (JCGM 100:2008, 4.3.7)."""
    spread = distribution_of([Part("rectangular", 1.0)])
    assert spread.half_width(0.999) == pytest.approx(0.999 * 3**0.5, abs=1e-4)
    assert (spread.below(-1.7322), spread.below(1.7322)) == (pytest.approx(0.0, abs=1e-9), pytest.approx(1.0, abs=1e-9))


# ---- in a finding ------------------------------------------------------------------------------------------------------------


def judged(upper, **decision):
    """A finding of 55 °C from four readings and a calibration of ±0.3 K, with one limit."""
    evaluator = Evaluator(Recording({}, ()), Specification("charge_over_temperature", decision=Decision(**decision)))
    reading = evaluator.inputs.add("readings", 55.0, 0.1, dof=3.0)
    limits = (-math.inf if upper is None else 0.0, upper)
    return evaluator.measured(
        "trip", "°C", reading + evaluator.inputs.add("calibration", 0.0, 0.3 / 3**0.5, "rectangular"), limits=limits
    )


@pytest.mark.parametrize("coverage", COVERAGES)
def test_a_finding_has_one_distribution_for_interval_statement_and_probability(coverage):
    wide = judged(60.0, rule=Rule.GUARD_BAND, coverage=coverage)
    assert wide.conformity == "pass"
    at_u = 55.0 + wide.expanded_uncertainty
    beyond, short = (judged(at_u + by, rule=Rule.GUARD_BAND, coverage=coverage) for by in (1e-9, -1e-9))
    assert (beyond.conformity, short.conformity) == ("pass", "fail")
    assert beyond.probability == pytest.approx(1 - (1 - coverage) / 2, abs=1e-7)
    assert beyond.risk == pytest.approx((1 - coverage) / 2)


def test_what_a_producers_rule_accepts_outside_the_limits_is_said():
    inside = judged(55.2, rule=Rule.PRODUCER, maximum=0.05)
    beyond = judged(54.9, rule=Rule.PRODUCER, maximum=0.05)
    rejected = judged(54.0, rule=Rule.PRODUCER, maximum=0.05)
    assert [each.conformity for each in (inside, beyond, rejected)] == ["pass", "pass", "fail"]
    said = [any("outside the limits, but" in caveat for caveat in each.caveats) for each in (inside, beyond, rejected)]
    assert said == [False, True, False]
    assert rejected.probability <= 0.05 < beyond.probability < 0.5 < inside.probability


def test_a_finding_of_a_maximum_risk_comes_back_from_json_with_its_rule():
    finding = judged(55.2, rule=Rule.CONSUMER, maximum=0.1)
    again = type(finding).from_json(finding.as_json())
    assert again.decision == Decision(Rule.CONSUMER, 0.95, 0.1)
    assert (finding.as_json()["risk"], again.conformity) == (0.1, finding.conformity)


def test_no_spread_at_all_is_a_certain_statement():
    certain = student(0.0)
    assert (certain.half_width(0.95), certain.below(0.0), certain.below(-1e-12)) == (0.0, 1.0, 0.0)
