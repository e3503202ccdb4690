"""NIST StRD certified values through the fits the program uses. Values and data: read in the NIST data files."""

import numpy as np
import pytest

from runner.measure.fits.ramp import _least_squares
from runner.measure.fits.recovery import fit_relaxation

MISRA1A = [
    (77.6, 10.07), (114.9, 14.73), (141.1, 17.94), (190.8, 23.93), (239.9, 29.61), (289.0, 35.18), (332.8, 40.02),
    (378.4, 44.82), (434.8, 50.76), (477.3, 55.05), (536.8, 61.01), (593.1, 66.40), (689.1, 75.47), (760.0, 81.78),
]  # fmt: skip
MGH17 = [
    0.844, 0.908, 0.932, 0.936, 0.925, 0.908, 0.881, 0.850, 0.818, 0.784, 0.751, 0.718, 0.685, 0.658, 0.628, 0.603, 0.580,
    0.558, 0.538, 0.522, 0.506, 0.490, 0.478, 0.467, 0.457, 0.448, 0.438, 0.431, 0.424, 0.420, 0.414, 0.411, 0.406,
]  # fmt: skip
NORRIS = [  # y, x
    (0.1, 0.2), (338.8, 337.4), (118.1, 118.2), (888.0, 884.6), (9.2, 10.1), (228.1, 226.5), (668.5, 666.3), (998.5, 996.3),
    (449.1, 448.6), (778.9, 777.0), (559.2, 558.2), (0.3, 0.4), (0.1, 0.6), (778.1, 775.5), (668.8, 666.9), (339.3, 338.0),
    (448.9, 447.5), (10.8, 11.6), (557.7, 556.0), (228.3, 228.1), (998.0, 995.8), (888.8, 887.6), (119.6, 120.2), (0.3, 0.3),
    (0.6, 0.3), (557.6, 556.8), (339.3, 339.1), (888.0, 887.2), (998.5, 999.0), (778.9, 779.0), (10.2, 11.1), (117.6, 118.3),
    (228.9, 229.2), (668.4, 669.1), (449.2, 448.9), (0.2, 0.5),
]  # fmt: skip


@pytest.mark.parametrize("start", [1e-4, 5e-4])
def test_misra1a_an_exponential_from_zero(start):
    x, y = (np.array(column) for column in zip(*MISRA1A, strict=True))
    fit = fit_relaxation(x, y, (start,), from_zero=True)
    assert fit.final == pytest.approx(2.3894212918e02, rel=1e-6)
    assert fit.rates[0] == pytest.approx(5.5015643181e-04, rel=1e-6)
    assert fit.residual == pytest.approx(1.2455138894e-01, rel=1e-8)


@pytest.mark.parametrize("start", [(0.01, 0.02), (0.005, 0.05)])
def test_mgh17_two_time_constants_as_a_voltage_that_recovers(start):
    x, y = np.arange(0.0, 330.0, 10.0), np.array(MGH17)
    fit = fit_relaxation(x, y, start)
    slow, fast = sorted(zip(fit.rates, fit.amplitudes, strict=True))
    assert fit.final == pytest.approx(3.7541005211e-01, rel=1e-6)
    assert slow == pytest.approx((1.2867534640e-02, 1.9358469127e00), rel=1e-6)
    assert fast == pytest.approx((2.2122699662e-02, -1.4646871366e00), rel=1e-6)
    assert fit.residual == pytest.approx(5.4648946975e-05, rel=1e-8)


def test_norris_a_straight_line_with_its_standard_deviations():
    y, x = (np.array(column) for column in zip(*NORRIS, strict=True))
    (b0, b1), covariance, scatter = _least_squares(np.column_stack([np.ones_like(x), x]), y, 0.0)
    assert b0 == pytest.approx(-0.262323073774029, rel=1e-9)
    assert b1 == pytest.approx(1.00211681802045, rel=1e-11)
    assert covariance[0, 0] ** 0.5 == pytest.approx(0.232818234301152, rel=1e-9)
    assert covariance[1, 1] ** 0.5 == pytest.approx(0.429796848199937e-3, rel=1e-9)
    assert scatter == pytest.approx(0.884796396144373, rel=1e-9)
