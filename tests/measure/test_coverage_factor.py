"""The factor of an interval, from what its budget is made of.

JCGM 101:2008, 9.2 (second hand and computed): four standard normals give ±3.92 at 95 %, four rectangular distributions of unit
standard deviation ±3.88. One rectangular alone: 0.95·√3 = 1.645 (JCGM 100:2008, G.1.4 and 4.3.7, computed).
"""

import numpy as np
import pytest

from runner.measure.budget import MANY, BudgetRow, coverage_factor, coverage_factor_of


def rows(*parts, dof=MANY):
    return [BudgetRow(f"part {n}", 0.0, kind, 1.0, size, dof) for n, (kind, size) in enumerate(parts)]


def test_four_normals_are_one_normal():
    four = rows(*[("normal", 1.0)] * 4)
    assert 2.0 * coverage_factor_of(four, 0.95) == pytest.approx(3.92, abs=0.005)


def test_four_rectangular_ones_are_nearly_but_not_quite():
    four = rows(*[("rectangular", 1.0)] * 4)
    assert 2.0 * coverage_factor_of(four, 0.95) == pytest.approx(3.88, abs=0.005)


def test_one_rectangular_is_never_wider_than_itself():
    assert coverage_factor_of(rows(("rectangular", 1.0)), 0.95) == pytest.approx(0.95 * 3**0.5, abs=0.005)
    assert coverage_factor_of(rows(("rectangular", 1.0)), 0.9545) == pytest.approx(0.9545 * 3**0.5, abs=0.005)


def test_few_degrees_of_freedom_keep_students_factor():
    assert coverage_factor_of(rows(("normal", 1.0), dof=4.0), 0.95) == pytest.approx(coverage_factor(4.0, 0.95))
    little = rows(("normal", 1.0), dof=4.0) + rows(("rectangular", 0.05))
    assert coverage_factor_of(little, 0.95) == pytest.approx(coverage_factor(4.0, 0.95), rel=0.01)


@pytest.mark.parametrize("share", [0.1, 0.3, 1.0, 3.0])
def test_a_mixture_is_what_a_million_draws_say(share):
    dice = np.random.default_rng(7)
    total = (
        dice.normal(0, 1, 10**6)
        + share * dice.uniform(-(3**0.5), 3**0.5, 10**6)
        + share / 2 * dice.uniform(-(3**0.5), 3**0.5, 10**6)
    )
    u = (1 + share**2 + share**2 / 4) ** 0.5
    wanted = float(np.quantile(np.abs(total), 0.95)) / u
    mixed = rows(("normal", 1.0), ("rectangular", share), ("rectangular", share / 2))
    assert coverage_factor_of(mixed, 0.95) == pytest.approx(wanted, abs=0.006)
