"""What a pack's own noise and filter do to its cut-off, against packs that are simulated here look by look."""

import math

import numpy as np
import pytest

from runner.measure.budget import Inputs
from runner.measure.fits.cells import about_cells, early, lag_of_filter, late
from runner.measure.recording import Specification
from tests.under_voltage import declared, lines

CELLS = 8


def within(quantity):
    half = 3.0**0.5 * quantity.u
    return quantity.x - half, quantity.x + half


def decided(dice, sigma, wanted, slope, up):
    """V by which a pack of even cells is above its threshold at the first of the looks in a row with which it decides.

    It cuts off when any cell reads below, and comes back when none does; ``slope`` in V a look and cell.
    """
    m = np.arange(-300, 400) * slope * (1 if up else -1)
    below = (m[:, None] + sigma * dice.standard_normal((len(m), CELLS)) < 0).any(axis=1)
    past = ~below if up else below
    run = np.convolve(past, np.ones(wanted), "valid") == wanted
    return CELLS * m[np.argmax(run)]


@pytest.mark.parametrize("up", [False, True])
def test_noisy_packs_are_further_inside_by_what_the_budget_allows(up):
    """σ of 0.5 to 5 mV as often in each decade, 1 to 20 looks in a row, 0.1 to 1 mV a look; the rest of a budget covers the others."""
    dice = np.random.default_rng(7)
    seen = np.array(
        [
            decided(dice, 5e-4 * 10 ** dice.random(), int(dice.integers(1, 21)), 1e-4 * 10 ** dice.random(), up)
            for _ in range(500)
        ]
    )
    low, high = within((late if up else early)(Specification("under_voltage", cells=CELLS), Inputs()))
    assert np.mean((low <= seen) & (seen <= high)) >= 0.85
    assert np.mean(seen > (low + high) / 2) >= 0.1, "no wider than such packs need"
    quiet, _ = within((late if up else early)(declared(cell_noise=0.0), Inputs()))
    assert quiet == 0.0


@pytest.mark.parametrize("up", [False, True])
@pytest.mark.parametrize("sigma", [0.001, 0.004])
def test_noise_that_the_sheet_gives_is_allowed_for_by_its_size(sigma, up):
    dice = np.random.default_rng(8)
    seen = np.array([decided(dice, sigma, int(dice.integers(1, 21)), 3e-4, up) for _ in range(300)])
    low, high = within((late if up else early)(declared(cell_noise=sigma), Inputs()))
    assert np.mean((low <= seen) & (seen <= high)) >= 0.95
    assert high - low <= 4.0 * CELLS * sigma + 1e-9


def test_an_unknown_filter_lags_up_to_a_mean_of_sixteen_looks():
    """The mean of n values of a straight line is its value (n − 1)/2 steps before the last."""
    mean, deviation = lag_of_filter(declared(filter_lag=None, polling=0.5))
    t = 0.5 * np.arange(40)
    assert mean + 3.0**0.5 * deviation == pytest.approx(t[-1] - np.convolve(t, np.full(16, 1 / 16), "valid")[-1])
    assert mean - 3.0**0.5 * deviation == pytest.approx(0.0)


def test_a_first_order_filter_lags_a_ramp_by_its_time_constant():
    """y' = (x − y)/T follows x = t by T once settled (any textbook); a declared one is put in, known to a quarter."""
    t = np.arange(0.0, 20.0, 0.001)
    y = t - 0.8 * (1 - np.exp(-t / 0.8))
    mean, deviation = lag_of_filter(declared(filter_lag=0.8))
    assert t[-1] - y[-1] == pytest.approx(mean, abs=1e-6)
    assert deviation == pytest.approx(0.2 / math.sqrt(3))


def test_what_was_assumed_of_a_pack_is_said_and_what_is_declared_is_not():
    (said,) = about_cells(declared(cell_noise=None, filter_lag=None))
    assert "filter of 0 to 2.5 s" in said
    assert "−1.5 to 6 mV per cell" in said
    (said,) = about_cells(declared(cell_noise=None))
    assert "filter" not in said
    assert about_cells(declared()) == ()


def test_the_lines_of_a_trip_whose_pack_and_voltmeter_nobody_has_described():
    from tests.measure.test_lines_of_voltage_budgets import SLOPE, fallen

    quiet, unknown = fallen().trip(), fallen(cell_noise=None, filter_lag=None, averaging={}).trip()
    found = lines(unknown)
    assert found["noise of the pack's cell readings"] == pytest.approx(8 * 0.0075 / 12**0.5)
    assert found["filter of the pack"] == pytest.approx(-SLOPE * 2.5 / 12**0.5, rel=1e-2)
    assert found["age of the voltage readings"] == pytest.approx(-SLOPE * 0.6 / 12**0.5, rel=1e-2)
    assert unknown.value - quiet.value == pytest.approx(-SLOPE * (1.25 - 0.3) - 8 * 0.00225, abs=1e-4)
