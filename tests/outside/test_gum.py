"""Published worked examples of the GUM (JCGM 100:2008) and coverage factors, through the functions the program uses.

Printed values as in the metrology library's own documentation and an independent reference list (second-hand); those
marked "from memory" were not checked against the document.
"""

import math

import numpy as np
import pytest

from runner.measure.budget import Inputs, coverage_factor
from runner.measure.fits.ramp import _least_squares, fit_ramp
from tests.builders import series

# GUM H.3, Table H.6: readings of a thermometer and their corrections, °C
T = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
B = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]


def line(reference):
    x = np.array(T) - reference
    return _least_squares(np.column_stack([np.ones_like(x), x]), np.array(B), 0.0)


def test_h3_intercept_slope_and_their_uncertainties():
    (y1, y2), covariance, scatter = line(20.0)
    assert (round(y1, 4), round(covariance[0, 0] ** 0.5, 4)) == (-0.1712, 0.0029)
    assert (round(y2, 5), round(covariance[1, 1] ** 0.5, 5)) == (0.00218, 0.00067)
    assert covariance[0, 1] / (covariance[0, 0] * covariance[1, 1]) ** 0.5 == pytest.approx(-0.930, abs=5e-4)
    assert scatter == pytest.approx(0.0035, abs=5e-5)  # from memory


def test_h3_predicted_correction_at_30_degrees_is_the_lines_and_not_that_of_a_new_reading():
    (value, _), covariance, scatter = line(30.0)
    assert (round(value, 4), round(covariance[0, 0] ** 0.5, 4)) == (-0.1494, 0.0041)
    assert (covariance[0, 0] + scatter**2) ** 0.5 == pytest.approx(0.00542, abs=1e-5)


def test_h3_through_the_ramp_fit_at_the_end_of_its_window():
    """The same data as a ramp in time, ended at its last point: value, rate and their uncertainties are the line's there."""
    times = (np.array(T) - T[0]) * 10.0
    ramp = fit_ramp(series(times, B), float(times[-1]), 0.0, 0.0)
    (value, slope), covariance, _ = line(T[-1])
    assert ramp.temperature == pytest.approx(value, rel=1e-9)
    assert ramp.rate * 10 == pytest.approx(slope, rel=1e-9)
    assert ramp.temperature_uncertainty == pytest.approx(covariance[0, 0] ** 0.5, rel=1e-9)
    assert ramp.dof == 9


def test_h1_end_gauge_budget_uncertainty_and_effective_degrees_of_freedom():
    inputs = Inputs()
    standard = inputs.add("l_S", 50_000_623.0, 25.0, dof=18)
    difference = (
        inputs.add("mean", 215.0, 5.8, dof=24)
        + inputs.add("random", 0.0, 3.9, dof=5)
        + inputs.add("systematic", 0.0, 6.7, dof=8)
    )
    expansion = inputs.add("α_S", 11.5e-6, 2e-6 / 3**0.5, "rectangular")
    temperature = inputs.add("θ mean", -0.1, 0.2) + inputs.add("θ cyclic", 0.0, 0.5 / 2**0.5, "arcsine")
    d_expansion = inputs.add("δα", 0.0, 1e-6 / 3**0.5, "rectangular", dof=50)
    d_temperature = inputs.add("δθ", 0.0, 0.05 / 3**0.5, "rectangular", dof=2)
    length = standard + difference - standard * (d_expansion * temperature + expansion * d_temperature)
    assert float(length.x) == pytest.approx(50_000_838, abs=0.5)
    assert round(float(length.u)) == 32
    assert float(length.df) == pytest.approx(16.7, abs=0.1)
    contributions = {row.source: row.contribution for row in inputs.rows(length)}
    assert contributions["l_S"] == pytest.approx(25.0, abs=0.05)
    assert contributions["δα"] == pytest.approx(2.9, abs=0.05)
    assert contributions["δθ"] == pytest.approx(16.6, abs=0.05)
    parts = (contributions[name] for name in ("mean", "random", "systematic"))
    assert math.sqrt(sum(part**2 for part in parts)) == pytest.approx(9.7, abs=0.05)
    assert coverage_factor(16, 0.99) * 32 == pytest.approx(93, abs=0.6)


def test_four_equal_components_of_ten_degrees_of_freedom_make_forty():
    """GUM G.4, arithmetic ours."""
    inputs = Inputs()
    total = sum(inputs.add(f"part {number}", 0.0, 1.0, dof=10) for number in range(4))
    assert float(total.u) == pytest.approx(2.0)
    assert float(total.df) == pytest.approx(40.0)


# NIST Technical Note 1297, Table B.1 (the same as GUM Table G.2), read there
@pytest.mark.parametrize(
    ("dof", "coverage", "k"),
    [
        (1, 0.95, 12.71), (2, 0.95, 4.30), (3, 0.95, 3.18), (5, 0.95, 2.57), (9, 0.95, 2.26), (10, 0.99, 3.17), (16, 0.99, 2.92),
        (20, 0.90, 1.72), (50, 0.95, 2.01), (100, 0.95, 1.984), (8, 0.9973, 4.28), (float("inf"), 0.95, 1.960), (float("inf"), 0.9545, 2.000),
    ],
)  # fmt: skip
def test_students_factors_are_those_of_the_table(dof, coverage, k):
    half_a_digit = 0.0005 if k in (1.984, 1.960, 2.000) else 0.005  # as many digits as the table prints
    assert abs(coverage_factor(dof, coverage) - k) <= half_a_digit + 1e-9


# GUM H.2, Table H.2: five simultaneous readings of voltage (V), current (A) and phase angle (rad)
V_READ = [5.007, 4.994, 5.005, 4.990, 4.999]
I_READ = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
PHI_READ = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def test_h2_resistance_and_reactance_from_simultaneous_readings():
    import GTC

    inputs = Inputs()
    v, i, phi = inputs.together("simultaneous readings", [V_READ, I_READ, PHI_READ])
    assert (float(v.x), float(v.u)) == (pytest.approx(4.9990), pytest.approx(0.0032, abs=5e-5))
    assert float(i.u) == pytest.approx(0.0095e-3, abs=5e-8)
    assert float(phi.u) == pytest.approx(0.00075, abs=5e-6)
    assert GTC.get_correlation(v, i) == pytest.approx(-0.36, abs=0.006)
    assert GTC.get_correlation(v, phi) == pytest.approx(0.86, abs=0.006)
    assert GTC.get_correlation(i, phi) == pytest.approx(-0.65, abs=0.006)
    resistance, reactance, impedance = v / i * GTC.cos(phi), v / i * GTC.sin(phi), v / i
    for quantity, value, u in (
        (resistance, 127.732, 0.071),
        (reactance, 219.847, 0.295),
        (impedance, 254.260, 0.236),
    ):
        assert float(quantity.x) == pytest.approx(value, abs=6e-4)
        assert float(quantity.u) == pytest.approx(u, abs=6e-4)
        assert float(quantity.df) == pytest.approx(4, abs=0.01)
        (row,) = inputs.rows(quantity)
        assert row.contribution == pytest.approx(float(quantity.u), rel=1e-6), "correlated inputs are one source"
    assert GTC.get_correlation(resistance, reactance) == pytest.approx(-0.588, abs=6e-4)
