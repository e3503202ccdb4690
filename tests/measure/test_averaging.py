"""What window a meter has is found from how its readings follow a current that stops; the readings are integrals, worked out here.

Apertures of 20 ms to 1 s and times at the end of the window: common practice, no source.
"""

import numpy as np
import pytest

from runner.measure.finding import Evaluator
from runner.measure.fits.averaging import SPANS, Averaging, instant_of, learned, of_window, unknown
from runner.measure.fits.edge import find_edge, find_fall
from runner.measure.recording import Recording, Series, Specification
from tests.distributions import half_width


def readings(stop, aperture, stamp, interval, dice, stays=0.0):
    """Readings of 4 A that stop at ``stop``, each the mean of its window, and the time of the first below the level."""
    t = np.arange(30.0, 60.0, interval) + dice.uniform(0.0, interval)
    begin = t - stamp * aperture
    flowed = np.minimum(begin + aperture, stop) - np.minimum(begin, stop)
    share = flowed / aperture if aperture else (t < stop) * 1.0
    value = np.round(4.0 * (stays + (1 - stays) * share) + dice.normal(0.0, 0.003, len(t)), 3)
    return Series(t, value), float(t[value < 3.6][0])


@pytest.mark.parametrize("interval", [0.1, 0.25, 1.0])
@pytest.mark.parametrize("aperture", [0.0, 0.02, 0.1, 0.2, 0.4, 1.0])
def test_the_instants_of_three_stops_hold_whatever_the_meter_averages_over(interval, aperture):
    dice = np.random.default_rng(int(1000 * aperture + 10 * interval))
    held, errors = 0, []
    for _ in range(20):
        stops = dice.uniform(45.0, 46.0, 3)
        seen = [readings(stop, aperture, 1.0, interval, dice) for stop in stops]
        meter = learned(unknown(interval), [find_fall(*each) for each in seen])
        for stop, (current, at) in zip(stops, seen, strict=True):
            edge = find_edge(current, at, rising=False, meter=meter)
            held += abs(edge.instant - stop) <= half_width(edge, 0.95)
            errors.append(edge.instant - stop)
    assert held >= 53, "of 60; 57 are expected"
    assert np.sqrt(np.mean(np.square(errors))) < 1.2 * interval / 12**0.5


@pytest.mark.parametrize(("aperture", "interval"), [(0.4, 0.1), (1.0, 0.25), (0.2, 0.1), (0.6, 0.25)])
def test_a_window_longer_than_the_interval_is_found_and_so_is_the_instant(aperture, interval):
    dice = np.random.default_rng(7)
    seen = [(stop, *readings(stop, aperture, 1.0, interval, dice)) for stop in dice.uniform(45.0, 46.0, 3)]
    meter = learned(unknown(interval), [find_fall(current, at) for _, current, at in seen])
    assert meter.mean == pytest.approx(aperture, rel=0.1)
    assert meter.found == 3
    assert meter.lag == pytest.approx(aperture / 2, rel=0.1), "the time of a reading is the end of its window"
    for stop, current, at in seen:
        assert find_edge(current, at, rising=False, meter=meter).instant == pytest.approx(stop, abs=0.1 * aperture)


def test_a_meter_of_which_no_reading_was_ever_inside_a_fall_averages_over_little():
    dice = np.random.default_rng(2)
    falls = [find_fall(*readings(stop, 0.0, 1.0, 0.25, dice)) for stop in dice.uniform(45.0, 46.0, 6)]
    assert learned(unknown(0.25), falls).mean < 0.06 < unknown(0.25).mean
    assert learned(unknown(0.25), falls).found == 0


def test_what_is_declared_is_not_found_out_again():
    dice = np.random.default_rng(2)
    known = of_window(0.5, 0.5)
    assert learned(known, [find_fall(*readings(45.3, 0.1, 1.0, 0.25, dice))]) is known
    assert known.lag == 0.0
    assert of_window(0.5).lag == 0.25


def test_what_a_pack_leaves_flowing_is_no_part_of_the_window():
    dice = np.random.default_rng(5)
    current, at = readings(45.3, 0.4, 1.0, 0.1, dice, stays=0.15)
    instant, uncertainty = instant_of(find_fall(current, at), of_window(0.4))
    assert instant == pytest.approx(45.3, abs=0.02)
    assert uncertainty < 0.02


def test_a_fall_that_no_window_explains_lies_between_its_readings():
    t = np.arange(40.0, 50.0, 0.5)
    share = np.where(t < 45.0, 1.0, 0.0)
    share[(t > 44.0) & (t < 46.0)] = [0.2, 0.9, 0.3]
    from runner.measure.fits.averaging import Fall

    fall = Fall(t, share, 0.0, 44.0, 46.5)
    instant, uncertainty = instant_of(fall, of_window(0.02))
    assert 44.0 < instant < 46.5
    assert uncertainty > 0.0


@pytest.mark.parametrize("interval", [0.1, 0.25, 1.0])
def test_before_anything_was_seen_every_length_of_a_window_is_as_likely_as_another(interval):
    meter = unknown(interval)
    each = [float(meter.probability[meter.spans == span].sum()) for span in SPANS]
    assert each == pytest.approx([1.0 / len(SPANS)] * len(SPANS))


def about(meter):
    """A finding with what is said of a meter on its path."""
    evaluator = Evaluator(Recording({}, ()), Specification("over_voltage", averaging={"charge": meter}))
    return evaluator.with_averaging(evaluator.missing("delay", "s", "too few samples around the change"))


@pytest.mark.parametrize(
    ("seconds", "stops", "said"),
    [(0.4, 3, True), (0.4, 1, True), (0.4, 0, False), (0.049, 3, False), (0.051, 3, True)],
)
def test_what_was_found_of_a_meter_is_said_where_stops_have_shown_it_and_it_is_long_enough_to_matter(
    seconds, stops, said
):
    """A twentieth of a second: our own choice."""
    meter = Averaging(np.array([seconds]), np.array([1.0]), np.array([1.0]), stops)
    found = about(meter)
    assert bool(found.caveats) is bool(found.advice) is said
    if said:
        assert found.caveats == (
            f"the supply's current readings are means over about {seconds:.2g} s; this was allowed for",
        )
        assert (
            f"averages: {seconds:.2g} s in the bench file (found from {stops} stop{'s' if stops > 1 else ''})"
            in found.advice
        )


def test_of_a_window_that_is_declared_nothing_is_said():
    assert about(of_window(0.5)).caveats == ()
