"""Statements of conformity: the words of ILAC-G8:09/2019, and the probability of conformity of JCGM 106:2012."""

from __future__ import annotations

import math

from scipy import stats

PASS, CONDITIONAL_PASS, CONDITIONAL_FAIL, FAIL = "pass", "conditional pass", "conditional fail", "fail"
NOT_MEASURED = "not measured"
NOT_JUDGED = "not judged (no limit declared)"  # what is said where there is no statement: measured, and nothing to hold it against
STATEMENTS = (PASS, CONDITIONAL_PASS, CONDITIONAL_FAIL, FAIL, NOT_MEASURED)
# how bad a statement is for the whole; the certificate's is its worst finding's
SEVERITY = {PASS: 0, CONDITIONAL_PASS: 1, NOT_MEASURED: 2, CONDITIONAL_FAIL: 3, FAIL: 4}

SIMPLE, GUARD_BAND, WITH_CONDITIONS = "simple acceptance", "guard band", "guard band with conditions"
RULES = {
    SIMPLE: "pass: inside the limits; fail: outside (ILAC-G8:09/2019, 4.2.1; risk of a wrong pass up to 50 %)",
    GUARD_BAND: "pass: inside the limits by at least U; otherwise fail (ILAC-G8:09/2019, 4.2.2, w = U; "
    "risk of a wrong pass at most 2.5 %)",
    WITH_CONDITIONS: "pass: inside the limits by at least U; conditional pass: inside, but closer than U to a limit; "
    "conditional fail: outside by at most U; fail: outside by more than U (ILAC-G8:09/2019, w = U; risk of a wrong pass at "
    "most 2.5 %)",
}


def probability(value: float, uncertainty: float, dof: float, lower: float | None, upper: float | None) -> float:
    """Probability that the true value lies within the limits (JCGM 106:2012, clause 7), given only the measurement.

    A scaled and shifted t distribution with ``dof`` degrees of freedom stands for the measured quantity (JCGM 101, 6.4.9).
    """
    if uncertainty <= 0:
        return float((lower is None or value >= lower) and (upper is None or value <= upper))
    spread = stats.norm if math.isinf(dof) else stats.t(dof)
    above = spread.cdf((upper - value) / uncertainty) if upper is not None else 1.0
    below = spread.cdf((lower - value) / uncertainty) if lower is not None else 0.0
    return float(above - below)


def statement(value: float, expanded: float, lower: float | None, upper: float | None, rule: str) -> str:
    """The statement under a rule; ``expanded`` is the expanded uncertainty U, which is also the guard band."""
    inside = min(math.inf if upper is None else upper - value, math.inf if lower is None else value - lower)
    if rule == SIMPLE:
        return PASS if inside >= 0 else FAIL
    if inside >= expanded:
        return PASS
    if rule == GUARD_BAND:
        return FAIL
    if inside >= 0:
        return CONDITIONAL_PASS
    return CONDITIONAL_FAIL if inside >= -expanded else FAIL


def worst(statements: list[str]) -> str:
    """The statement that holds for all of them together; not measured if there are none."""
    return max(statements, key=lambda each: SEVERITY[each], default=NOT_MEASURED)
