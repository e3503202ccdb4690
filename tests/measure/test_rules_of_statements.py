"""Statements, probabilities, delays in looks, factors of distributions, and reasons, each rule at its bound."""

import math

import numpy as np
import pytest

from runner.measure.budget import BudgetRow, Inputs, coverage_factor
from runner.measure.conformity import Decision, probability, worst
from runner.measure.finding import NOT_REACHED, Evaluator, Finding
from runner.measure.recording import Accuracy, Attempt, Recording, Specification
from runner.vocabulary import Rule
from tests.distributions import coverage_factor_of, student

# ---- statements ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "simple", "guard", "conditions", "consumer", "producer"),
    [
        (55.0, "pass", "pass", "pass", "pass", "pass"),
        (56.499, "pass", "pass", "pass", "pass", "pass"),
        (56.501, "pass", "fail", "conditional pass", "fail", "pass"),
        (57.0, "pass", "fail", "conditional pass", "fail", "pass"),
        (57.001, "fail", "fail", "conditional fail", "fail", "pass"),
        (57.499, "fail", "fail", "conditional fail", "fail", "pass"),
        (57.501, "fail", "fail", "fail", "fail", "fail"),
        (52.499, "fail", "fail", "fail", "fail", "fail"),
        (52.501, "fail", "fail", "conditional fail", "fail", "pass"),
        (53.499, "pass", "fail", "conditional pass", "fail", "pass"),
        (53.501, "pass", "pass", "pass", "pass", "pass"),
    ],
)
def test_a_statement_at_every_bound_of_its_rule(value, simple, guard, conditions, consumer, producer):
    """Limits 53 to 57, U 0.5 at 95 % (ILAC-G8:09/2019, w = U; a maximum risk of 2.5 % has the same acceptance limits)."""
    spread = student(0.5 / 1.959964)
    rules = [Decision(rule, 0.95, 0.025) for rule in Rule]
    assert [rule.statement(value, spread, 53.0, 57.0) for rule in rules] == [
        simple,
        guard,
        conditions,
        consumer,
        producer,
    ]


def test_a_limit_itself_is_inside():
    exact = Decision(Rule.SIMPLE)
    assert [exact.statement(value, student(0.5), 53.0, 57.0) for value in (53.0, 57.0)] == ["pass", "pass"]
    certain = Decision(Rule.GUARD_BAND)
    assert [certain.statement(value, student(0.0), 53.0, 57.0) for value in (53.0, 57.0, 57.01)] == [
        "pass",
        "pass",
        "fail",
    ]


def test_the_probability_of_conformity_is_that_of_the_normal_distribution_or_students():
    """Φ(1) = 0.8413, Φ(2) = 0.9772; t with 3 degrees of freedom at 1: 0.8045 (tables, from memory)."""
    assert probability(10.0, student(1.0), None, 11.0) == pytest.approx(0.8413, abs=1e-4)
    assert probability(10.0, student(1.0), 8.0, None) == pytest.approx(0.9772, abs=1e-4)
    assert probability(10.0, student(1.0, 3.0), None, 11.0) == pytest.approx(0.8045, abs=1e-4)
    assert probability(10.0, student(0.0), 10.0, 10.0) == 1.0
    assert probability(10.1, student(0.0), 10.0, 10.0) == 0.0
    assert probability(9.9, student(0.0), 10.0, None) == 0.0


def test_the_worst_statement_holds_for_all():
    assert worst(["pass", "conditional pass"]) == "conditional pass"
    assert worst(["not measured", "conditional pass"]) == "not measured"
    assert worst(["conditional fail", "not measured", "pass"]) == "conditional fail"
    assert worst(["fail", "conditional fail"]) == "fail"
    assert worst([]) == "not measured"


# ---- delays in looks -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("delay", "half", "polling", "found"),
    [
        (2.0, 0.3, 0.0, (2.0, 0.3 / 3**0.5, "rectangular")),
        (2.0, 0.0, 1.0, (2.0, 0.0, "rectangular")),
        (2.5, 0.0, 1.0, (2.75, 0.5 / 12**0.5, "rectangular")),
        (2.5, 0.2, 1.0, (2.65, 0.7 / 12**0.5, "rectangular")),
        (2.0, 0.3, 1.0, (2.5, 0.5, "two values")),
        (2.0, 0.3, 0.25, (2.125, 0.25 * (15 / 12) ** 0.5, "rectangular")),
        (0.0, 0.0, 1.0, (0.0, 0.0, "rectangular")),
    ],
)
def test_a_delay_that_is_counted_in_looks_takes_a_whole_number_of_them(delay, half, polling, found):
    """1.7 to 2.3 s in looks of 1 s are 2 or 3 of them; in looks of 0.25 s 7, 8, 9 or 10: n values a step apart have √((n²−1)/12)."""
    spec = Specification("", delay=delay, delay_uncertainty=half / 3**0.5, polling=polling)
    mean, u, distribution = spec.delay_in_looks
    assert (mean, u, distribution) == (pytest.approx(found[0]), pytest.approx(found[1]), found[2])
    assert spec.longest_delay == pytest.approx(delay + half + 2 * polling)


def test_a_sheet_and_a_bench_that_state_nothing_put_nothing_into_a_budget():
    spec = Specification("")
    assert (spec.box, spec.resolution, spec.coupling, spec.polling, spec.delay, spec.calibration[0]) == (0.0,) * 6
    assert (spec.reaction, spec.probe_lag, spec.counter, spec.trip_limits) == ((0.0, 0.0), None, None, None)
    assert (Accuracy().gain, Accuracy().offset, Accuracy().resolution) == (0.0, 0.0, 0.0)
    assert (spec.cells, spec.latching) == (1, False)
    assert (spec.decision.rule, spec.decision.coverage) == ("guard band with conditions", 0.95)


# ---- factors and reasons -------------------------------------------------------------------------------------------


def row(contribution, distribution="normal", dof=math.inf):
    return BudgetRow("x", 0.0, distribution, 1.0, contribution, dof)


def test_the_factor_of_one_distribution_is_its_own():
    """95 % of a rectangle reach 0.95·√3, of an arc sine √2·sin(0.95·π/2), of two values 1; of a normal one 1.96."""
    assert coverage_factor_of([row(1.0)], 0.95) == pytest.approx(1.960, abs=1e-3)
    assert coverage_factor_of([row(1.0, "rectangular")], 0.95) == pytest.approx(0.95 * 3**0.5, abs=5e-3)
    assert coverage_factor_of([row(1.0, "U-shaped")], 0.95) == pytest.approx(
        2**0.5 * math.sin(0.475 * math.pi), abs=5e-3
    )
    assert coverage_factor_of([row(1.0, "two values")], 0.95) == pytest.approx(1.0, abs=5e-3)
    assert coverage_factor_of([row(1.0, dof=5.0)], 0.95) == pytest.approx(2.571, abs=1e-3)


def test_a_part_of_a_hundredth_is_taken_as_normal():
    small = [row(1.0), row(0.009, "rectangular")]
    assert coverage_factor_of(small, 0.95) == pytest.approx(coverage_factor(math.inf, 0.95), rel=1e-6)


def test_a_line_of_a_budget_has_a_value_and_a_sensitivity_where_it_is_of_one_input():
    inputs = Inputs()
    one = inputs.add("one", 1.0, 0.5, dof=7.0)
    several = [inputs.add("several", value, 0.1, "rectangular", 4.0) for value in (2.0, 3.0)]
    (first, second) = inputs.rows(-2.0 * one + several[0] - several[1])
    assert (first.source, first.value, first.sensitivity, first.dof) == ("one", 1.0, -2.0, pytest.approx(7.0))
    assert first.contribution == pytest.approx(1.0)
    assert (second.source, second.value, second.sensitivity) == ("several", 0.0, 0.0)
    assert second.contribution == pytest.approx(0.1 * 2**0.5)
    assert second.dof == pytest.approx(8.0), (
        "of two alike the formula of Welch and Satterthwaite makes their sum (JCGM 100:2008, G.4.1)"
    )
    assert second.distribution == "rectangular"


def test_what_was_read_together_keeps_what_it_has_in_common():
    """Two displays that move alike: their difference is known far better than either (JCGM 100:2008, 5.2.2)."""
    inputs = Inputs()
    one, other = inputs.together("read", [[1.0, 2.0, 3.0, 4.0], [1.1, 2.0, 3.1, 4.0]])
    assert one.u == pytest.approx(np.std([1, 2, 3, 4], ddof=1) / 2)
    (row,) = inputs.rows(one - other)
    assert row.contribution == pytest.approx(np.std([-0.1, 0.0, -0.1, 0.0], ddof=1) / 2, rel=1e-6)
    assert row.dof == 3
    (row,) = inputs.rows(one + other)
    assert row.contribution == pytest.approx(np.std([2.1, 4.0, 6.1, 8.0], ddof=1) / 2, rel=1e-6)


def test_one_that_is_shared_is_the_same_for_everybody():
    inputs = Inputs()
    assert inputs.shared("lag", 1.0, 0.5) is inputs.shared("lag", 9.0, 9.0)
    assert inputs.shared("other", 1.0, 0.5) is not inputs.shared("lag", 1.0, 0.5)


def reason(*attempts, ended="", sensor="T1", kinds=("heat",)):
    return Evaluator(Recording({}, tuple(attempts), ended), Specification(""), sensor).reason(*kinds)


def tried(kind, outcome, why="why", sensor="T1"):
    return Attempt(kind, sensor, 0, 0.0, 0.0, None, 1.0, outcome, why)


def test_the_reason_is_the_first_thing_that_went_wrong_here_or_for_the_whole_run():
    assert reason(tried("heat", "lost", "a"), tried("heat", "gave up", "b")) == "a"
    assert reason(tried("heat", "lost", "a", sensor="T2"), ended="stop") == NOT_REACHED
    assert reason(tried("heat", "stopped"), ended="stop") == "the run ended early: stop"
    assert reason(tried("charge", "no current", "c", sensor=""), ended="stop") == "c"
    assert reason(tried("heat", "full", "d", sensor="T2")) == "d"
    assert reason(tried("heat", "stopped")) == "too few samples around the change"
    assert reason(tried("heat", "stopped"), kinds=("cool",)) == "this step was not reached"


def test_a_finding_comes_back_from_json_as_it_was():
    finding = Evaluator(Recording({}, ()), Specification("over_voltage")).missing("trip", "V", "why", limits=(1.0, 2.0))
    assert Finding.from_json(finding.as_json()) == finding
    assert (finding.lower, finding.upper, finding.probability) == (1.0, 2.0, None)
    assert finding.one_more == 0.0
    assert (finding.risk, finding.decision.risk) == (pytest.approx(0.025), pytest.approx(0.025))


# ---- intervals that are too wide for their limits --------------------------------------------------------------------


def judged(value, u, limits=(0.5, 1.1), rule=Rule.WITH_CONDITIONS):
    maker = Evaluator(Recording({}, ()), Specification("charge_over_current", decision=Decision(rule)))
    return maker.measured("delay", "s", maker.inputs.add("of it all", value, u), limits=limits)


@pytest.mark.parametrize("rule", [Rule.WITH_CONDITIONS, Rule.GUARD_BAND, Rule.SIMPLE])
@pytest.mark.parametrize("value", [-0.4, 0.8, 2.0])
def test_an_interval_that_would_be_outside_from_the_middle_of_the_limits_shows_nothing_of_the_pack(value, rule):
    """A normal distribution is inside ±0.3 of its own middle with a chance of ½ where u = 0.3/0.6745 (tables of the normal)."""
    least = 0.3 / 0.67449
    finding = judged(value, 1.02 * least, rule=rule) if value == 0.8 else judged(value, 2.4, rule=rule)
    assert finding.conformity == "not measured"
    assert "too uncertain" in finding.reason
    assert finding.value == pytest.approx(value), "what was found is said all the same"
    assert judged(0.8, 0.98 * least, rule=rule).conformity != "not measured"


def test_far_outside_its_limits_it_fails_however_wide_it_is():
    assert judged(20.0, 2.4).conformity == "fail"
    assert judged(0.8, 50.0, limits=(0.5, None)).conformity == "conditional pass", "there is no width of one limit"
