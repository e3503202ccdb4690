"""Findings as people read them: charge in Ah, energy in Wh, leads in mΩ; values with as many digits as the uncertainty carries,
limits with all they have."""

from __future__ import annotations

from dataclasses import dataclass

from runner.measure.budget import BudgetRow
from runner.measure.conformity import Decision, percent
from runner.measure.finding import Finding
from runner.notation.quantity import exact
from runner.scale import READ_AS, scaled
from runner.scale import digits_for as digits_for
from runner.vocabulary import BudgetSource, Rule

PRINTED = {  # what people read of a source whose name in findings.json is a term of the method
    BudgetSource.POLLING: "how often the pack measures",
    BudgetSource.COUPLING_DIRECTION: "difference of contact between heating and cooling",
}
OF_RULES = {
    Rule.SIMPLE: "Pass: inside the limits; fail: outside (ILAC-G8:09/2019, 4.2.1).",
    Rule.GUARD_BAND: "Pass: inside the limits by at least the expanded uncertainty U; otherwise fail (ILAC-G8:09/2019, 4.2.2).",
    Rule.WITH_CONDITIONS: "Pass: inside the limits by at least the expanded uncertainty U; conditional pass: inside, but closer "
    "than U to a limit; conditional fail: outside by at most U; fail: outside by more than U (ILAC-G8:09/2019).",
    Rule.CONSUMER: "Pass: the true value is outside the limits with a probability of at most {risk}; otherwise fail "
    "(specific consumer's risk, JCGM 106:2012).",
    Rule.PRODUCER: "Fail: so far outside the limits that a pack inside them would be measured there in at most {risk} of cases; "
    "otherwise pass (specific producer's risk, guarded rejection, JCGM 106:2012).",
}

ALMOST = 0.999  # a probability of conformity beyond it is said to be beyond it


@dataclass(frozen=True)
class Worded:
    """The texts of one finding. ``value`` is empty where there is none."""

    unit: str
    value: str
    uncertainty: str
    expected: str
    limits: str


def worded(finding: Finding) -> Worded:
    """A finding in words and digits (two significant digits of the uncertainty: JCGM 100:2008, 7.2.6)."""
    size, offset, unit = shown_as(finding.unit)
    known = finding.value is not None and finding.expanded_uncertainty is not None
    digits = digits_for((finding.expanded_uncertainty or 0.0) / size) if known else 2
    few = 1 if finding.unit in ("°C", "K") else 2
    return Worded(
        unit,
        number((finding.value or 0.0) / size + offset, digits) if known else "",
        number((finding.expanded_uncertainty or 0.0) / size, digits) if known else "",
        "—" if finding.expected is None or not_the_declared(finding) else exact(finding.expected / size + offset, few),
        _limits(finding, size, offset, few),
    )


def shown_as(unit: str) -> tuple[float, float, str]:
    """(size, offset, unit) in which people read a value in ``unit``: value / size + offset. A difference has no offset."""
    if unit in READ_AS:
        name, size = READ_AS[unit]
        return size, 0.0, name
    return scaled(unit)


def rule_words(finding: Finding, *, narrow: bool = False) -> str:
    """The decision rule of a finding as people read it beside its statement, with its risk; ``narrow``: on 80 columns."""
    words = "guard band with conditions" if finding.decision.rule == Rule.WITH_CONDITIONS else finding.rule
    wrong = "fail" if finding.decision.rule == Rule.PRODUCER else "pass"
    return f"{words}, risk{'' if narrow else f' of a wrong {wrong}'} ≤ {percent(finding.decision.risk)}"


def decision_words(decision: Decision) -> str:
    """A decision rule as a customer reads it, with its risk in %."""
    words = OF_RULES[Rule(decision.rule)].format(risk=percent(decision.risk))
    return f"{decision.rule}. {words} {risk_of(decision)}"


def rule_and_risk(decision: Decision) -> str:
    """A decision rule by its name, with its risk."""
    return f"{decision.rule}. {risk_of(decision)}"


def risk_of(decision: Decision) -> str:
    """The risk of a wrong statement, as sentences."""
    most = f"in at most {percent(decision.risk)} of cases"
    if decision.rule == Rule.PRODUCER:
        return f"Risk of a wrong fail: a pack whose true value is inside the limits or at one is failed {most}. A pass is no proof."
    also = "; conditionally, in at most 50 %" if decision.rule == Rule.WITH_CONDITIONS else ""
    return f"Risk of a wrong pass: a pack whose true value is at or beyond a limit is passed {most}{also}."


def source_of(row: BudgetRow) -> str:
    """Where a part of an uncertainty comes from, as people read it."""
    printed = PRINTED.get(BudgetSource(row.kind)) if row.kind else None
    return row.source if printed is None else f"{printed}{row.source.removeprefix(row.kind)}"


def not_the_declared(finding: Finding) -> bool:
    """Whether a declared delay must not stand beside a delay: found with a decade box, it has the filter of the pack in it."""
    return finding.name == "delay" and finding.sensor is not None and finding.conformity is None


def chance(finding: Finding) -> str:
    """The probability of conformity, without more digits than the model knows, and never rounded past what the rule asks for."""
    probability, decision = finding.probability, finding.decision
    if probability is None:
        return "—"
    producer = (
        decision.rule == Rule.PRODUCER
    )  # who rejects at the risk itself, where the others accept at what is left of it
    least = round(decision.risk if producer else 1.0 - decision.risk, 9)
    if probability > max(least, ALMOST):
        return f"> {percent(max(least, ALMOST))}"
    if probability < min(least, 1.0 - ALMOST):
        return f"< {percent(min(least, 1.0 - ALMOST))}"

    def accepted(probability: float) -> bool:
        return probability > least if producer else probability >= least

    texts = [f"{100 * probability:.{digits}f}" for digits in range(1, 7)]
    same = (text for text in texts if accepted(round(float(text) / 100, 9)) == accepted(probability))
    return next(same, texts[-1]) + " %"


def number(value: float | None, digits: int = 2) -> str:
    """A number with a true minus sign, none before a zero, or a dash for none."""
    return "—" if value is None else f"{value:z.{digits}f}".replace("-", "−")


def _limits(finding: Finding, size: float, offset: float, least: int) -> str:
    """With all their digits: what is decided by is what is read."""
    lower, upper = (None if each is None else each / size + offset for each in (finding.lower, finding.upper))
    if lower is not None and upper is not None:
        return f"{exact(lower, least)} … {exact(upper, least)}"
    if lower is not None:
        return f"≥ {exact(lower, least)}"
    return "—" if upper is None else f"≤ {exact(upper, least)}"


def what_would_help(finding: Finding) -> str:
    """The largest part of a budget in words, with what would reduce it; nothing where there is no budget."""
    if not finding.budget:
        return ""
    largest = finding.budget[0]
    share = largest.contribution**2 / sum(row.contribution**2 for row in finding.budget)
    help_with = BudgetSource(largest.kind).advice if largest.kind else ""
    return f"{100 * share:.0f} % of the variance: {source_of(largest)}" + (
        f". To reduce it: {help_with}" if help_with else ""
    )
