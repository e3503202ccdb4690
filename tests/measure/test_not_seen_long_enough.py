"""What could not be seen is not failed: levels and voltages beyond a limit for less than the pack may take say nothing."""

import numpy as np
import pytest

from runner.events import LOAD_CURRENT, LOAD_VOLTAGE, SUPPLY_CURRENT
from runner.measure.capacity import Throughput
from runner.measure.cutoff import CutOff
from runner.measure.recording import Attempt, Held, Recording, Series, Specification, Typed
from runner.measure.stages import Stages
from runner.vocabulary import Observed, Outcome


def attempt(kind, began, at, outcome, **more):
    return Attempt(kind, "", 0, 0.0, began, None, at, outcome, more.pop("why", "why"), **more)


# ---- a cut-off that does not come ------------------------------------------------------------------------------------


def under_voltage(delay, below_for):
    """A discharge whose voltage is below the lower limit of 19.9 V for so many s when it is given up at its floor."""
    t = np.arange(0.0, 600.0, 1.0)
    volts = np.where(t < 600.0 - below_for, 22.0, 18.5)
    channels = {LOAD_VOLTAGE: Series(t, volts), LOAD_CURRENT: Series(t, np.full(t.shape, 20.0))}
    given_up = attempt("drain", 0.0, 600.0, Outcome.GAVE_UP, limit=18.5, why="did not cut off by 18.50 V")
    declared = Specification(
        "under_voltage",
        trip=20.4,
        trip_limits=(19.9, 20.9),
        delay=delay,
        delay_uncertainty=0.1 * delay / 3**0.5,
        polling=1.0,
    )
    return CutOff(Recording(channels, (given_up,)), declared).trip()


@pytest.mark.parametrize(
    ("delay", "below_for", "conformity"),
    [(2.0, 30.0, "fail"), (45.0, 30.0, "not measured"), (45.0, 120.0, "fail"), (10.0, 1.0, "not measured")],
)
def test_a_floor_that_comes_before_the_delay_is_over_fails_nobody(delay, below_for, conformity):
    """Seen: sound packs with a delay of 45 s failed "did not cut off by 19.00 V"."""
    finding = under_voltage(delay, below_for)
    assert finding.conformity == conformity
    assert ("the declared maximum delay" in finding.reason) == (conformity == "not measured")


# ---- levels that are too short ---------------------------------------------------------------------------------------


def over_current(dwell, delay):
    """A staircase of 14, 15, 16, 17 A that is given up, limits 14 to 16 A."""
    levels = tuple(Held(14.0 + n, 10.0 + n * dwell) for n in range(4))
    given_up = attempt(
        "stage", 5.0, 10.0 + 4 * dwell, Outcome.GAVE_UP, limit=17.0, levels=levels, sought=Outcome.STOPPED
    )
    declared = Specification(
        "charge_over_current", trip=15.0, trip_limits=(14.0, 16.0), delay=delay, delay_uncertainty=0.1 * delay / 3**0.5
    )
    return Stages(Recording({}, (given_up,)), declared).trip()


@pytest.mark.parametrize(("dwell", "delay", "conformity"), [(1.0, 2.0, "not measured"), (5.0, 2.0, "fail")])
def test_a_level_shorter_than_the_delay_fails_nobody(dwell, delay, conformity):
    """Seen: one jump of 1 s at a pack with a delay of 2 s: fail, did not trip."""
    assert over_current(dwell, delay).conformity == conformity


def test_a_staircase_faster_than_the_declared_delay_says_nothing_of_the_trip():
    """Seen: levels of 4 s at a pack that takes 20: the trip was found five levels too high, fail."""
    levels = tuple(Held(14.0 + n, 10.0 + 4.0 * n) for n in range(8))
    t = np.arange(0.0, 60.0, 0.25)
    current = np.where(t < 41.0, 14.0 + np.clip((t - 10.0) // 4.0, 0, 7), 0.0)
    stopped = attempt("stage", 5.0, 41.25, Outcome.STOPPED, levels=levels)
    declared = Specification(
        "charge_over_current", trip=15.0, trip_limits=(14.0, 16.0), delay=20.0, delay_uncertainty=1.0
    )
    finding = Stages(Recording({SUPPLY_CURRENT: Series(t, current)}, (stopped,)), declared).trip()
    assert finding.conformity == "not measured"
    assert "each level lasted 4.0 s, the pack needs" in finding.reason


# ---- a capacity that is not whole ------------------------------------------------------------------------------------


def capacity(extra=(), charging=None, discharging=None):
    """Full at 1000 s, 20 A from 2000 s to 9200 s, 40 Ah; ``charging`` and ``discharging``: (from, to, A) beside it."""
    t = np.arange(0.0, 9300.0, 5.0)
    load, supply = np.where((t >= 2000) & (t <= 9200), 20.0, 0.0), np.zeros(t.shape)
    for beside, series in ((charging, supply), (discharging, load)):
        if beside:
            series[(t >= beside[0]) & (t <= beside[1])] = beside[2]
    whole = [attempt("charge", 0.0, 1000.0, Outcome.FULL), attempt("drain", 2000.0, 9200.0, Outcome.STOPPED)]
    attempts = sorted([*whole, *extra], key=lambda each: each.at)
    channels = {LOAD_CURRENT: Series(t, load), SUPPLY_CURRENT: Series(t, supply)}
    declared = Specification("under_voltage", capacity=(40 * 3600.0, 38 * 3600.0))
    return Throughput(Recording(channels, tuple(attempts)), declared).findings()["capacity"]()


def test_a_whole_discharge_is_measured_and_a_recharge_after_it_takes_nothing_away():
    assert capacity().value == pytest.approx(40 * 3600, rel=2e-3)
    after = capacity((attempt("charge", 9250.0, 9290.0, Outcome.FULL),))
    assert after.value == pytest.approx(40 * 3600, rel=2e-3)


@pytest.mark.parametrize(
    ("beside", "part"),
    [
        ({"charging": (1200.0, 1500.0, 10.0)}, "charged by 0.85 Ah"),
        ({"discharging": (1200.0, 1500.0, 10.0)}, "discharged by 0.86 Ah"),
        ({"extra": (attempt("stage", 1100.0, 1500.0, Outcome.DONE),)}, "stage interrupted"),
        ({"extra": (attempt("charge", 1100.0, 1500.0, Outcome.DONE),)}, "did not start from full"),
    ],
)
def test_what_flows_beside_the_discharge_makes_it_no_capacity(beside, part):
    """Seen: 6 Ah put back by a staircase of the charge made a pack pass whose capacity fails."""
    finding = capacity(**beside)
    assert finding.conformity == "not measured"
    assert part in finding.reason


# ---- other things that say less than they seem to --------------------------------------------------------------------


def recovery(attempts, latching=False):
    declared = Specification("charge_over_current", trip=15.0, trip_limits=(14.0, 16.0), latching=latching)
    t = np.arange(0.0, 900.0, 0.5)
    current = np.where((t > 5) & (t < 100), 15.0, np.where((t > 130.0) & (t < 500), 15.0, 0.0))
    return Stages(Recording({SUPPLY_CURRENT: Series(t, current)}, tuple(attempts)), declared).findings()[
        "recovery_time"
    ]()


STOPPED = attempt("stage", 5.0, 100.5, Outcome.STOPPED, levels=(Held(14.0, 5.0), Held(15.0, 60.0)))


def test_a_return_belongs_to_the_trip_before_it():
    """Seen: stage, try, stage gave a recovery time of −7.2 s."""
    back = attempt(
        "try", 101.0, 130.5, Outcome.RETURNED, levels=(Held(10.0, 125.0), Held(10.0, 128.0), Held(10.0, 129.0))
    )
    again = attempt("stage", 140.0, 500.5, Outcome.STOPPED, levels=(Held(14.0, 140.0), Held(15.0, 300.0)))
    finding = recovery([STOPPED, back, again])
    assert 20.0 < finding.value < 35.0


@pytest.mark.parametrize(
    ("waited", "latching", "conformity"),
    [(5.0, False, "not measured"), (600.0, False, "fail"), (600.0, True, "not measured")],
)
def test_a_pack_that_is_not_waited_for_has_not_failed_to_come_back(waited, latching, conformity):
    given_up = attempt("try", 101.0, 101.0 + waited, Outcome.GAVE_UP, limit=waited)
    assert recovery([STOPPED, given_up], latching).conformity == conformity


def test_a_cell_that_was_read_after_charge_was_put_in_says_nothing_of_a_release():
    """Seen: recover, wake, charge, read: "did not come back, with every cell at 3.122 V", fail."""
    given_up = attempt("recover", 10.0, 30.0, Outcome.GAVE_UP, limit=20.0)
    wake = attempt("wake", 31.0, 60.0, Outcome.RETURNED)
    read = Typed("lowest cell voltage", 3.122, 100.0, Observed.LOWEST_CELL_VOLTAGE)
    declared = Specification("under_voltage", trip=20.4, release=22.4, release_limits=(22.1, 22.7), cells=8)
    finding = CutOff(Recording({}, (given_up, wake), typed=(read,)), declared).findings()["recovery_time"]()
    assert finding.conformity == "not measured"
    early = Typed("lowest cell voltage", 3.122, 30.5, Observed.LOWEST_CELL_VOLTAGE)
    finding = CutOff(Recording({}, (given_up, wake), typed=(early,)), declared).findings()["recovery_time"]()
    assert finding.conformity == "fail"
