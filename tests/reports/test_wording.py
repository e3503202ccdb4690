"""Figures as people read them: a statement never contradicts the numbers printed beside it."""

from dataclasses import replace

import pytest

from reports.certificate import render
from reports.wording import chance, decision_words, rule_and_risk, rule_words, worded
from runner.evaluation.specification import decision_of
from runner.measure.conformity import Decision
from runner.measure.findings import findings
from runner.notation.quantity import exact
from runner.sheets.bench import parse_bench
from runner.vocabulary import Rule
from tests.builders import BENCH, PACK, short_rehearsal, user_file
from tests.screen.kept_runs import TRIP


@pytest.mark.parametrize(
    ("lower", "upper", "unit", "printed"),
    [
        (53.75, 56.25, "°C", "53.75 … 56.25"),
        (53.0, 57.0, "°C", "53.0 … 57.0"),
        (28.8 - 0.4, 28.8 + 0.4, "V", "28.40 … 29.20"),
        (-10.125, 2.0, "°C", "−10.125 … 2.0"),
        (138_600.0, None, "A·s", "≥ 38.50"),
        (None, 0.0125, "Ω", "≤ 12.50"),
        (-0.031463, 0.031463, "V", "−0.031463 … 0.031463"),
        (None, None, "V", "—"),
    ],
)
def test_limits_are_printed_with_all_their_digits(lower, upper, unit, printed):
    assert worded(replace(TRIP, lower=lower, upper=upper, unit=unit)).limits == printed


def test_what_is_declared_has_all_its_digits_too():
    assert worded(replace(TRIP, expected=55.25)).expected == "55.25"


@pytest.mark.parametrize(
    ("value", "least", "text"),
    [
        (56.25, 0, "56.25"),
        (0.1 + 0.2, 0, "0.3"),
        (3600.0, 0, "3600"),
        (1e-5, 2, "0.00001"),
        (-2.5, 2, "−2.50"),
        (0.0, 1, "0.0"),
    ],
)
def test_a_number_is_printed_as_it_was_written(value, least, text):
    assert exact(value, least) == text


@pytest.mark.parametrize(
    ("probability", "rule", "text"),
    [
        (0.97497, Decision(Rule.GUARD_BAND), "97.497 %"),
        (0.97504, Decision(Rule.GUARD_BAND), "97.5 %"),
        (0.9123, Decision(Rule.GUARD_BAND), "91.2 %"),
        (0.99951, Decision(Rule.GUARD_BAND), "> 99.9 %"),
        (0.99946, Decision(Rule.GUARD_BAND, 0.999), "99.9 %"),
        (0.999496, Decision(Rule.GUARD_BAND, 0.999), "99.9 %"),
        (0.99997, Decision(Rule.GUARD_BAND, 0.999), "> 99.95 %"),
        (0.0002, Decision(Rule.GUARD_BAND), "< 0.1 %"),
        (0.94996, Decision(Rule.CONSUMER, maximum=0.05), "94.996 %"),
        (0.95, Decision(Rule.CONSUMER, maximum=0.05), "95.0 %"),
        (0.05004, Decision(Rule.PRODUCER, maximum=0.05), "5.004 %"),
        (0.05004, Decision(Rule.SIMPLE), "5.0 %"),
    ],
)
def test_a_probability_is_not_rounded_past_what_its_rule_asks_for(probability, rule, text):
    finding = replace(TRIP, probability=probability, rule=rule.rule, coverage=rule.coverage, risk=rule.risk)
    assert chance(finding) == text


@pytest.mark.parametrize(
    ("rule", "words", "sentence"),
    [
        (Decision(Rule.SIMPLE), "simple acceptance, risk of a wrong pass ≤ 50 %", "in at most 50 % of cases."),
        (Decision(Rule.GUARD_BAND, 0.5), "guard band, risk of a wrong pass ≤ 25 %", "in at most 25 % of cases."),
        (Decision(Rule.GUARD_BAND, 0.8), "guard band, risk of a wrong pass ≤ 10 %", "in at most 10 % of cases."),
        (
            Decision(Rule.WITH_CONDITIONS),
            "guard band with conditions, risk of a wrong pass ≤ 2.5 %",
            "at most 2.5 % of cases; conditionally, in at most 50 %.",
        ),
        (
            Decision(Rule.WITH_CONDITIONS, 0.999),
            "guard band with conditions, risk of a wrong pass ≤ 0.05 %",
            "at most 0.05 % of cases; conditionally, in at most 50 %.",
        ),
        (
            Decision(Rule.CONSUMER, 0.95, 0.05),
            "maximum consumer risk, risk of a wrong pass ≤ 5 %",
            "at most 5 % of cases.",
        ),
        (
            Decision(Rule.PRODUCER, 0.95, 0.05),
            "maximum producer risk, risk of a wrong fail ≤ 5 %",
            "5 % of cases. A pass is no proof.",
        ),
    ],
)
def test_the_risk_that_is_printed_is_that_of_the_coverage_or_of_the_rule(rule, words, sentence):
    finding = replace(TRIP, rule=rule.rule, coverage=rule.coverage, risk=rule.risk)
    assert rule_words(finding) == words
    assert decision_words(rule).endswith(sentence)
    assert rule_and_risk(rule).endswith(sentence)


def text_of(html):
    return " ".join(html.split())


def judged_by(evaluation, decision):
    """The same run, as the bench file of another laboratory would have it judged."""
    declared = replace(evaluation.declared, decision=decision)
    return replace(evaluation, declared=declared, findings=tuple(findings(evaluation.recording, declared)))


def test_the_certificate_prints_the_limits_and_the_rule_with_its_risk(tmp_path):
    pack = user_file("pack.yaml", PACK.replace("tolerance: 2 K", "tolerance: 1.25 K", 1))
    evaluation = short_rehearsal(tmp_path, pack=pack).result.evaluation
    again = judged_by(evaluation, Decision(Rule.CONSUMER, 0.8, 0.04))
    html = text_of(render([again], "no. 1", "2026-11-26"))
    assert "53.75 … 56.25" in html
    assert "every statement is made on unrounded values" in html
    assert "for a coverage of 80 %" in html
    assert "maximum consumer risk. Pass: the true value is outside the limits with a probability of at most 4 %" in html
    trip = next(each for each in again.findings if each.name == "trip")
    assert (trip.lower, trip.upper, trip.risk) == (53.75, 56.25, 0.04)
    assert (trip.conformity == "pass") == (trip.probability >= 0.96)


def test_the_rule_of_a_bench_file_is_the_one_of_the_findings():
    text = BENCH.format(port=1) + "decision: {rule: maximum producer risk, risk: 4 %, coverage: 80 %}\n"
    assert decision_of(parse_bench(text, "b")) == Decision(Rule.PRODUCER, 0.8, 0.04)
    assert decision_of(parse_bench(BENCH.format(port=1), "b")) == Decision(Rule.WITH_CONDITIONS, 0.95)


def test_runs_with_different_rules_have_each_theirs_on_one_certificate(tmp_path):
    one = short_rehearsal(tmp_path).result.evaluation
    procedure = one.procedure.model_copy(update={"title": "Another test"})
    other = replace(judged_by(one, Decision(Rule.SIMPLE, 0.9)), procedure=procedure)
    html = text_of(render([one, other], "no. 1", "2026-11-26"))
    for title, coverage in ((one.procedure.title, "95 %"), ("Another test", "90 %")):
        assert (
            f"<b>{title}</b>: Values are given with their expanded uncertainty U = k·u for a coverage of {coverage}"
            in html
        )
    assert "Decision rule: simple acceptance" in html
    assert "Decision rule: guard band with conditions" in html
