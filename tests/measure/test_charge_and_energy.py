"""Charge and energy, with every line of their budgets, for currents that are put in."""

from dataclasses import replace

import numpy as np
import pytest

from runner.events import LOAD_CURRENT, LOAD_VOLTAGE, METER_VOLTAGE, PROBE_TEMPERATURE, SUPPLY_CURRENT
from runner.measure.capacity import Throughput, integrate
from runner.measure.recording import Accuracy, Attempt, Recording, Series, Specification, Typed
from runner.vocabulary import Observed, Outcome

AH = 3600.0


def attempt(kind, began, at, outcome, **more):
    return Attempt(kind, "", 0, 0.0, began, None, at, outcome, more.pop("why", "why"), **more)


def lines(finding):
    return {row.source: row.contribution for row in finding.budget}


# ---- the integral --------------------------------------------------------------------------------------------------


def test_an_integral_is_made_of_trapezoids_and_its_ends_hold_the_nearest_reading():
    part = integrate(Series(np.array([1.0, 3.0, 6.0]), np.array([2.0, 4.0, 1.0])), 0.0, 7.0)
    assert part.value == pytest.approx(2.0 * 1 + 3.0 * 2 + 2.5 * 3 + 1.0 * 1)
    assert (part.missing, part.gaps, part.duration) == (0.0, 0, 7.0)


@pytest.mark.parametrize(("gap", "missing"), [(15.0, 0.0), (16.0, 32.0)])
def test_a_line_spans_at_most_fifteen_seconds(gap, missing):
    """Fifteen seconds: our own choice."""
    part = integrate(Series(np.array([0.0, gap, gap + 1.0]), np.full(3, 2.0)), 0.0, gap + 1.0)
    assert part.missing == missing
    assert part.value == pytest.approx(2.0 * (gap + 1.0) - missing)
    assert part.gaps == int(missing > 0)


def test_no_readings_are_no_charge():
    assert integrate(Series(np.array([50.0]), np.array([2.0])), 0.0, 7.0).value == 0.0


# ---- capacity and energy -------------------------------------------------------------------------------------------

ACCURACY = {
    LOAD_CURRENT: Accuracy(0.002, 0.01),
    LOAD_VOLTAGE: Accuracy(0.001, 0.02),
    SUPPLY_CURRENT: Accuracy(0.003, 0.02),
}
ACCURACY[METER_VOLTAGE] = Accuracy(0.0005, 0.01)


def discharge(hours=2.0, amperes=20.0, every=2.0, gap=None, meter=False, leads=None, breaks=()):
    """Full before, then a discharge at 25 V and 30 °C that the pack ends."""
    end = 100.0 + hours * 3600
    t = np.arange(100.0, end + 20.0, every)
    if gap is not None:
        t = t[(t <= gap[0]) | (t >= gap[1])]
    current = np.where(t < end, amperes, 0.0)
    channels = {LOAD_CURRENT: Series(t, current), LOAD_VOLTAGE: Series(t, np.full(t.shape, 25.0))}
    channels[PROBE_TEMPERATURE] = Series(t, np.full(t.shape, 30.0))
    if meter:
        channels[METER_VOLTAGE] = Series(t, np.full(t.shape, 25.5))
    at = float(t[t >= end][0])
    whole = (attempt("charge", 0.0, 90.0, Outcome.FULL), attempt("drain", 100.0, at, Outcome.STOPPED))
    more = {} if leads is None else {"leads": {"discharge": leads}}
    declared = Specification(
        "under_voltage", capacity=(40 * AH, 38 * AH), energy=(1000 * 3600.0, None), accuracy=ACCURACY, **more
    )
    return Throughput(Recording(channels, whole, breaks=breaks), declared).findings()


def test_the_gain_and_offset_of_the_current_are_in_a_capacity_whole():
    finding = discharge()["capacity"]()
    assert finding.value == pytest.approx(40 * AH, rel=1e-3)
    found = lines(finding)
    assert found["gain of the current"] == pytest.approx(0.002 * finding.value / 3**0.5)
    assert found["offset of the current"] == pytest.approx(0.01 * 7200 / 3**0.5, rel=1e-3)
    assert set(found) == {"gain of the current", "offset of the current"}
    assert "from full to the pack's cut-off in 2.00 h, at 20 A, 30.0 °C" in finding.caveats


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


def test_energy_at_the_load_is_corrected_for_leads_that_are_known_and_says_so_where_they_are_not():
    bare, known = discharge()["energy"](), discharge(leads=(0.01, 0.001))["energy"]()
    assert known.value / bare.value == pytest.approx((25.0 + 20.0 * 0.01) / 25.0, rel=1e-6)
    assert "voltage at the load, corrected for the leads" in known.caveats
    assert "voltage at the load; losses in the leads are not included" in bare.caveats


@pytest.mark.parametrize(("count", "energy"), [(1, 0.0), (2, 25.0 * 40 * AH)])
def test_two_readings_of_the_voltage_make_an_energy_and_one_makes_none(count, energy):
    t = np.arange(100.0, 7320.0, 2.0)
    channels = {
        LOAD_CURRENT: Series(t, np.where(t < 7300.0, 20.0, 0.0)),
        LOAD_VOLTAGE: Series(t[:count], np.full(count, 25.0)),
    }
    whole = (attempt("charge", 0.0, 90.0, Outcome.FULL), attempt("drain", 100.0, 7300.0, Outcome.STOPPED))
    finding = Throughput(Recording(channels, whole), Specification("under_voltage")).findings()["energy"]()
    assert finding.value == pytest.approx(energy, rel=1e-3)
    assert ("no voltage was read" in finding.caveats) is (count == 1)


def test_a_discharge_without_a_cut_off_is_no_capacity_and_the_reason_is_said():
    full = attempt("charge", 0.0, 90.0, Outcome.FULL)
    tried = attempt("drain", 100.0, 7300.0, Outcome.GAVE_UP, why="did not cut off by 16.00 V")
    for attempts, reason in (
        ((full, tried), "there is no cut-off: did not cut off by 16.00 V"),
        ((full,), "this step was not reached"),
    ):
        finding = Throughput(Recording({}, attempts), Specification("under_voltage")).findings()["capacity"]()
        assert (finding.value, finding.reason) == (None, reason)


def test_what_flowed_in_a_gap_is_counted_half_and_not_known():
    finding = discharge(gap=(1000.0, 1100.0))["capacity"]()
    assert finding.value == pytest.approx(40 * AH - 1000.0, rel=1e-3)
    assert lines(finding)["gaps without readings"] == pytest.approx(2000.0 / 12**0.5)
    assert any("gaps without readings: 1;" in each for each in finding.caveats)


@pytest.mark.parametrize(("until", "measured"), [(1140.0, True), (1148.0, False)])
def test_with_more_than_a_fiftieth_of_it_in_gaps_nothing_is_claimed(until, measured):
    """2 % of what was counted, without the gap: 2 823 A·s or 141 s at 20 A. A fiftieth: our own choice."""
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
    assert finding.value == pytest.approx(6000.0)
    assert lines(finding)["gain of the current"] == pytest.approx(0.003 * 6000.0 / 3**0.5)
    assert lines(finding)["offset of the current"] == pytest.approx(0.02 * 600.0 / 3**0.5)
    none = Throughput(Recording({SUPPLY_CURRENT: current}, (parts[0],)), declared).findings()["charge_put_in"]()
    assert none.value is None


def counted(before, after, energy=False, read=7400.0):
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
        counter=(Accuracy(0.01, 0.0, 0.1 * AH), Accuracy(0.02, 0.0, 3600.0)),
    )
    return Throughput(Recording({}, whole, typed=typed), declared).findings()["energy" if energy else "capacity"]()


def test_a_counter_that_is_read_before_and_after_has_two_last_digits_and_a_gain():
    finding = counted(100.0 * AH, 139.0 * AH)
    assert finding.value == pytest.approx(39.0 * AH)
    assert lines(finding) == {
        "digits of the counter": pytest.approx(2**0.5 * 0.1 * AH / 12**0.5),
        "gain of the counter": pytest.approx(0.01 * 39.0 * AH / 3**0.5),
    }
    assert finding.caveats[-1] == "from full to the pack's cut-off in about 2.00 h"
    energy = counted(1e6, 4.6e6, energy=True)
    assert lines(energy)["gain of the counter"] == pytest.approx(0.02 * 3.6e6 / 3**0.5)


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
    assert maker._conditions(Series(t, amperes), whole[1:]) == "at 25 A, no temperature read"


@pytest.mark.parametrize(("read", "measured"), [(7300.0 + 3600.0, True), (7300.0 + 3601.0, False)])
def test_a_total_that_is_read_more_than_an_hour_later_says_nothing(read, measured):
    """An hour: our own choice."""
    assert (counted(100.0 * AH, 139.0 * AH, read=read).value is not None) is measured
