"""The factor of an interval, from what its budget is made of.

JCGM 101:2008, 9.2 (second hand and computed): four standard normals give ±3.92 at 95 %, four rectangular distributions of unit
standard deviation ±3.88. One rectangular alone: 0.95·√3 = 1.645 (JCGM 100:2008, G.1.4 and 4.3.7, computed).
"""

import numpy as np
import pytest

from runner.measure.budget import MANY, BudgetRow, Inputs, coverage_factor
from tests.distributions import coverage_factor_of


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


def test_two_rectangles_of_one_source_make_a_triangle():
    """95 % of a triangle of half-width √6·u lie within √6·(1 − √0.05) = 1.902 u (JCGM 100:2008, 4.3.9, computed)."""
    inputs = Inputs()
    difference = inputs.add("step size", 55.0, 0.1, "rectangular") - inputs.add("step size", 45.0, 0.1, "rectangular")
    assert len(inputs.rows(difference)) == 1
    assert inputs.distribution(difference).half_width(0.95) / difference.u == pytest.approx(
        6**0.5 * (1 - 0.05**0.5), abs=0.005
    )


def test_readings_that_are_correlated_are_one_input_of_the_factor():
    inputs = Inputs()
    volts, amperes = inputs.together("readings of both meters", [[5.0, 5.1, 4.9, 5.05], [1.0, 1.03, 0.99, 1.0]])
    assert inputs.distribution(volts / amperes).half_width(0.95) / (volts / amperes).u == pytest.approx(
        coverage_factor(3.0, 0.95), rel=1e-6
    )


def test_an_arc_sine_reaches_nearly_to_its_ends():
    """95 % of an arc sine of half-width √2·u lie within √2·sin(0.95·π/2) (JCGM 101:2008, 6.4.6, computed)."""
    wanted = 2**0.5 * np.sin(0.95 * np.pi / 2)
    assert coverage_factor_of(rows(("U-shaped", 1.0)), 0.95) == pytest.approx(wanted, abs=0.01)


@pytest.mark.parametrize("share", [0.3, 1.0, 3.0])
def test_two_values_with_others_are_what_a_million_draws_say(share):
    dice = np.random.default_rng(9)
    total = dice.normal(0, 0.3, 10**6) + dice.uniform(-(3**0.5), 3**0.5, 10**6) + share * dice.choice([-1, 1], 10**6)
    wanted = float(np.quantile(np.abs(total), 0.95)) / (0.09 + 1 + share**2) ** 0.5
    mixed = rows(("normal", 0.3), ("rectangular", 1.0), ("two values", share))
    assert coverage_factor_of(mixed, 0.95) == pytest.approx(wanted, abs=0.006)


@pytest.mark.parametrize("share", [0.3, 1.0, 3.0])
def test_an_arc_sine_with_others_is_what_a_million_draws_say(share):
    dice = np.random.default_rng(8)
    total = (
        dice.normal(0, 0.2, 10**6)
        + dice.uniform(-(3**0.5), 3**0.5, 10**6)
        + share * 2**0.5 * np.cos(dice.uniform(0, np.pi, 10**6))
    )
    wanted = float(np.quantile(np.abs(total), 0.95)) / (0.04 + 1 + share**2) ** 0.5
    mixed = rows(("normal", 0.2), ("rectangular", 1.0), ("U-shaped", share))
    assert coverage_factor_of(mixed, 0.95) == pytest.approx(wanted, abs=0.006)
