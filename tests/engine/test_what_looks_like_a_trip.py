"""What looks like a trip and is none, or is one and looks like something else: each from a way real benches are.

Packs of one cell and of sixteen, displays that creep and jitter, meters that are slow, supplies that say nothing of themselves.
Figures are common practice, no source.
"""

import math

import pytest

from runner.engine.watch.watcher import Watcher
from runner.events import CHARGE, DISCHARGE, LOAD_CURRENT, LOAD_VOLTAGE, METER_VOLTAGE, Sampled
from tests.engine.test_bounds_of_the_watcher import SET, Watched, steady


def said(watched):
    return watched.words[-1] if watched.words else ""


# ---- the lead ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("error", [-0.006, 0.006])
def test_a_trip_of_sixteen_cells_is_one_whatever_the_two_instruments_differ_by(error):
    """58.4 V read to 0.6 % by the supply are a third of a volt: no lead is off."""
    watched = Watched(voltage=58.4).read(150, 4.0, 53.0, meter=52.9)
    assert said(watched.read(6, 0.0, 58.4 * (1 + error), meter=58.4)) == "stopped"


def test_a_lead_that_comes_off_a_single_cell_is_no_trip():
    """3.44 V under charge and 3.42 V without are nearer to each other than to the 3.65 V of the supply."""
    watched = Watched(voltage=3.65).read(150, 4.0, 3.46, meter=3.44)
    assert said(watched.read(6, 0.0, 3.65, meter=3.42)) == "open lead"


def test_a_meter_that_is_asked_every_four_seconds_is_waited_for():
    watched = steady()
    watched.watcher.paced(2.0, 4.0)
    for number in range(6):
        watched.read(1, 4.0 if number < 2 else 0.0, 26.0 if number < 2 else SET, every=2.0)
        if number % 2 == 0:
            watched.verdicts += watched.watcher.take(Sampled(watched.t + 0.1, {METER_VOLTAGE: 25.9}))
    assert said(watched) == "open lead"


# ---- a little that is left -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("before", "after", "meter", "word"), [
    (28.6, SET, None, "full"), (26.0, SET, 25.9, "open lead"), (26.0, 20.0, None, "limited"), (26.0, SET, SET, "stopped"),
])  # fmt: skip
def test_a_little_that_is_left_needs_the_evidence_that_a_whole_stop_does(before, after, meter, word):
    watched = Watched().read(150, 4.0, before, meter=meter and 25.95).read(5, 0.06, after, meter=meter)
    assert said(watched) == "keep-alive"
    assert said(watched.read(20, 0.06, after, meter=meter)) == word


def test_a_stop_of_what_was_left_waits_for_the_voltmeter():
    """A pack that asks for a little, at its own voltage; when it stops, the terminals go where the supply goes."""
    watched = Watched().read(150, 4.0, 26.7, meter=26.6).read(10, 0.3, 26.5, meter=26.4)
    watched.read(3, 0.0, SET, every=0.25)
    assert said(watched) == "keep-alive"
    assert said(watched.read(6, 0.0, SET, every=0.25, meter=SET)) == "stopped"
    assert watched.verdicts[-1].since == 160.25


def test_what_is_left_and_cannot_be_told_from_none_does_not_move_the_instant():
    watched = steady().read(6, lambda n: 0.045 if n != 3 else 0.03, SET).read(4, 0.0, SET)
    assert (said(watched), watched.verdicts[-1].since) == ("stopped", 151.0)


@pytest.mark.parametrize("rest", [(0.03, 0.045, 0.035, 0.05), (0.02, 0.06, 0.07, 0.04)])
def test_a_rest_that_flickers_about_what_can_be_told_is_no_level_that_is_left_later(rest):
    watched = steady().read(16, lambda n: rest[n % 4], SET, every=0.5).read(4, 0.01, SET, every=0.5)
    assert (said(watched), watched.verdicts[-1].since) == ("stopped", 150.5)


def test_a_slow_fall_to_a_little_that_flickers_about_what_can_be_told_is_kept_alive():
    """Polled every two seconds; the first reading is the mean of before and after."""
    watched = steady().read(1, 1.5, SET, every=2.0).read(8, lambda n: 0.05 - 0.02 * (n % 2), SET, every=2.0)
    assert said(watched) == "keep-alive"


# ---- full ----------------------------------------------------------------------------------------------------------


def fast_taper(watched):
    """With a time constant of 12 s: a small pack on long leads, at its knee."""
    watched.read(30, 4.0, lambda n: 28.0 + 0.04 * n)
    return watched.read(60, lambda n: 4.0 * math.exp(-(n + 1) / 12.0), SET, mode="CV").read(5, 0.0, SET, mode="CV")


def test_a_taper_that_is_faster_than_cells_fill_ends_as_full():
    assert "stopped" not in fast_taper(steady()).words
    assert said(fast_taper(steady())) == "full"


def test_a_test_of_over_voltage_makes_no_trip_of_a_fast_taper():
    assert "stopped" not in fast_taper(steady(wanted=True)).words


def test_a_supply_that_reads_low_and_says_no_mode_makes_no_trip_of_a_taper():
    """0.5 % low: never at its set voltage, as far as its own reading goes."""
    watched = Watched().read(150, 4.0, 28.9, mode="")
    watched.read(400, lambda n: 4.0 * math.exp(-n / 100.0), 29.05, mode="").read(5, 0.0, 29.05, mode="")
    assert "stopped" not in watched.words


# ---- nothing ever flowed -------------------------------------------------------------------------------------------


def test_what_charges_a_capacitor_is_no_current_that_could_stop():
    watched = Watched(wanted=True).read(1, 0.3, 20.0).read(20, 0.0, SET)
    assert watched.words == []
    assert watched.watcher.level == 0


@pytest.mark.parametrize("nothing", [{CHARGE: 0.0}, {}])
def test_noise_about_nothing_is_no_current_where_no_bench_file_says_what_is(nothing):
    watched = Watched()
    watched.watcher = Watcher(nothing)
    watched.watcher.expect(CHARGE, SET, 4.0, 0.0)
    watched.read(200, lambda n: (0.0, 0.01, -0.01, 0.0, -0.0, 0.02, -0.01)[n % 7], SET)
    assert watched.words == []


# ---- a discharge ---------------------------------------------------------------------------------------------------


def discharge(readings, every=0.25):
    """The words on a discharge at 20 A, from (A, V) one after the other."""
    watcher = Watcher({CHARGE: 0.03, DISCHARGE: 0.03})
    watcher.expect(DISCHARGE, 0.0, 20.0, 0.0)
    words = []
    for number, (amperes, volts) in enumerate(readings, 1):
        sample = Sampled(number * every, {LOAD_CURRENT: amperes, LOAD_VOLTAGE: volts}, {}, "", True)
        words += [str(verdict.word) for verdict in watcher.take(sample)]
    return words


def test_a_discharge_that_trips_within_a_second_has_tripped():
    assert discharge([(20.0, 25.0)] * 4 + [(0.0, 0.02)] * 8)[-1] == "stopped"


def test_a_load_that_reads_the_mean_of_a_second_has_not_stopped_by_itself():
    """Half of the voltage is still in the mean when the current has been none for half a second."""
    falling = [(0.0, 25.0 * max(0.02, 1.0 - 0.25 * (n + 0.4))) for n in range(12)]
    assert discharge([(20.0, 25.0)] * 100 + falling)[-1] == "stopped"
    assert discharge([(20.0, 25.0)] * 100 + [(0.0, 26.0)] * 12)[-1] == "limited"


def test_a_discharge_at_less_than_was_set_trips_like_any_other():
    """A load at its power limit draws 12 A of 20 A; then the path opens."""
    words = discharge([(20.0, 25.0)] * 100 + [(12.0 + 0.001 * (n % 2), 24.5) for n in range(100)] + [(0.0, 0.02)] * 8)
    assert words[-1] == "stopped"


# ---- it comes back -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("on", "off", "word"), [(2, 2, "returned"), (2, 1, "returned"), (1, 4, "retrying")])
def test_a_current_that_comes_and_goes_after_a_stop_is_told_within_half_a_minute(on, off, word):
    watched = steady().read(40, 0.0, SET, every=0.25)
    watched.read(120, lambda n: 4.0 if n % (on + off) < on else 0.0, 27.0, every=0.25)
    assert word in watched.words
    assert {"returned": "retrying", "retrying": "returned"}[word] not in watched.words


# ---- readings that are none, or old --------------------------------------------------------------------------------


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_a_reading_that_did_not_arrive(value):
    assert steady().read(20, value, SET).words == ["steady", "lost"]


def test_a_current_that_jitters_while_its_set_point_changes_is_no_fault_of_the_program():
    watched = Watched().read(40, lambda n: 4.0 if n % 2 else 1.0, every=0.25)
    watched.watcher.reset_level(SET, 6.0)
    assert "stopped" not in watched.read(4, 0.1, every=0.25).words


def test_a_supply_that_has_gone_off_is_limited_also_while_its_reading_is_the_mean_of_a_second():
    watched = steady().read(3, lambda n: 3.0 - n, lambda n: 20.0 - 8 * n, every=0.25, output=False)
    watched.read(60, lambda n: 0.02 + 0.08 * (n % 3 == 0), 0.0, every=0.25, output=False)
    assert "unclear" not in watched.words
    assert watched.words[-1] == "limited", "and stays so, whatever its reading jitters"
    assert watched.words.count("limited") == 1


def test_a_supply_that_holds_its_current_to_the_digit_near_its_set_voltage_is_believed():
    """100 mA of a display stand still as long as the current is regulated."""
    assert Watched().read(60, 4.0, 28.95).words == ["steady"]
    assert "unclear" in Watched().read(60, 4.0, 28.95, mode="").words, "where nothing says that it is"


def test_a_voltage_that_is_still_the_mean_of_before_the_beginning_is_no_contradiction():
    watched = Watched().read(5, 4.0, lambda n: 26.0 * min(1.0, 0.25 * n), every=0.25)
    assert watched.words == ["steady"]
