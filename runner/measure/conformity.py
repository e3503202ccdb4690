"""Statements of conformity: the words of ILAC-G8:09/2019, and the probability of conformity and the risks of JCGM 106:2012.

Rule 1: U, probability and statement are taken from one distribution, so that they agree at a limit.
Rule 2: values, limits and probabilities are compared as they are, never rounded.
Rule 3: what is said of a risk is made from the coverage or the risk that the bench file gives.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from runner.measure.distribution import Distribution
from runner.vocabulary import MAXIMUM_RISK, Rule

PASS, CONDITIONAL_PASS, CONDITIONAL_FAIL, FAIL = "pass", "conditional pass", "conditional fail", "fail"
NOT_MEASURED = "not measured"
NOT_JUDGED = "not judged (no limit declared)"  # what is said where there is no statement: measured, and nothing to hold it against
STATEMENTS = (PASS, CONDITIONAL_PASS, CONDITIONAL_FAIL, FAIL, NOT_MEASURED)
# how bad a statement is for the whole; the certificate's is its worst finding's
SEVERITY = {PASS: 0, CONDITIONAL_PASS: 1, NOT_MEASURED: 2, CONDITIONAL_FAIL: 3, FAIL: 4}


@dataclass(frozen=True)
class Decision:
    """A decision rule with its numbers, both ratios: the coverage of U, and the maximum risk where the rule is one of risk."""

    rule: str = Rule.WITH_CONDITIONS
    coverage: float = 0.95
    maximum: float | None = None

    @property
    def risk(self) -> float:
        """The risk that the rule limits: that a pack at a limit or beyond it passes; by ``maximum producer risk``, that a pack
        inside the limits fails."""
        if self.rule in MAXIMUM_RISK and self.maximum is not None:
            return self.maximum
        return 0.5 if self.rule == Rule.SIMPLE else (1.0 - self.coverage) / 2

    def statement(self, value: float, spread: Distribution, lower: float | None, upper: float | None) -> str:
        """The statement on a value with the distribution of the true value about it; a limit of None is none."""
        if self.rule == Rule.CONSUMER:
            return PASS if outside(value, spread, lower, upper) <= self.risk else FAIL
        if self.rule == Rule.PRODUCER:
            return FAIL if wrong_fail(value, spread, lower, upper) <= self.risk else PASS
        by = min(math.inf if upper is None else upper - value, math.inf if lower is None else value - lower)
        guard = 0.0 if self.rule == Rule.SIMPLE else spread.half_width(self.coverage)
        if by >= guard:
            return PASS
        if self.rule != Rule.WITH_CONDITIONS:
            return FAIL
        if by >= 0:
            return CONDITIONAL_PASS
        return CONDITIONAL_FAIL if by >= -guard else FAIL


def percent(ratio: float) -> str:
    """A risk in %, without the digits that are only those of the computer."""
    return f"{100 * ratio:.6g} %"


def inside(value: float, lower: float | None, upper: float | None) -> bool:
    """Whether a value is within its limits, or at one."""
    return (lower is None or value >= lower) and (upper is None or value <= upper)


def probability(value: float, spread: Distribution, lower: float | None, upper: float | None) -> float:
    """Probability that the true value lies within the limits (JCGM 106:2012, clause 7), given only the measurement."""
    if spread.uncertainty <= 0:
        return 1.0 - outside(value, spread, lower, upper)
    below = 1.0 if upper is None else spread.below(upper - value)
    return max(below - (0.0 if lower is None else spread.below(lower - value)), 0.0)


def outside(value: float, spread: Distribution, lower: float | None, upper: float | None) -> float:
    """The rest of it: what a pass risks (specific consumer's risk), with all its digits where it is small."""
    if spread.uncertainty <= 0:
        return float(not inside(value, lower, upper))
    above = 0.0 if upper is None else spread.below(value - upper)
    return above + (0.0 if lower is None else spread.below(lower - value))


def wrong_fail(value: float, spread: Distribution, lower: float | None, upper: float | None) -> float:
    """Probability that a true value at a limit is measured at least so far outside; 1/2 and more where the value is inside.

    With one limit it is the probability of conformity, the specific producer's risk of a fail. With two it is never less: a value
    that is outside either of two limits close together, nobody can tell which, is not clearly bad.
    """
    by = max(-math.inf if upper is None else value - upper, -math.inf if lower is None else lower - value)
    far = spread.below(-by - (upper - lower)) if upper is not None and lower is not None else 0.0
    return min(spread.below(-by) + far, 1.0)


def worst(statements: list[str]) -> str:
    """The statement that holds for all of them together; not measured if there are none."""
    return max(statements, key=lambda each: SEVERITY[each], default=NOT_MEASURED)
