"""Charge and energy, with every line of their budgets, for currents that are put in."""

from dataclasses import replace

import numpy as np
import pytest

from runner.events import LOAD_CURRENT, LOAD_VOLTAGE, METER_VOLTAGE, PROBE_TEMPERATURE, SUPPLY_CURRENT
from runner.measure.capacity import Throughput
from runner.measure.fits.integral import integrate
from runner.measure.recording import Accuracy, Attempt, Recording, Series, Specification, Typed
from runner.vocabulary import Observed, Outcome, Role

AH = 3600.0


def attempt(kind, began, at, outcome, **more):
    return Attempt(kind, "", 0, 0.0, began, None, at, outcome, more.pop("why", "why"), **more)


def lines(finding):
    return {row.source: row.contribution for row in finding.budget}


# ---- the integral --------------------------------------------------------------------------------------------------


def test_an_integral_is_made_of_trapezoids_and_its_ends_hold_the_nearest_reading():
    whole = integrate(Series(np.array([1.0, 3.0, 6.0]), np.array([2.0, 4.0, 1.0])), 0.0, 7.0)
    assert whole == pytest.approx(2.0 * 1 + 3.0 * 2 + 2.5 * 3 + 1.0 * 1)


@pytest.mark.parametrize(("gap", "missing"), [(15.0, 0.0), (16.0, 32.0)])
def test_a_line_spans_at_most_fifteen_seconds(gap, missing):
    """Fifteen seconds: our own choice."""
    whole = integrate(Series(np.array([0.0, gap, gap + 1.0]), np.full(3, 2.0)), 0.0, gap + 1.0)
    assert whole == pytest.approx(2.0 * (gap + 1.0) - missing)


def test_no_readings_are_no_charge_and_neither_is_the_offset_of_a_meter_at_rest():
    assert integrate(Series(np.array([50.0]), np.array([2.0])), 0.0, 7.0) == 0.0
    at_rest = Series(np.arange(0.0, 100.0), np.full(100, 0.02))
    assert integrate(at_rest, 0.0, 99.0) == pytest.approx(0.02 * 99)
    assert integrate(at_rest, 0.0, 99.0, rest=0.02) == 0.0


# ---- capacity and energy -------------------------------------------------------------------------------------------

ACCURACY = {
    LOAD_CURRENT: Accuracy(0.002, 0.01),
    LOAD_VOLTAGE: Accuracy(0.001, 0.02),
    SUPPLY_CURRENT: Accuracy(0.003, 0.02),
}
ACCURACY[METER_VOLTAGE] = Accuracy(0.0005, 0.01)


def discharge(
    hours=2.0, amperes=20.0, every=2.0, gap=None, meter=False, leads=None, breaks=(), digits=0.0, rests_at=None
):
    """Full before, then a discharge at 25 V and 30 °C that the pack ends. ``rests_at``: V before the load is on."""
    end = 100.0 + hours * 3600
    t = np.arange(100.0, end + 20.0, every)
    if gap is not None:
        t = t[(t <= gap[0]) | (t >= gap[1])]
    current = np.where((t > 101.0) & (t < end), amperes, 0.0)
    volts = np.where((t > 101.0) & (t < end), 25.0, 25.0 if rests_at is None else rests_at)
    channels = {LOAD_CURRENT: Series(t, current), LOAD_VOLTAGE: Series(t, volts)}
    channels[PROBE_TEMPERATURE] = Series(t, np.full(t.shape, 30.0))
    if meter:
        channels[METER_VOLTAGE] = Series(t, np.full(t.shape, 25.5))
    at = float(t[t >= end][0])
    whole = (attempt("charge", 0.0, 90.0, Outcome.FULL), attempt("drain", 100.0, at, Outcome.STOPPED))
    more = {} if leads is None else {"leads": {"discharge": leads}}
    accuracy = {**ACCURACY, LOAD_CURRENT: replace(ACCURACY[LOAD_CURRENT], resolution=digits)}
    declared = Specification(
        "under_voltage", capacity=(40 * AH, 38 * AH), energy=(1000 * 3600.0, None), accuracy=accuracy, **more
    )
    return Throughput(Recording(channels, whole, breaks=breaks), declared).findings()


def test_the_gain_and_offset_of_the_current_are_in_a_capacity_whole():
    finding = discharge()["capacity"]()
    assert finding.value == pytest.approx(40 * AH, rel=1e-3)
    found = lines(finding)
    assert found["gain of the current"] == pytest.approx(0.002 * finding.value / 3**0.5)
    assert found["offset of the current"] == pytest.approx(0.01 * 7200 / 3**0.5, rel=1e-3)
    assert set(found) == {
        "gain of the current",
        "offset of the current",
        "interval between readings",
        "time stamps of the readings",
    }
    assert "from full to the pack's cut-off in 2.00 h, at 20 A, 30.0 °C" in finding.caveats


def test_the_two_ends_lie_anywhere_between_their_readings():
    """Rectangular, 2 s wide (JCGM 100:2008, 4.3.7), and half a second for what a stamp says: that is our own choice."""
    found = lines(discharge(every=2.0)["capacity"]())
    assert found["interval between readings"] == pytest.approx(2**0.5 * 20.0 * 2.0 / 12**0.5)
    assert found["time stamps of the readings"] == pytest.approx(2**0.5 * 20.0 * 0.5 / 12**0.5)


def test_stamps_that_are_all_late_by_the_same_leave_the_charge_as_it_is():
    plain = discharge()["capacity"]()
    t = np.arange(100.0, 7320.0, 2.0)
    current = Series(t + 1.3, np.where((t > 101.0) & (t < 7300.0), 20.0, 0.0))
    whole = (attempt("charge", 0.0, 90.0, Outcome.FULL), attempt("drain", 100.0, 7301.3, Outcome.STOPPED))
    late = Throughput(Recording({LOAD_CURRENT: current}, whole), Specification("under_voltage")).findings()[
        "capacity"
    ]()
    assert late.value == pytest.approx(plain.value)


def test_a_display_that_stands_still_hides_the_same_all_the_time():
    """0.1 A / √12 for two hours, however many readings: nothing averages out."""
    for every in (0.5, 2.0):
        found = lines(discharge(digits=0.1, every=every)["capacity"]())
        assert found["resolution of the current"] == pytest.approx(0.1 / 12**0.5 * 7200, rel=1e-3)


def test_energy_has_the_voltmeters_gain_and_offset_too():
    finding = discharge(meter=True)["energy"]()
    charge = discharge()["capacity"]().value
    assert finding.value == pytest.approx(25.5 * charge, rel=1e-6)
    found = lines(finding)
    assert found["gain of the current"] == pytest.approx(0.002 * finding.value / 3**0.5)
    assert found["offset of the current"] == pytest.approx(0.01 * 25.5 * 7200 / 3**0.5, rel=1e-3)
    parts = (0.0005 * finding.value / 3**0.5, 0.01 * charge / 3**0.5)
    assert found["gain of the voltmeter"] == pytest.approx(parts[0])
    assert found["offset of the voltmeter"] == pytest.approx(parts[1], rel=1e-3)
    assert "resistance of the leads" not in found


def test_energy_at_the_load_has_what_the_leads_lose_and_what_is_not_known_of_them():
    """∫I² dt is 400 A² for two hours; unknown leads are as likely anywhere between 0 and 50 mΩ."""
    sensed, known, unknown = (discharge(leads=each)["energy"]() for each in ((0.0, 0.0), (0.01, 0.001), None))
    squares = 400.0 * 7200
    assert known.value - sensed.value == pytest.approx(0.01 * squares, rel=1e-3)
    assert lines(known)["resistance of the leads"] == pytest.approx(0.001 * squares, rel=1e-3)
    assert unknown.value - sensed.value == pytest.approx(0.025 * squares, rel=1e-3)
    assert lines(unknown)["resistance of the leads"] == pytest.approx(0.05 / 12**0.5 * squares, rel=1e-3)
    assert "resistance of the leads" not in lines(sensed)
    assert "voltage at the load; sensed at the pack's terminals" in sensed.caveats
    assert "voltage at the load; corrected for 10 mΩ of leads" in known.caveats
    assert "voltage at the load; lead resistance unknown; assumed 0 to 50 mΩ" in unknown.caveats


def test_unknown_leads_have_no_more_than_the_voltage_fell_by_when_the_load_came_on():
    """0.4 V at 20 A are 20 mΩ, all of them the leads' at most."""
    finding = discharge(rests_at=25.4)["energy"]()
    assert lines(finding)["resistance of the leads"] == pytest.approx(0.02 / 12**0.5 * 400 * 7200, rel=1e-3)
    assert "voltage at the load; lead resistance unknown; assumed 0 to 20 mΩ" in finding.caveats


def test_a_voltage_that_may_have_fallen_before_the_current_was_shown_bounds_no_leads():
    """A mean of a second, shown half a second late, comes up to 1.5 s after it: our own choice."""
    t = np.arange(99.0, 7320.0)
    flows = (t >= 102.0) & (t < 7300.0)
    whole = (attempt("charge", 0.0, 90.0, Outcome.FULL), attempt("drain", 100.0, 7300.0, Outcome.STOPPED))
    for first, most in (
        (100.0, 20.0),
        (101.0, 50.0),
    ):  # when the voltage was read first: 0.4 V above what it is under load
        volts = Series(t[t >= first], np.where(flows, 25.0, 25.4)[t >= first])
        channels = {LOAD_CURRENT: Series(t, np.where(flows, 20.0, 0.0)), LOAD_VOLTAGE: volts}
        finding = Throughput(Recording(channels, whole), Specification("")).findings()["energy"]()
        assert f"voltage at the load; lead resistance unknown; assumed 0 to {most:.0f} mΩ" in finding.caveats


@pytest.mark.parametrize(
    ("volts", "why"),
    [
        (np.array([100.0]), "the voltage was not read all along the discharge"),
        (np.array([100.0, 104.0]), "the voltage was not read all along the discharge"),
        (np.arange(100.0, 7000.0, 2.0), "the voltage was not read all along the discharge"),
        (np.arange(100.0, 7320.0, 60.0), ""),
    ],
)
def test_an_energy_needs_a_voltage_all_along(volts, why):
    t = np.arange(100.0, 7320.0, 2.0)
    channels = {
        LOAD_CURRENT: Series(t, np.where((t > 101.0) & (t < 7300.0), 20.0, 0.0)),
        LOAD_VOLTAGE: Series(volts, np.full(len(volts), 25.0)),
    }
    whole = (attempt("charge", 0.0, 90.0, Outcome.FULL), attempt("drain", 100.0, 7300.0, Outcome.STOPPED))
    declared = Specification("under_voltage", leads={"discharge": (0.0, 0.0)})
    finding = Throughput(Recording(channels, whole), declared).findings()["energy"]()
    assert finding.reason == why
    assert finding.value is None if why else finding.value == pytest.approx(25.0 * 40 * AH, rel=1e-3)


def test_what_was_not_read_is_not_measured_and_never_a_fail():
    t = np.arange(100.0, 7320.0, 2.0)
    flows = np.where((t > 101.0) & (t < 7300.0), 20.0, 0.0)
    whole = (attempt("charge", 0.0, 90.0, Outcome.FULL), attempt("drain", 100.0, 7300.0, Outcome.STOPPED))
    declared = Specification("under_voltage", capacity=(40 * AH, None), energy=(1000 * 3600.0, None), accuracy=ACCURACY)
    none = "shows no more than its offset"
    for current, capacity, energy in (
        (Series(t, flows), None, "no voltage was read"),
        (Series(t[:0], flows[:0]), "the load's current was not read", "the load's current was not read"),
        (Series(t, flows * 5e-4), f"the load's current {none}", f"the load's current {none}"),
        (Series(t, -flows), *["the load's current reads negative (−20 A): check its direction and its sign"] * 2),
    ):
        found = Throughput(Recording({LOAD_CURRENT: current}, whole), declared).findings()
        for name, why in (("capacity", capacity), ("energy", energy)):
            finding = found[name]()
            assert (finding.reason, finding.value is None) == (why or "", why is not None)
            assert finding.conformity == "not measured" if why else finding.conformity != "not measured"


def test_readings_that_are_declared_to_be_exact_say_that_nobody_declared_them():
    t = np.arange(100.0, 7320.0, 2.0)
    channels = {LOAD_CURRENT: Series(t, np.where((t > 101.0) & (t < 7300.0), 20.0, 0.0))}
    whole = (attempt("charge", 0.0, 90.0, Outcome.FULL), attempt("drain", 100.0, 7300.0, Outcome.STOPPED))
    said = "no accuracy is declared for the load's current: the uncertainty does not include it"
    assert said in Throughput(Recording(channels, whole), Specification("")).findings()["capacity"]().caveats
    assert said not in discharge()["capacity"]().caveats


def test_a_discharge_without_a_cut_off_is_no_capacity_and_the_reason_is_said():
    full = attempt("charge", 0.0, 90.0, Outcome.FULL)
    tried = attempt("drain", 100.0, 7300.0, Outcome.GAVE_UP, why="did not cut off by 16.00 V")
    for attempts, reason in (
        ((full, tried), "there is no cut-off: did not cut off by 16.00 V"),
        ((full,), "this step was not reached"),
    ):
        finding = Throughput(Recording({}, attempts), Specification("under_voltage")).findings()["capacity"]()
        assert (finding.value, finding.reason) == (None, reason)


def test_what_flowed_in_a_gap_is_counted_half_and_may_be_nothing_or_all():
    finding = discharge(gap=(1000.0, 1100.0))["capacity"]()
    assert finding.value == pytest.approx(20.0 * (7198.0 - 50.0))
    assert lines(finding)["gaps without readings"] == pytest.approx(1000.0)
    assert finding.expanded_uncertainty >= 1000.0
    assert any("gaps without readings: 1;" in each for each in finding.caveats)


def test_a_voltmeter_that_went_on_shows_that_the_current_flowed_in_a_gap():
    t = np.arange(100.0, 7320.0, 2.0)
    flows = (t > 101.0) & (t < 7300.0)
    read = (t <= 1000.0) | (t >= 1100.0)
    whole = (attempt("charge", 0.0, 90.0, Outcome.FULL), attempt("drain", 100.0, 7300.0, Outcome.STOPPED))

    def found(volts):
        channels = {LOAD_CURRENT: Series(t[read], np.where(flows, 20.0, 0.0)[read]), METER_VOLTAGE: Series(t, volts)}
        declared = Specification("under_voltage", accuracy=ACCURACY)
        return Throughput(Recording(channels, whole), declared).findings()["capacity"]()

    loaded = np.where(flows, 25.0, 25.6)
    assert found(loaded).value == pytest.approx(20.0 * 7198.0)
    assert "gaps without readings" not in lines(found(loaded))
    for paused in (25.6, 0.5):  # the load let go, or the pack opened
        finding = found(np.where((t > 1020.0) & (t < 1080.0), paused, loaded))
        assert lines(finding)["gaps without readings"] == pytest.approx(60 * 20.0 / 2, rel=0.1)
        assert abs(finding.value - 20.0 * (7198.0 - 60.0)) < finding.expanded_uncertainty


def test_a_hole_before_the_cut_off_leaves_its_end_anywhere_in_it():
    finding = discharge(gap=(7270.0, 7302.0))["capacity"]()
    assert lines(finding)["interval between readings"] == pytest.approx(20.0 * 32.0 / 12**0.5, rel=0.01)
    assert finding.expanded_uncertainty > 0.95 * 20.0 * 16.0


def test_after_an_interruption_the_load_may_have_stayed_on_for_three_seconds():
    """Three seconds: our own choice, a poll and the patience of the guard."""
    t = np.arange(100.0, 7320.0, 2.0)
    current = Series(t, np.where((t > 101.0) & (t < 7300.0) & ~((t > 3000.0) & (t < 3600.0)), 20.0, 0.0))
    parts = (
        attempt("charge", 0.0, 90.0, Outcome.FULL),
        attempt("drain", 95.0, 99.0, Outcome.BROKEN_OFF),  # before anything flowed
        attempt("drain", 100.0, 3000.0, Outcome.BROKEN_OFF),
        attempt("drain", 3598.0, 7300.0, Outcome.STOPPED),
    )
    finding = Throughput(Recording({LOAD_CURRENT: current}, parts), Specification("")).findings()["capacity"]()
    assert finding.value == pytest.approx(20.0 * (3000.0 - 101.0 + 1.5 + 7299.0 - 3599.0), rel=1e-4)
    assert lines(finding)["gaps without readings"] == pytest.approx(3.0 * 20.0 / 12**0.5)


@pytest.mark.parametrize(("until", "measured"), [(1140.0, True), (1146.0, False)])
def test_with_more_than_a_fiftieth_of_it_in_gaps_nothing_is_claimed(until, measured):
    """2 % of what was counted, with half of the gap: 2 852 A·s or 142 s at 20 A. A fiftieth: our own choice."""
    assert (discharge(gap=(1000.0, until))["capacity"]().value is not None) is measured


def test_a_break_is_said_with_its_length():
    finding = discharge(breaks=((1000.0, 4600.0), (0.0, 50.0)))["capacity"]()
    assert [each for each in finding.caveats if "interrupted" in each] == [
        "interrupted for 60 min and continued; the pack was at rest"
    ]


def test_the_charge_that_is_put_in_is_that_of_the_charges_that_ended_full():
    t = np.arange(0.0, 1000.0, 1.0)
    current = Series(t, np.full(t.shape, 10.0))
    parts = [attempt("charge", 0.0, 100.0, Outcome.BROKEN_OFF), attempt("charge", 200.0, 700.0, Outcome.FULL)]
    declared = Specification("", accuracy=ACCURACY)
    finding = Throughput(Recording({SUPPLY_CURRENT: current}, tuple(parts)), declared).findings()["charge_put_in"]()
    assert finding.value == pytest.approx(6000.0 + 15.0)  # and for up to three seconds after the first broke off
    assert lines(finding)["gain of the current"] == pytest.approx(0.003 * 6000.0 / 3**0.5)
    assert lines(finding)["offset of the current"] == pytest.approx(0.02 * 600.0 / 3**0.5)
    none = Throughput(Recording({SUPPLY_CURRENT: current}, (parts[0],)), declared).findings()["charge_put_in"]()
    assert none.value is None


def counted(before, after, energy=False, read=7400.0, gain=0.01):
    names = (
        (Observed.ENERGY_BEFORE, Observed.ENERGY_AFTER) if energy else (Observed.CHARGE_BEFORE, Observed.CHARGE_AFTER)
    )
    typed = tuple(
        Typed("total", value, t, name) for (value, t), name in zip(((before, 110.0), (after, read)), names, strict=True)
    )
    whole = (
        attempt("charge", 0.0, 90.0, Outcome.FULL),
        attempt("drain", 100.0, 7300.0, Outcome.STOPPED, by_hand=True),
    )
    declared = Specification(
        "under_voltage",
        capacity=(40 * AH, 38 * AH),
        energy=(1000 * 3600.0, None),
        counter=(Accuracy(gain, 0.0, 0.1 * AH), Accuracy(0.02, 0.0, 3600.0)),
    )
    return Throughput(Recording({}, whole, typed=typed), declared).findings()["energy" if energy else "capacity"]()


def test_a_counter_that_is_read_before_and_after_has_two_last_digits_and_a_gain():
    finding = counted(100.0 * AH, 139.0 * AH)
    assert finding.value == pytest.approx(39.0 * AH)
    assert lines(finding) == {
        "digits of the counter before": pytest.approx(0.1 * AH / 12**0.5),
        "digits of the counter after": pytest.approx(0.1 * AH / 12**0.5),
        "gain of the counter": pytest.approx(0.01 * 39.0 * AH / 3**0.5),
    }
    assert finding.caveats[-1] == "from full to the pack's cut-off in about 2.00 h"
    energy = counted(1e6, 4.6e6, energy=True)
    assert lines(energy)["gain of the counter"] == pytest.approx(0.02 * 3.6e6 / 3**0.5)


def test_two_displays_of_one_counter_are_two_roundings():
    """The difference of two roundings is a triangle: 95 % lie within (1 − √0.05)·step of it, and a single rectangle of the same
    deviation would hold 89 %."""
    finding = counted(100.0 * AH, 139.0 * AH, gain=0.0)
    assert finding.expanded_uncertainty == pytest.approx((1 - 0.05**0.5) * 0.1 * AH, rel=0.01)


def test_energy_at_a_counter_has_what_the_leads_before_it_lose():
    """39 Ah in 7 200 s through R: R·Q²/t. Where nobody measured them, 0 to 50 mΩ."""
    typed = tuple(
        Typed("total", value, t, of)
        for value, t, of in (
            (0.0, 110.0, Observed.CHARGE_BEFORE),
            (39.0 * AH, 7400.0, Observed.CHARGE_AFTER),
            (1e6, 110.0, Observed.ENERGY_BEFORE),
            (4.6e6, 7400.0, Observed.ENERGY_AFTER),
        )
    )
    whole = (attempt("charge", 0.0, 90.0, Outcome.FULL), attempt("drain", 100.0, 7300.0, Outcome.STOPPED, by_hand=True))
    declared = Specification("under_voltage", counter=(Accuracy(0.01), Accuracy(0.02)))
    squares = (39.0 * AH) ** 2 / 7200.0
    for leads, lost, u in (({}, 0.025, 0.05 / 12**0.5), ({Role.COUNTER: (0.01, 0.002)}, 0.01, 0.002)):
        recording = Recording({}, whole, typed=typed)
        finding = Throughput(recording, replace(declared, leads=leads)).findings()["energy"]()
        assert finding.value == pytest.approx(3.6e6 + lost * squares)
        assert lines(finding)["resistance of the leads"] == pytest.approx(u * squares)
    there = Throughput(recording, replace(declared, leads={Role.COUNTER: (0.0, 0.0)})).findings()["energy"]()
    assert there.value == pytest.approx(3.6e6)
    assert "losses in the leads are not included" in counted(1e6, 4.6e6, energy=True).caveats


def test_a_counter_needs_both_readings_and_has_to_be_there():
    maker = Specification("under_voltage", capacity=(40 * AH, 38 * AH))
    whole = (attempt("charge", 0.0, 90.0, Outcome.FULL), attempt("drain", 100.0, 7300.0, Outcome.STOPPED, by_hand=True))
    both = tuple(
        Typed("total", value, t, of)
        for value, t, of in ((1.0, 110.0, Observed.CHARGE_BEFORE), (2.0, 7310.0, Observed.CHARGE_AFTER))
    )
    counter = replace(maker, counter=(Accuracy(0.01), Accuracy(0.02)))
    for declared, typed in ((maker, both), (counter, both[:1]), (counter, both[1:])):
        finding = Throughput(Recording({}, whole, typed=typed), declared).findings()["capacity"]()
        assert finding.reason == "no counter was read before and after the discharge"


def test_the_rate_is_the_median_from_five_seconds_after_its_beginning_to_a_second_before_its_end():
    """Five seconds and one: our own choice."""
    t = np.array([101.0, 104.0, 105.0, 110.0, 118.0, 118.5, 119.5, 120.0])
    amperes = np.array([1.0, 1.0, 20.0, 30.0, 30.0, 20.0, 1.0, 0.0])
    whole = (attempt("charge", 0.0, 90.0, Outcome.FULL), attempt("drain", 100.0, 119.5, Outcome.STOPPED))
    maker = Throughput(Recording({LOAD_CURRENT: Series(t, amperes)}, whole), Specification("under_voltage"))
    assert maker._conditions(whole[1:]) == "at 25 A, no temperature read"


@pytest.mark.parametrize(("read", "measured"), [(7300.0 + 3600.0, True), (7300.0 + 3601.0, False)])
def test_a_total_that_is_read_more_than_an_hour_later_says_nothing(read, measured):
    """An hour: our own choice."""
    assert (counted(100.0 * AH, 139.0 * AH, read=read).value is not None) is measured
