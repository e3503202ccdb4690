"""Distributions and intervals that tests ask for, from the parts that the method makes its own from."""

from __future__ import annotations

from collections.abc import Sequence

from runner.measure.budget import BudgetRow
from runner.measure.distribution import MANY, Distribution, Part, distribution_of
from runner.measure.fits.edge import Edge


def student(uncertainty: float, dof: float = MANY) -> Distribution:
    """A normal distribution, or Student's for finite degrees of freedom, scaled to a standard uncertainty."""
    return distribution_of([Part("normal", uncertainty, dof)])


def coverage_factor_of(rows: Sequence[BudgetRow], coverage: float) -> float:
    """The factor k for which value ± k·u holds the true value with the coverage, from the distributions in the budget."""
    spread = distribution_of([Part(row.distribution, row.contribution, row.dof) for row in rows])
    return spread.half_width(coverage) / spread.uncertainty


def half_width(edge: Edge, coverage: float) -> float:
    """Half of the interval that holds the instant of an edge with a probability, in s."""
    if edge.rectangular:
        return coverage * 3.0**0.5 * edge.uncertainty
    return student(edge.uncertainty).half_width(coverage)
