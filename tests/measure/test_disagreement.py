"""Ramps that disagree: what is said of it, and how far the pack is taken to repeat, for residuals that are put in."""

import numpy as np
import pytest

from runner.measure.budget import Inputs
from runner.measure.fits.edge import Edge
from runner.measure.fits.ramp import Ramp
from runner.measure.fits.repeatability import Group, Repeatability, repeatability
from runner.measure.recording import Attempt
from runner.measure.threshold import AGREE, Crossing, find_threshold, rates_of, shared
from tests.builders import declared

STEADY = Repeatability(0.0, 2.0)
RATES, U, LAG, THETA = (0.02, 0.04, 0.06), 0.1, 8.0, 55.0


def found(off, lag=LAG, u=U, bent=(), rates=RATES, repeats=STEADY):
    """Three ramps known to ``u`` K, off the line θ + L·r by ``off``·(1, −2, 1), which no line takes up."""
    values = declared(polling=0.0, calibration=(0.0, "normal"), coupling=0.0, resolution=0.0)
    inputs = Inputs()
    crossings = [
        Crossing(
            Attempt("heat", "T1", cycle, rate, 0.0, 1.0, 100.0, "stopped", ""),
            Edge(100.0, 0.0, 4.0, 100.0, 100.0),
            Ramp(
                THETA + lag * rate + off * share,
                rate,
                u,
                0.0,
                0.0,
                0.0,
                float("inf"),
                0.0,
                100.0,
                straight=cycle not in bent,
            ),
        )
        for cycle, (rate, share) in enumerate(zip(rates, (1, -2, 1), strict=True), start=1)
    ]
    threshold = find_threshold(crossings, values, shared(inputs, values, "T1", 23.0), repeats, inputs)
    return threshold, {row.source: row.contribution for row in inputs.rows(threshold.value)}, inputs


# of a line through three points at 1, 2, 3: the intercept has √(7/3) of a point's deviation, the slope 1/√2 per step
THETA_U, LAG_U = U * (7 / 3) ** 0.5, U / 2**0.5 / 0.02


def test_ramps_that_agree_are_left_alone():
    threshold, rows, _ = found(0.03)
    assert threshold.fit == AGREE
    assert threshold.value.x == pytest.approx(THETA)
    assert threshold.delay_and_lag.x == pytest.approx(LAG)
    assert rows == {"fit of the ramps": pytest.approx(THETA_U)}
    assert threshold.delay_and_lag.u == pytest.approx(LAG_U)


def test_a_ratio_that_comes_by_chance_in_more_than_one_of_twenty_cases_is_left_alone_too():
    """χ² with one degree of freedom exceeds 3.84 in one of twenty cases: a ratio of 1.96."""
    threshold, rows, _ = found(1.9 * U / 6**0.5)
    assert threshold.fit == AGREE
    assert set(rows) == {"fit of the ramps"}


def test_beyond_that_it_is_said_how_far_the_pack_repeats():
    threshold, rows, inputs = found(3.0 * U / 6**0.5, repeats=Repeatability(0.3, 3.0))
    assert (
        threshold.fit
        == "the ramps differ by about 0.30 K, more than the instruments explain; this is included in the uncertainty"
    )
    assert rows["repeatability of the pack"] == pytest.approx(0.3 * (7 / 3) ** 0.5)
    assert threshold.delay_and_lag.u == pytest.approx(LAG_U * (1 + 9) ** 0.5)
    assert {row.source: row.dof for row in inputs.rows(threshold.value)}["repeatability of the pack"] == 3.0


def test_what_is_usual_counts_as_two_degrees_of_freedom_beside_the_residuals():
    """Off a line by (1, −2, 1)·d, the residuals' squares sum to 6·d²: with 0.05 K of two, √((2·0.05² + 6·d²)/3)."""
    line = np.column_stack([np.ones(3), RATES])
    for off in (0.02, 0.1):
        group = Group(np.array([1.0, -2.0, 1.0]) * off, np.zeros(3), line)
        assert repeatability([group]).deviation == pytest.approx(((2 * 0.05**2 + 6 * off**2) / 3) ** 0.5)
        assert repeatability([group, group]).deviation == pytest.approx(((2 * 0.05**2 + 12 * off**2) / 4) ** 0.5)
        assert repeatability([group, group]).dof == 4.0


def test_what_each_ramp_explains_itself_is_no_scatter_of_the_pack():
    """Of three points of one variance about a line, one variance is left on average."""
    line = np.column_stack([np.ones(3), RATES])
    group = Group(np.array([1.0, -2.0, 1.0]) * 0.1, np.full(3, 0.06), line)
    assert repeatability([group]).deviation == pytest.approx((2 * 0.05**2 / 3) ** 0.5)
    assert repeatability([]).deviation == pytest.approx(0.05)


# known to 1 mK the lag is known to 0.035 s, of which three are allowed
@pytest.mark.parametrize(("lag", "possible"), [(-10.1, True), (-10.12, False), (90.1, True), (90.12, False)])
def test_a_lag_is_possible_between_minus_ten_and_ninety_seconds_and_three_deviations(lag, possible):
    """−10 and 90 s: our own choice."""
    threshold, _, _ = found(0.0, lag, 1e-3)
    assert (threshold.impossible == "") is possible


def test_a_ramp_that_was_bent_is_named_and_a_straight_one_is_not():
    assert found(0.0)[0].caveats == ()
    assert found(0.0, bent=(2,))[0].caveats == ("ramp 2 was not straight before the trip",)


def test_cooling_is_carried_on_like_heating_and_both_together_are_not():
    cooled, _, _ = found(0.0, rates=tuple(-rate for rate in RATES))
    assert cooled.value.x == pytest.approx(THETA)
    assert cooled.delay_and_lag.x == pytest.approx(LAG)
    mixed, _, _ = found(0.0, rates=(0.02, -0.04, 0.06))
    assert mixed.delay_and_lag is None


@pytest.mark.parametrize("count", [1, 2, 4, 9])
def test_how_far_the_pack_repeats_averages_out_in_a_mean(count):
    """s/√n (JCGM 100:2008, 4.2.3)."""
    assert Repeatability(0.1, 5.0).of_mean(count, Inputs()).u == pytest.approx(0.1 / count**0.5)


@pytest.mark.parametrize(
    ("last", "window", "counts"),
    [
        ((0.02, 0.04), (0.025, 0.05), "last"),
        ((0.03, 0.031), (0.02, 0.05), "window"),  # drafts made them alike
        ((0.036, 0.008), (0.024, 0.06), "window"),  # drafts turned them round
        ((0.05, 0.02, 0.06), (0.02, 0.04, 0.05), "last"),  # not in one order, but rising on the whole
        ((0.05, 0.04, 0.02), (0.02, 0.04, 0.05), "window"),
        ((-0.036, -0.008), (-0.024, -0.06), "window"),  # cooling
        ((0.02, 0.04), (0.031, 0.03), "last"),  # the window's are alike: nothing better
    ],
)
def test_where_drafts_turn_the_order_of_the_ramps_round_the_rates_over_the_window_count(last, window, counts):
    crossings = [
        Crossing(
            Attempt("heat", "T1", cycle, abs(rate), 0.0, 1.0, 100.0, "stopped", ""),
            Edge(100.0, 0.0, 4.0, 100.0, 100.0),
            Ramp(THETA, rate, U, 0.0, 0.0, 0.0, float("inf"), 0.0, 100.0, straight=True, steady=over),
        )
        for cycle, (rate, over) in enumerate(zip(last, window, strict=True), start=1)
    ]
    assert tuple(rates_of(crossings)) == (last if counts == "last" else window)
