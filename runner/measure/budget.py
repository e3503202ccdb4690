"""Uncertainty budgets (JCGM 100:2008), over one metrology library that stays behind this module.

An ``Inputs`` is the set of input quantities of one evaluation. Quantities that two findings share, such as the probe's
calibration, are one object, so their correlation is carried without anybody's doing: a difference loses what is common.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import GTC
import numpy as np
from scipy import stats

Quantity = Any  # GTC.UncertainReal; the library has no types

MANY = float("inf")


@dataclass(frozen=True)
class BudgetRow:
    """One line of a budget. ``contribution`` is |sensitivity| × standard uncertainty, in the unit of the result."""

    source: str
    value: float
    distribution: str
    sensitivity: float
    contribution: float
    dof: float


@dataclass(frozen=True)
class _Input:
    quantity: Quantity
    source: str
    distribution: str


class Inputs:
    """Creates input quantities and remembers what they are called."""

    def __init__(self) -> None:
        self._inputs: list[_Input] = []

    def add(
        self, source: str, value: float, uncertainty: float, distribution: str = "normal", dof: float = MANY
    ) -> Quantity:
        """An input quantity with its standard uncertainty; the name of its source is what the budget prints."""
        quantity = GTC.ureal(value, uncertainty, dof, label=source)
        self._inputs.append(_Input(quantity, source, distribution))
        return quantity

    def shared(self, source: str, value: float, uncertainty: float, distribution: str = "normal") -> Quantity:
        """The one input quantity of this name, the same for everybody who asks: what is not known of it is common to all."""
        there = next((item.quantity for item in self._inputs if item.source == source), None)
        return there if there is not None else self.add(source, value, uncertainty, distribution)

    def together(self, source: str, readings: Sequence[Sequence[float]]) -> list[Quantity]:
        """Input quantities that were read at the same instants, n times each: their means, with what they have in common.

        The evaluation of JCGM 100:2008, 4.2 and 5.2.3, degrees of freedom n − 1. They are one source in a budget, because
        correlated inputs have no contributions of their own.
        """
        quantities = list(GTC.type_a.multi_estimate_real(readings, labels=[source] * len(readings)))
        self._inputs += [_Input(quantity, source, "normal") for quantity in quantities]
        return quantities

    def rows(self, result: Quantity) -> tuple[BudgetRow, ...]:
        """The budget of a result: its inputs, those of the same source taken together, largest first.

        Sources of several inputs (one a ramp) are combined as the root of the sum of squares, their sensitivity left 0
        unless there is one input; the squares of all contributions add up to that of the result's uncertainty.
        """
        by_source: dict[str, list[tuple[_Input, float, float]]] = {}
        for item in self._inputs:
            sensitivity = float(GTC.reporting.sensitivity(result, item.quantity)) if item.quantity.u else 0.0
            contribution = abs(sensitivity) * float(item.quantity.u)
            if contribution:
                by_source.setdefault(item.source, []).append((item, sensitivity, contribution))
        rows = [_row(source, parts) for source, parts in by_source.items()]
        return tuple(sorted(rows, key=lambda row: -row.contribution))


def _row(source: str, parts: list[tuple[_Input, float, float]]) -> BudgetRow:
    variance = sum(contribution**2 for _, _, contribution in parts)
    correlated = False
    for (one, a, _), (other, b, _) in combinations(parts, 2):
        common = float(GTC.get_correlation(one.quantity, other.quantity))
        variance += 2.0 * a * b * float(one.quantity.u) * float(other.quantity.u) * common
        correlated = correlated or abs(common) > 1e-9
    variance = max(variance, 0.0)
    freedom = sum(contribution**4 / float(item.quantity.df) for item, _, contribution in parts)
    single = len(parts) == 1
    dof = variance**2 / freedom if freedom else MANY
    if correlated:  # read together: the formula above does not hold for them, they have those of their readings
        dof = min(float(item.quantity.df) for item, _, _ in parts)
    return BudgetRow(
        source,
        float(parts[0][0].quantity.x) if single else 0.0,
        parts[0][0].distribution,
        parts[0][1] if single else 0.0,
        variance**0.5,
        dof,
    )


def coverage_factor(dof: float, coverage: float) -> float:
    """Student's t for a two-sided interval (JCGM 100:2008, G.3.2); the normal distribution for infinite dof."""
    return float(GTC.reporting.k_factor(dof, coverage * 100))


GRID = 2001  # points over which the distribution of a result is worked out; 501 give the same factor within 0.001


def coverage_factor_of(rows: Sequence[BudgetRow], coverage: float) -> float:
    """The factor k for which value ± k·u holds the true value with the coverage, from the distributions in the budget.

    A result whose uncertainty is mostly one rectangular distribution never is further away than its half-width: Student's
    factor would state an interval wider than what is possible (JCGM 100:2008, G.1.4 and G.2.2; the sum of independent
    distributions as in JCGM 101:2008). The normal parts are taken together, widened as Student's t wants it for their
    degrees of freedom; the rectangular ones are added by convolution.
    """
    total = sum(row.contribution**2 for row in rows) ** 0.5
    edged = [
        row.contribution / total
        for row in rows
        if row.distribution == "rectangular" and row.contribution > 0.01 * total
    ]
    normal = [row for row in rows if row.distribution != "rectangular" or row.contribution <= 0.01 * total]
    if total <= 0 or not edged:
        variance = sum(row.contribution**2 for row in rows)
        freedom = sum(row.contribution**4 / row.dof for row in rows)
        return coverage_factor(variance**2 / freedom if freedom else MANY, coverage)
    variance = sum(row.contribution**2 for row in normal)
    freedom = sum(row.contribution**4 / row.dof for row in normal)
    wider = coverage_factor(variance**2 / freedom if freedom else MANY, coverage) / coverage_factor(MANY, coverage)
    spread = max(wider * variance**0.5 / total, 2e-3)
    x = np.linspace(-1.0, 1.0, GRID) * (5.0 * spread + 3.0**0.5 * sum(edged))
    below = stats.norm.cdf(x, scale=spread)
    for part in edged:
        half = 3.0**0.5 * part
        area = np.concatenate([[0.0], np.cumsum((below[1:] + below[:-1]) / 2 * np.diff(x))])
        beyond = area[-1] + np.maximum(x + half - x[-1], 0.0)  # above the grid everything is below
        below = (np.where(x + half > x[-1], beyond, np.interp(x + half, x, area)) - np.interp(x - half, x, area)) / (
            2 * half
        )
    return float(np.interp(0.5 + coverage / 2, below, x))
