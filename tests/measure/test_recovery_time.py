"""How long a pack stays off, and the trip that a person marks: every line of their budgets."""

import numpy as np
import pytest

from runner.events import LOAD_CURRENT, METER_VOLTAGE
from runner.measure.by_hand import trip_by_hand
from runner.measure.cutoff import CutOff
from runner.measure.recording import Accuracy, Attempt, Held, Recording, Series, Specification, Typed
from runner.measure.stages import Stages
from runner.vocabulary import Observed, Outcome

SIGHT = (5 / 48) ** 0.5 * 0.5  # s: of what is as often at once as anywhere in 0.5 s
QUIET = {"cell_noise": 0.0, "filter_lag": 0.0}


def attempt(kind, began, at, outcome, **more):
    return Attempt(kind, "", 0, 0.0, began, None, at, outcome, more.pop("why", "why"), **more)


def lines(finding):
    return {row.source: row.contribution for row in finding.budget}


def recovered(levels=(), gap=2.0, breaks=()):
    """Cut off between 99.5 and 100 s; the terminals are back at 400 s."""
    t = np.arange(0.0, 120.0, 0.5)
    later = np.arange(120.0, 500.0, gap)
    current = Series(t, np.where(t < 99.9, 20.0, 0.0))
    volts = Series(later, np.where(later < 400.0, 0.2, 22.5))
    stopped = attempt("drain", 0.0, 100.0, Outcome.STOPPED)
    back = attempt("recover", 101.0, 400.0, Outcome.RETURNED)
    recording = Recording({LOAD_CURRENT: current, METER_VOLTAGE: volts}, (stopped, back), breaks=breaks)
    return CutOff(recording, Specification("under_voltage")).recovery_time()


def test_a_recovery_takes_from_the_cut_off_to_between_the_last_reading_without_and_the_first_with():
    finding = recovered()
    assert finding.value == pytest.approx(399.0 - 99.75)
    assert lines(finding) == {
        "interval between readings": pytest.approx(2.0 / 12**0.5),
        "moment of the trip": pytest.approx(0.5 / 12**0.5),
        "time stamps of the readings": pytest.approx(0.15 * (2 / 12) ** 0.5),
    }


@pytest.mark.parametrize(
    ("broken", "measured"), [((150.0, 200.0), False), ((50.0, 90.0), True), ((420.0, 450.0), True)]
)
def test_a_break_between_cut_off_and_return_leaves_no_time(broken, measured):
    assert (recovered(breaks=(broken,)).value is not None) is measured


@pytest.mark.parametrize(("waited", "conformity"), [(299.0, "not measured"), (300.0, "fail")])
def test_five_minutes_are_long_enough_to_come_back(waited, conformity):
    """Five minutes: common practice, no source."""
    stopped = attempt("stage", 0.0, 100.0, Outcome.STOPPED, levels=(Held(50.0, 10.0),))
    tried = attempt("try", 101.0, 101.0 + waited, Outcome.GAVE_UP)
    maker = Stages(Recording({}, (stopped, tried)), Specification("discharge_over_current"))
    finding = maker.findings()["recovery_time"]()
    assert finding.conformity == conformity
    assert ("too short to conclude" in finding.reason) is (conformity == "not measured")


@pytest.mark.parametrize(
    ("looks", "late", "last"),
    [
        ((150.0, 153.0, 200.0), (), 153.0),
        ((200.0,), (), 99.75),
        ((150.0, 153.0, 200.0), (200.6, 200.8), 200.8),
        ((150.0, 153.0, 200.0), (200.4,), 153.0),
    ],
)
def test_by_looks_it_lies_between_the_last_sign_of_an_open_path_and_the_return(looks, late, last):
    """The end of a vain look, or a reading without current half a second after the output came on; else the trip itself."""
    t = np.concatenate([np.arange(0.0, 110.0, 0.5), late, np.arange(201.0, 210.0, 0.5)])
    current = np.where((t > 10.0) & (t < 99.9), 50.0, np.where(t > 200.9, 4.0, 0.0))
    stopped = attempt("stage", 0.0, 100.0, Outcome.STOPPED, levels=(Held(50.0, 10.5),))
    back = attempt("try", 101.0, 201.0, Outcome.RETURNED, levels=tuple(Held(0.0, each) for each in looks))
    maker = Stages(
        Recording({LOAD_CURRENT: Series(t, current)}, (stopped, back)), Specification("discharge_over_current")
    )
    finding = maker.findings()["recovery_time"]()
    assert finding.value == pytest.approx((last + 201.0) / 2 - 99.75)


def test_a_look_that_ends_with_its_third_reading_says_what_current_came():
    """A tenth of 4 A is none: a load that shows 0.02 A too much still shows when the path was open."""
    t = np.concatenate([np.arange(0.0, 110.0, 0.5), (200.6, 200.8), (201.0, 201.25, 201.5)])
    current = np.where((t > 10.0) & (t < 99.9), 50.0, np.where(t > 200.9, 4.0, 0.02))
    stopped = attempt("stage", 0.0, 100.0, Outcome.STOPPED, levels=(Held(50.0, 10.5),))
    looks = tuple(Held(0.0, each) for each in (150.0, 153.0, 200.0))
    back = attempt("try", 101.0, 201.0, Outcome.RETURNED, levels=looks)
    maker = Stages(
        Recording({LOAD_CURRENT: Series(t, current)}, (stopped, back)), Specification("discharge_over_current")
    )
    assert maker.findings()["recovery_time"]().value == pytest.approx((200.8 + 201.0) / 2 - 99.75)


def test_the_look_before_a_jump_of_the_current_is_nothing_to_the_trip_by_that_jump():
    """Load off 26 V, a look at the open path 0.3 V, the path back, a jump to 54 A that trips it: the first of both falls is the look's."""
    t = np.arange(190.0, 310.0, 0.25)
    current = np.where((t >= 201.0) & (t < 203.9), 54.0, np.where(t >= 300.0, 4.0, 0.0))
    volts = np.where(t < 200.0, 26.0, np.where((t < 201.0) | ((t >= 203.9) & (t < 300.0)), 0.3, 25.0))
    stopped = attempt("stage", 201.3, 204.0, Outcome.STOPPED, levels=(Held(54.0, 201.5),))
    looks = tuple(Held(0.0, each) for each in (250.0, 253.0, 299.0))
    back = attempt("try", 205.0, 300.0, Outcome.RETURNED, levels=looks)
    channels = {LOAD_CURRENT: Series(t, current), METER_VOLTAGE: Series(t, volts)}
    finding = Stages(Recording(channels, (stopped, back)), Specification("discharge_over_current")).findings()[
        "recovery_time"
    ]()
    assert finding.value == pytest.approx(299.875 - 203.875, abs=0.13)


def by_hand(key_back):
    stopped = attempt("drain", 0.0, 100.0, Outcome.STOPPED, by_hand=True)
    back = attempt("recover", 101.0, 400.0, Outcome.RETURNED, by_hand=key_back)
    t = np.arange(120.0, 500.0, 2.0)
    recording = Recording({METER_VOLTAGE: Series(t, np.where(t < 400.0, 0.2, 22.5))}, (stopped, back))
    return CutOff(recording, Specification("under_voltage", reaction=(0.4, 0.15))).recovery_time()


def test_between_two_keys_the_reaction_falls_out_and_its_scatter_counts_twice():
    finding = by_hand(True)
    assert finding.value == pytest.approx(300.0 - 0.25 + 0.125), (
        "the display at the return, and at half of the cut-offs"
    )
    assert sorted(lines(finding).values()) == pytest.approx(sorted([0.15, 0.15, 0.5 / 12**0.5, SIGHT]))


def test_a_cut_off_is_seen_at_once_or_on_a_display():
    """As often at once as uniformly within the 0.5 s of a display (common practice, no source); the mean and the deviation drawn."""
    dice = np.random.default_rng(5)
    seen = np.where(dice.random(400_000) < 0.5, 0.0, dice.uniform(0.0, 0.5, 400_000))
    assert (float(seen.mean()), float(seen.std())) == (pytest.approx(0.125, rel=5e-3), pytest.approx(SIGHT, rel=5e-3))


def test_between_a_key_and_a_voltmeter_it_does_not():
    finding = by_hand(False)
    assert finding.value == pytest.approx(399.0 - 99.6 + 0.125)
    assert sorted(lines(finding).values()) == pytest.approx(sorted([0.15, 2.0 / 12**0.5, SIGHT]))


def test_a_trip_by_hand_is_carried_back_by_a_slope_that_is_known_within_bounds():
    """1 V in 50 s before: between 20 and 30 mV/s, for it doubles in 100 s at most (tests/outside/test_end_of_discharge.py)."""
    typed = (Typed("loaded", 22.0, 50.0, Observed.LOADED_VOLTAGE), Typed("last", 21.0, 110.0, Observed.LAST_VOLTAGE))
    stopped = attempt("drain", 0.0, 100.0, Outcome.STOPPED, by_hand=True)
    accuracy = {METER_VOLTAGE: Accuracy(0.001, 0.02, 0.0)}
    declared = Specification("under_voltage", **QUIET, trip=20.4, delay=4.0, polling=1.0, accuracy=accuracy)
    maker = CutOff(Recording({}, (stopped,), typed=typed), declared)
    finding = trip_by_hand(maker, stopped)
    behind = declared.delay_in_looks[0] + 0.5 - 0.25
    assert finding.value == pytest.approx(21.0 + 0.025 * behind)
    found = lines(finding)
    assert found["slope before the cut-off"] == pytest.approx(behind * 0.010 / 12**0.5)
    assert found["reading of the display"] == pytest.approx(0.025 * 0.5 / 12**0.5)
    assert found["digits of the display"] == pytest.approx(0.01 / 12**0.5)
    assert found["gain of the voltmeter"] == pytest.approx(0.001 * 21.0 / 3**0.5)


@pytest.mark.parametrize(("read", "measured"), [(3700.0, True), (3700.5, False)])
def test_a_last_voltage_that_is_typed_more_than_an_hour_later_says_nothing(read, measured):
    """An hour: our own choice."""
    typed = (Typed("loaded", 22.0, 50.0, Observed.LOADED_VOLTAGE), Typed("last", 21.0, read, Observed.LAST_VOLTAGE))
    stopped = attempt("drain", 0.0, 100.0, Outcome.STOPPED, by_hand=True)
    finding = trip_by_hand(CutOff(Recording({}, (stopped,), typed=typed), Specification("under_voltage")), stopped)
    assert (finding.value is not None) is measured


def test_of_two_last_voltages_the_later_one_counts():
    typed = tuple(
        Typed(of.value, value, t, of)
        for value, t, of in (
            (22.0, 50.0, Observed.LOADED_VOLTAGE),
            (20.5, 105.0, Observed.LAST_VOLTAGE),
            (21.0, 110.0, Observed.LAST_VOLTAGE),
        )
    )
    stopped = attempt("drain", 0.0, 100.0, Outcome.STOPPED, by_hand=True)
    finding = trip_by_hand(
        CutOff(Recording({}, (stopped,), typed=typed), Specification("under_voltage", **QUIET)), stopped
    )
    assert finding.value == pytest.approx(21.0, abs=0.02)


def test_a_reading_just_before_the_cut_off_is_taken_to_be_a_second_old():
    """A second: our own choice; the voltage moves by what lies between two keys, and their distance is nearly nothing."""
    typed = (Typed("loaded", 21.1, 99.9, Observed.LOADED_VOLTAGE), Typed("last", 21.0, 110.0, Observed.LAST_VOLTAGE))
    stopped = attempt("drain", 0.0, 100.0, Outcome.STOPPED, by_hand=True)
    finding = trip_by_hand(
        CutOff(Recording({}, (stopped,), typed=typed), Specification("under_voltage", **QUIET, delay=4.0)), stopped
    )
    assert finding.value == pytest.approx(21.0 + 0.1 * 1.005 * (4.0 - 0.25))


@pytest.mark.parametrize(("by_hand", "needed"), [(True, False), (False, True)])
def test_a_pack_that_was_back_before_a_person_looked_needed_no_charge_to_wake_it(by_hand, needed):
    """Where nobody said so and nothing was seen, it is not known whether it did."""
    stopped = attempt("drain", 0.0, 100.0, Outcome.STOPPED, by_hand=True)
    unseen = attempt("recover", 101.0, 130.0, Outcome.NOT_SEEN, by_hand=by_hand)
    maker = CutOff(Recording({}, (stopped, unseen)), Specification("under_voltage"))
    assert (maker.findings()["wake_charge"]() is not None) is needed
