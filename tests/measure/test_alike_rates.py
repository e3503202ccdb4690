"""How different the rates of ramps have to be before their thresholds are carried on to no rate at all."""

import pytest

from tests.measure.test_threshold import LAG, THETA, named, ramps, trip

KNOWN = {"sensor_lag": {"T1": (LAG + 1.75, 1.0)}}


@pytest.mark.parametrize(("rates", "carried_on"), [((2.0, 2.76), False), ((2.0, 2.84), True), ((2.84, 2.0), True)])
def test_two_ramps_are_extrapolated_from_a_ratio_of_seven_to_five(rates, carried_on):
    """Seven to five: our own choice; below it the line is turned by the noise of two points."""
    delay_and_lag = named(ramps(rates), "delay and lag")
    assert (delay_and_lag.conformity != "not measured") is carried_on
    assert any("rates are too similar" in text for text in trip(ramps(rates)).caveats) is not carried_on


def test_the_fastest_and_the_slowest_count_whatever_is_between():
    assert named(ramps([2.0, 2.1, 3.0]), "delay and lag").conformity != "not measured"


def test_ramps_that_are_alike_are_each_corrected_by_what_is_declared():
    one, three = trip(ramps([3.0]), **KNOWN), trip(ramps([3.0, 3.1, 2.9]), **KNOWN)
    assert three.value == pytest.approx(THETA, abs=0.05)
    assert one.value == pytest.approx(THETA, abs=0.05)
