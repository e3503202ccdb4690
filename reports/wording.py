"""Findings as people read them: charge in Ah, energy in Wh, leads in mΩ, and as many digits as the uncertainty carries."""

from __future__ import annotations

import math
from dataclasses import dataclass

from runner.measure.conformity import WITH_CONDITIONS
from runner.measure.finding import Finding
from runner.vocabulary import BudgetSource

READ_AS = {"A·s": ("Ah", 3600.0), "J": ("Wh", 3600.0), "Ω": ("mΩ", 1e-3)}  # SI unit -> (shown unit, its size)


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
    unit, size = READ_AS.get(finding.unit, (finding.unit, 1.0))
    known = finding.value is not None and finding.expanded_uncertainty is not None
    digits = digits_for((finding.expanded_uncertainty or 0.0) / size) if known else 2
    few = 1 if finding.unit in ("°C", "K") else 2
    return Worded(
        unit,
        number((finding.value or 0.0) / size, digits) if known else "",
        number((finding.expanded_uncertainty or 0.0) / size, digits) if known else "",
        number(None if finding.expected is None else finding.expected / size, few),
        _limits(finding, size, few),
    )


def rule_words(rule: str) -> str:
    """A decision rule as people read it beside a statement."""
    return {WITH_CONDITIONS: "guard band, conditional"}.get(rule, rule)


def digits_for(uncertainty: float) -> int:
    """Decimals that show an uncertainty with two significant digits."""
    return max(0, 1 - math.floor(math.log10(uncertainty))) if uncertainty > 0 else 2


def number(value: float | None, digits: int = 2) -> str:
    """A number with a true minus sign, or a dash for none."""
    return "—" if value is None else f"{value:.{digits}f}".replace("-", "−")


def _limits(finding: Finding, size: float, digits: int) -> str:
    lower, upper = finding.lower, finding.upper
    if lower is not None and upper is not None:
        return f"{number(lower / size, digits)} … {number(upper / size, digits)}"
    if lower is not None:
        return f"≥ {number(lower / size, digits)}"
    return "—" if upper is None else f"≤ {number(upper / size, digits)}"


def what_would_help(finding: Finding) -> str:
    """The largest part of a budget in words, with what would reduce it; nothing where there is no budget."""
    if not finding.budget:
        return ""
    largest = finding.budget[0]
    share = largest.contribution**2 / sum(row.contribution**2 for row in finding.budget)
    help_with = BudgetSource(largest.kind).advice if largest.kind else ""
    return f"{100 * share:.0f} % of the variance: {largest.source}" + (
        f". To reduce it: {help_with}" if help_with else ""
    )
