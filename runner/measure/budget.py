"""Uncertainty budgets (JCGM 100:2008), over one metrology library that stays behind this module.

An ``Inputs`` is the set of input quantities of one evaluation. Quantities that two findings share, such as the probe's
calibration, are one object, so their correlation is carried without anybody's doing: a difference loses what is common.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np

from runner.measure.distribution import MANY as MANY
from runner.measure.distribution import Distribution, Part, distribution_of
from runner.vocabulary import BudgetLine, BudgetSource

Sourced = str | BudgetLine  # a BudgetSource, one of something, or a text where it is neither
Quantity = Any  # GTC.UncertainReal; the library has no types

# the most that readings are taken to move together: at 1 rounding makes the variance of a difference less than nothing
TOGETHER = 1.0 - 1e-12


def _library() -> Any:
    """The metrology library; slow to import: neither the start of the program nor that of a run waits for it."""
    import GTC

    return GTC


@dataclass(frozen=True)
class BudgetRow:
    """One line of a budget. ``contribution`` is |sensitivity| × standard uncertainty, in the unit of the result."""

    source: str
    value: float
    distribution: str
    sensitivity: float
    contribution: float
    dof: float
    kind: str = ""  # the BudgetSource, where the line says of what; empty where it is none of them


@dataclass(frozen=True)
class _Input:
    quantity: Quantity
    line: BudgetLine
    distribution: str
    together: int = 0  # the number of the readings it was taken from with others; 0: independent of all others


_Part = tuple[_Input, float, float]  # an input, its sensitivity, its contribution


class Inputs:
    """Creates input quantities and remembers what they are called."""

    def __init__(self) -> None:
        self._inputs: list[_Input] = []

    def add(
        self, source: Sourced, value: float, uncertainty: float, distribution: str = "normal", dof: float = MANY
    ) -> Quantity:
        """An input quantity with its standard uncertainty; the name of its source is what the budget prints."""
        line = _line(source)
        quantity = _library().ureal(value, uncertainty, dof, label=line.text)
        self._inputs.append(_Input(quantity, line, distribution))
        return quantity

    def shared(
        self, source: Sourced, value: float, uncertainty: float, distribution: str = "normal", dof: float = MANY
    ) -> Quantity:
        """The one input quantity of this name, the same for everybody who asks: what is not known of it is common to all."""
        there = next((item.quantity for item in self._inputs if item.line == _line(source)), None)
        return there if there is not None else self.add(source, value, uncertainty, distribution, dof)

    def together(self, source: Sourced, readings: Sequence[Sequence[float]]) -> list[Quantity]:
        """Input quantities that were read at the same instants, n times each: their means, with what they have in common.

        The evaluation of JCGM 100:2008, 4.2 and 5.2.3, degrees of freedom n − 1. They are one source in a budget, because
        correlated inputs have no contributions of their own. (GTC's own evaluation of readings fails where rounding makes a
        correlation of displays that step together a little more than 1.)
        """
        table = np.asarray(readings, float)
        number_of = table.shape[1]
        covariance = np.cov(table) / number_of
        u = np.sqrt(np.diag(covariance))
        quantities = list(
            _library().multiple_ureal(table.mean(axis=1), u, number_of - 1, label_seq=[_line(source).text] * len(table))
        )
        for (i, one), (j, other) in combinations(enumerate(quantities), 2):
            if u[i] > 0 and u[j] > 0:
                together = float(np.clip(covariance[i, j] / (u[i] * u[j]), -TOGETHER, TOGETHER))
                _library().set_correlation(together, one, other)
        number = 1 + max((item.together for item in self._inputs), default=0)
        self._inputs += [_Input(quantity, _line(source), "normal", number) for quantity in quantities]
        return quantities

    def rows(self, result: Quantity) -> tuple[BudgetRow, ...]:
        """The budget of a result: its inputs, those of the same source taken together, largest first.

        Sources of several inputs (one a ramp) are combined as the root of the sum of squares, their sensitivity left 0
        unless there is one input; the squares of all contributions add up to that of the result's uncertainty.
        """
        rows = [_row(line, parts) for line, parts in self._by_source(result).items()]
        return tuple(sorted(rows, key=lambda row: -row.contribution))

    def distribution(self, result: Quantity) -> Distribution:
        """How the true value lies about a result: each independent input with its own distribution, not those of the rows.

        Two rectangular inputs of one source make a triangle, which reaches further than a rectangle of the same deviation.
        Inputs that were read together are one part.
        """
        return _distribution(
            [
                row
                for line, parts in self._by_source(result).items()
                for row in ([_row(line, parts)] if _correlated(parts) else [_row(line, [part]) for part in parts])
            ]
        )

    def _by_source(self, result: Quantity) -> dict[BudgetLine, list[_Part]]:
        """The inputs that a result really depends on, by their source."""
        by_source: dict[BudgetLine, list[_Part]] = {}
        for item in self._inputs:
            sensitivity = float(_library().reporting.sensitivity(result, item.quantity)) if item.quantity.u else 0.0
            contribution = abs(sensitivity) * float(item.quantity.u)
            if contribution:
                by_source.setdefault(item.line, []).append((item, sensitivity, contribution))
        return by_source


def _line(source: Sourced) -> BudgetLine:
    if isinstance(source, BudgetLine):
        return source
    return BudgetLine(source if isinstance(source, BudgetSource) else None, str(source))


def _correlated(parts: Sequence[_Part]) -> list[tuple[_Part, _Part]]:
    """The pairs that were read together."""
    read = [part for part in parts if part[0].together]
    return [(one, other) for one, other in combinations(read, 2) if one[0].together == other[0].together]


def _row(line: BudgetLine, parts: Sequence[_Part]) -> BudgetRow:
    variance = sum(contribution**2 for _, _, contribution in parts)
    for one, other in _correlated(parts):
        sign = 1.0 if one[1] * other[1] > 0 else -1.0
        variance += (
            2.0 * sign * one[2] * other[2] * float(_library().get_correlation(one[0].quantity, other[0].quantity))
        )
    variance = max(variance, 0.0)
    freedom = sum(contribution**4 / float(item.quantity.df) for item, _, contribution in parts)
    single = len(parts) == 1
    dof = variance**2 / freedom if freedom else MANY
    if _correlated(parts):  # read together: the formula above does not hold for them, they have those of their readings
        dof = min(float(item.quantity.df) for item, _, _ in parts)
    return BudgetRow(
        line.text,
        float(parts[0][0].quantity.x) if single else 0.0,
        parts[0][0].distribution,
        parts[0][1] if single else 0.0,
        variance**0.5,
        dof,
        line.source.value if line.source is not None else "",
    )


def coverage_factor(dof: float, coverage: float) -> float:
    """Student's t for a two-sided interval (JCGM 100:2008, G.3.2); the normal distribution for infinite dof."""
    return float(_library().reporting.k_factor(dof, coverage * 100))


def chi_square_limit(freedom: float, chance: float = 0.05) -> float:
    """What χ²/ν exceeds by chance with this probability."""
    from scipy import special  # slow to import, as above

    return float(special.chdtri(freedom, chance) / freedom)


def _distribution(rows: Sequence[BudgetRow]) -> Distribution:
    return distribution_of([Part(row.distribution, row.contribution, row.dof) for row in rows])
