"""Every line of the budget of a voltage finding, against what it has to be for a voltage that falls or rises evenly.

± limits are rectangular, half-width/√3; what lies between two times or two values is their distance/√12 (JCGM 100:2008, 4.3.7).
"""

import numpy as np
import pytest

from runner.events import LOAD_CURRENT, LOAD_VOLTAGE, METER_VOLTAGE, SUPPLY_CURRENT, SUPPLY_VOLTAGE
from runner.measure.cutoff import CutOff
from runner.measure.recording import Recording, Series, Specification
from runner.vocabulary import Outcome
from tests.under_voltage import attempt, declared, lines

SLOPE = -0.01  # V/s


def fallen(meter=True, level=20.0, end=100.0, **more):
    """A discharge at 20 A that ends between 99.75 and 100 s, where the voltage would be 20 V."""
    t = np.arange(0.0, end + 5.0, 0.25)
    volts = level + SLOPE * (t - (end - 0.125)) + 1e-6 * (-1.0) ** np.arange(len(t))
    off = t >= end
    channels = {LOAD_CURRENT: Series(t, np.where(off, 0.0, 20.0)), LOAD_VOLTAGE: Series(t, np.where(off, 0.2, volts))}
    if meter:
        channels[METER_VOLTAGE] = Series(t, np.where(off, 0.2, volts))
    stopped = attempt("drain", 0.0, end, Outcome.STOPPED)
    return CutOff(Recording(channels, (stopped,)), declared(**more))


def test_the_trip_is_the_voltage_a_delay_and_half_a_poll_before_the_edge():
    finding = fallen().trip()
    mean, deviation, _ = declared().delay_in_looks
    assert finding.value == pytest.approx(20.0 - SLOPE * (mean + 0.125), abs=1e-4)
    found = lines(finding)
    assert found["gain of the voltmeter"] == pytest.approx(0.001 * finding.value / 3**0.5, rel=1e-3)
    assert found["offset of the voltmeter"] == pytest.approx(0.02 / 3**0.5)
    assert found["resolution of the voltmeter"] == pytest.approx(0.01 / 12**0.5)
    assert found["moment of switching"] == pytest.approx(0.01 * 0.25 / 12**0.5, rel=1e-2)
    assert found["polling interval of the pack"] == pytest.approx(0.01 * 0.25 / 12**0.5, rel=1e-2)
    assert found["trip delay of the pack"] == pytest.approx(0.01 * deviation, rel=1e-2)
    assert not [source for source in found if "lead" in source]
    assert finding.caveats[-1] == "2.503 V per cell (mean of 8 cells)"
    assert finding.fit.endswith("−10 mV/s")


def test_without_a_voltmeter_of_its_own_the_leads_are_added_on_a_discharge():
    known = fallen(meter=False, leads={"discharge": (0.010, 0.001)}).trip()
    bare = fallen().trip()
    assert known.value - bare.value == pytest.approx(20.0 * 0.010, abs=1e-6)
    assert lines(known)["resistance of the leads"] == pytest.approx(20.0 * 0.001)
    assert any("corrected for 10 mΩ of leads" in each for each in known.caveats)
    unknown = fallen(meter=False).trip()
    assert unknown.value - bare.value == pytest.approx(20.0 * 0.025, abs=1e-6)
    assert lines(unknown)["resistance of the leads"] == pytest.approx(20.0 * 0.050 / 12**0.5)
    assert any("assumed 0 to 50 mΩ" in each for each in unknown.caveats)


def test_a_delay_that_is_kept_within_a_tenth_by_assumption_is_said_and_a_declared_one_is_not():
    assert any("1 s more changes the result by 10 mV" in each for each in fallen().trip().caveats)
    assert not any("1 s more" in each for each in fallen(delay_limits=(1.5, 2.5)).trip().caveats)


def test_readings_that_are_too_rare_before_the_cut_off_make_no_trip():
    maker = fallen(meter=False)
    rare = maker.recording.channels[LOAD_VOLTAGE]
    channels = {**maker.recording.channels, LOAD_VOLTAGE: Series(rare.t[::20], rare.value[::20])}
    finding = CutOff(Recording(channels, maker.recording.attempts), declared()).trip()
    assert finding.value is None
    assert "too few voltage readings" in finding.reason


def test_over_voltage_takes_the_leads_off_on_a_charge():
    t = np.arange(0.0, 105.0, 0.25)
    volts = np.where(t >= 100.0, 30.4, 29.8 + 0.001 * (t - 99.875))
    current = np.where(t >= 100.0, 0.0, 10.0)
    recording = Recording(
        {SUPPLY_VOLTAGE: Series(t, volts), SUPPLY_CURRENT: Series(t, current)},
        (attempt("charge", 0.0, 100.0, Outcome.STOPPED),),
    )
    values = {"delay": 0.0, "delay_uncertainty": 0.0, "polling": 0.0, "accuracy": {}}
    none = CutOff(recording, Specification("over_voltage", leads={"charge": (0.0, 0.0)}, **values)).trip()
    some = CutOff(recording, Specification("over_voltage", leads={"charge": (0.02, 0.0)}, **values)).trip()
    assert none.value - some.value == pytest.approx(10.0 * 0.02)


# ---- given up ------------------------------------------------------------------------------------------------------


def given_up(below, *, meter=False, leads=None, at=600.0, limit=18.5):
    """A discharge at 20 A that was given up after so long with a reading of 19.0 V."""
    t = np.arange(0.0, at, 1.0)
    volts = np.where(t < at - below, 22.0, 19.0)
    channels = {LOAD_VOLTAGE: Series(t, volts), LOAD_CURRENT: Series(t, np.full(t.shape, 20.0))}
    if meter:
        channels[METER_VOLTAGE] = Series(t, volts)
    tried = attempt("drain", 0.0, at, Outcome.GAVE_UP, limit=limit, why="did not cut off")
    more = {} if leads is None else {"leads": {"discharge": leads}}
    return CutOff(Recording(channels, (tried,)), declared(delay=5.0, delay_uncertainty=0.0, polling=1.0, **more)).trip()


@pytest.mark.parametrize(("seconds", "conformity"), [(7.0, "not measured"), (8.0, "fail")])
def test_a_pack_fails_only_beyond_its_longest_delay_which_is_delay_and_two_polls(seconds, conformity):
    assert given_up(seconds, meter=True).conformity == conformity


@pytest.mark.parametrize(
    ("leads", "conformity"),
    [((0.040, 0.001), "fail"), ((0.042, 0.001), "not measured"), ((0.040, 0.002), "not measured")],
)
def test_what_the_leads_may_lose_is_not_missing_at_the_pack(leads, conformity):
    """0.9 V below the limit: 20 A make 0.84 V of 40 ± 2·1 mΩ, and the voltmeter may be 0.05 V wrong."""
    assert given_up(60.0, leads=leads).conformity == conformity


def test_of_unknown_leads_the_worst_is_taken():
    assert given_up(60.0).conformity == "not measured", "50 mΩ at 20 A are 1 V"
    assert given_up(60.0, meter=True).conformity == "fail"


def test_a_give_up_inside_the_limits_says_nothing():
    assert given_up(60.0, meter=True, limit=19.9).conformity == "not measured"
    assert given_up(60.0, meter=True, limit=19.8).conformity == "fail"
