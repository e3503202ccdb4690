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
    for (one, a, _), (other, b, _) in combinations(parts, 2):
        common = float(GTC.get_correlation(one.quantity, other.quantity))
        variance += 2.0 * a * b * float(one.quantity.u) * float(other.quantity.u) * common
    variance = max(variance, 0.0)
    freedom = sum(contribution**4 / float(item.quantity.df) for item, _, contribution in parts)
    single = len(parts) == 1
    return BudgetRow(
        source,
        float(parts[0][0].quantity.x) if single else 0.0,
        parts[0][0].distribution,
        parts[0][1] if single else 0.0,
        variance**0.5,
        variance**2 / freedom if freedom else MANY,
    )


def coverage_factor(dof: float, coverage: float) -> float:
    """Student's t for a two-sided interval (JCGM 100:2008, G.3.2); the normal distribution for infinite dof."""
    return float(GTC.reporting.k_factor(dof, coverage * 100))
