"""How a discharge ends: by the pack, at the floor, after a time, or given up."""

import pytest

from runner.engine.program import Planned
from runner.events import DISCHARGE
from runner.orders import SwitchOff
from tests.one_step import OneStep

VALUES = {"current": 4.0, "floor": 20.0}


def draining(values=None, program=None, **more):
    return OneStep("drain", {**VALUES, **(values or {})}, program=program, **more).on(DISCHARGE, 4.0)


def kinds(step):
    return [type(order) for order in step.orders]


def ended(step):
    assert SwitchOff in kinds(step)
    return step.conclusion.outcome, step.conclusion.why


def test_a_discharge_without_an_end_is_given_up_after_its_time_and_not_before():
    step = draining({"give_up": 5580.0}, words={"until": "stopped"})
    step.read(5580.0, 10.0, draw=4.0, load=26.0)
    assert step.conclusion is None
    step.read(20.0, 10.0, draw=4.0, load=26.0)
    assert ended(step)[0] == "no end"
    assert "after 1 h 33 min of discharge" in ended(step)[1]


def test_a_discharge_that_has_no_time_of_its_own_is_never_given_up():
    step = draining(words={"until": "stopped"})
    step.read(36000.0, 20.0, draw=4.0, load=26.0)
    assert step.conclusion is None


def test_the_floor_ends_a_discharge_with_two_readings_under_it_while_current_flows():
    step = draining(words={"until": "stopped"})
    step.read(60.0, draw=4.0, load=20.0)
    step.read(1.0, draw=4.0, load=19.9)
    step.read(1.0, draw=4.0, load=20.1)
    step.read(1.0, draw=4.0, load=19.9)
    assert step.conclusion is None
    step.read(1.0, draw=4.0, load=19.9)
    assert ended(step) == ("gave up", "did not cut off by 20.00 V")
    assert step.conclusion.limit == 20.0


def test_more_than_any_sound_cell_has_ends_a_discharge():
    """Thirty percent beyond the rated capacity: common practice, no source."""
    step = draining(program={"rated_capacity": 40.0 * 3600.0}, words={"until": "stopped"})
    step.read(12.9 * 3600.0, 10.0, draw=4.0, load=26.0)
    assert step.conclusion is None, "51.6 Ah of 52 Ah"
    step.read(0.2 * 3600.0, 10.0, draw=4.0, load=26.0)
    assert ended(step)[0] == "no end"
    assert "1.3 times the rated capacity" in ended(step)[1]
    assert step.conclusion.at == pytest.approx(13.0 * 3600.0, abs=30.0)


def test_so_much_and_no_more_is_no_end_yet():
    """1.3 times 100 A·s are drawn in 13 s at 10 A."""
    step = draining(program={"rated_capacity": 100.0}, words={"until": "stopped"})
    step.read(14.0, draw=10.0, load=26.0)
    assert step.conclusion is None
    step.read(1.0, draw=10.0, load=26.0)
    assert step.conclusion.outcome == "no end"


def test_in_a_long_gap_no_current_is_taken_to_have_flowed_beyond_twenty_seconds():
    step = draining(program={"rated_capacity": 100.0}, words={"until": "stopped"})
    step.read(1.0, draw=4.0, load=26.0)
    step.read(1000.0, 14.0, draw=4.0, load=None)
    assert step.conclusion is None or step.conclusion.outcome != "no end"


def test_a_discharge_for_a_time_takes_that_time():
    step = draining({"for": 600.0}, words={"until": "time"})
    step.read(599.0, draw=4.0, load=26.0)
    assert step.conclusion is None
    assert step.run.step.remaining() == 1.0
    step.read(1.0, draw=4.0, load=26.0)
    assert ended(step) == ("done", "time elapsed")


UNDER = {"protection": "under_voltage", "trip": 22.0, "trip_limits": (21.5, 22.5), "voltage_error": 0.2, "delay": 5.0}


def test_an_under_voltage_that_does_not_come_is_seen_not_to_after_its_delay_and_ten_seconds():
    step = draining(program={**UNDER, "has": ("supply", "load", "meter")}, words={"until": "stopped"})
    step.read(60.0, draw=4.0, load=21.0, meter=21.31)
    assert step.conclusion is None, "21.3 V is the lower limit less what the voltmeter may be wrong"
    step.read(16.0, draw=4.0, load=21.0, meter=21.29)
    assert step.conclusion is None
    step.read(1.0, draw=4.0, load=21.0, meter=21.29)
    assert ended(step) == ("gave up", "did not cut off within 16 s below its lower limit of 21.50 V")
    assert step.conclusion.limit == pytest.approx(21.3)


def test_a_reading_above_in_between_begins_the_count_anew():
    step = draining(program=UNDER, words={"until": "stopped"})
    for _ in range(10):
        step.read(10.0, draw=4.0, load=20.9)
        step.read(1.0, draw=4.0, load=21.2)
    assert step.conclusion is None, "0.2 V of the leads make 21.4 V of 21.2 V at 4 A: 0.05 Ω"


@pytest.mark.parametrize(("volts", "pace"), [(21.3, (2.0, 4.0)), (21.1, (0.25, 0.5))])
def test_near_its_end_a_discharge_is_polled_fast(volts, pace):
    """Near: six percent above the floor."""
    step = draining(words={"until": "stopped"})
    step.read(60.0, draw=4.0, load=volts)
    assert step.pace == pace


def test_near_the_trip_of_an_under_voltage_too():
    step = draining(program=UNDER, words={"until": "stopped"})
    step.read(60.0, draw=4.0, load=23.4)
    assert step.pace == (2.0, 4.0)
    step.read(5.0, draw=4.0, load=23.2)
    assert step.pace == (0.25, 0.5)


def test_a_discharge_until_steady_ends_after_the_time_it_was_steady():
    step = draining({"steady": 10.0}, words={"until": "steady"})
    step.read(20.0, draw=3.0, load=26.0)
    step.read(9.0, draw=4.0, load=26.0)
    assert SwitchOff not in kinds(step)
    step.read(4.0, draw=4.0, load=26.0)
    assert SwitchOff in kinds(step), "the next step begins"
    assert step.conclusion is None


def test_a_discharge_that_does_not_become_steady_in_two_minutes_is_given_up():
    step = draining({"steady": 10.0}, words={"until": "steady"})
    step.read(120.0, draw=2.0, load=26.0)
    assert step.conclusion is None
    step.read(1.0, draw=2.0, load=26.0)
    assert ended(step)[0] == "no steady current"


def test_a_discharge_that_never_begins_is_no_current_after_half_a_minute():
    step = draining(words={"until": "stopped"})
    step.read(30.0, draw=0.0, load=0.1)
    assert step.conclusion is None
    step.read(1.0, draw=0.0, load=0.1)
    assert ended(step)[0] == "no current"


@pytest.mark.parametrize(("until", "skipped"), [("steady", {1}), ("stopped", set())])
def test_a_cut_off_ends_its_sensors_steps_only_where_a_current_was_to_become_steady(until, skipped):
    after = (Planned(1, "off", "off", "", {}, "T1", 1), Planned(2, "off", "off", "", {}, "T2", 2))
    step = draining({"steady": 99.0}, words={"until": until}, sensor="T1", group=1, after=after)
    step.read(60.0, draw=4.0, load=26.0)
    step.read(6.0, draw=0.0, load=0.2)
    assert step.conclusion.outcome == "stopped"
    assert set(step.run.skipped) == skipped


def test_a_pack_that_cuts_off_has_stopped_and_may_need_waking():
    step = draining(words={"until": "stopped"})
    step.read(60.0, draw=4.0, load=26.0)
    step.read(6.0, draw=0.0, load=0.2)
    assert ended(step)[0] == "stopped"
    assert step.conclusion.at == 61.0
    assert step.run.skipped == {}
    assert not step.run._around.awake
