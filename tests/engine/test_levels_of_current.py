"""A current raised step by step, and looks at whether a path is back."""

import math
from dataclasses import replace

import pytest

from runner.conduct.log_lines import said
from runner.engine.texts.stages import NOT_READ
from runner.events import CHARGE, DISCHARGE, LimitsAreSet, LoadIsOn, LoadIsSet, OutputIsOff, OutputIsOn, SupplyIsSet
from runner.orders import Level, LoadOn, Pace, SetLoad, SetSupply, SwitchOff
from tests.one_step import OneStep

STAIRS = {"from": 10.0, "to": 12.0, "step": 0.5, "dwell": 4.0}


def stairs(values=None, until="stopped", path=DISCHARGE, **more):
    words = {"path": path, "until": until}
    step = OneStep("stage", {**STAIRS, **(values or {})}, words=words, **more)
    return step.on(path, 10.0, 29.2)


def settings(step):
    return [order.current for order in step.orders if isinstance(order, SetLoad | SetSupply)]


def levels(step):
    return [(order.value, order.since) for order in step.orders if isinstance(order, Level)]


def test_every_level_is_held_for_its_dwell_after_it_was_read_back():
    step = stairs()
    assert step.run.step.remaining() == 20.0
    step.read(3.0, draw=10.0, load=26.0)
    assert settings(step) == [10.0]
    step.read(1.0, draw=10.0, load=26.0)
    assert settings(step) == [10.0, 10.5]
    step.read(5.0, draw=10.0, load=26.0)
    assert settings(step) == [10.0, 10.5], "not read back yet: it is not held"
    step.tell(LoadIsSet(step.t, 10.5))
    assert levels(step) == [(10.0, 0.0), (10.5, 9.0)]
    assert step.run.step.remaining() == 16.0
    assert "10.5 A" in step.run.step.sentence()


@pytest.mark.parametrize("path", [DISCHARGE, CHARGE])
def test_a_level_has_the_time_at_which_it_was_asked_for(path):
    """The first when its set point was read back and the output ordered on, the others when the set point was ordered."""
    step = OneStep("stage", {**STAIRS, "voltage": 29.2}, words={"path": path, "until": "stopped"})
    if path == DISCHARGE:
        step.tell(LoadIsSet(1.0, 10.0), LoadIsOn(1.4))
    else:
        step.tell(LimitsAreSet(0.8, 30.0, 50.0), SupplyIsSet(1.0, 29.2, 10.0), OutputIsOn(1.4))
    step.t = 1.4
    step.read(4.0, 0.5, draw=10.0, charge=10.0, supply=26.0, load=26.0)
    step.tell(LoadIsSet(5.7, 10.5) if path == DISCHARGE else SupplyIsSet(5.7, 29.2, 10.5))
    found = [(order.asked, order.since) for order in step.orders if isinstance(order, Level)]
    assert found == [(1.0, 1.4), (pytest.approx(5.4), 5.7)]


@pytest.mark.parametrize(("left", "held"), [(0.0, 1.0), (0.3, 14.0)])
def test_a_trip_that_is_not_yet_sure_at_the_end_of_a_level_belongs_to_it(left, held):
    """Nothing flows for a second, or a little for 14 s of the 20 s after which it is a trip: did not trip would be a fail."""
    step = stairs({"to": 10.0, "dwell": 30.0}, path=CHARGE)
    step.read(30.0 - held, 0.5, charge=10.0, supply=26.0)
    step.read(held, 0.5, charge=left, supply=29.2, mode="CV")
    step.read(8.0, 0.5, charge=left, supply=29.2, mode="CV")
    assert (step.conclusion.outcome, step.conclusion.at) == ("stopped", 30.5 - held)


def climb(step, top=100.0, path=DISCHARGE):
    """Read back every level and hold it, until the step ends."""
    for _ in range(40):
        if step.conclusion is not None or settings(step)[-1] > top:
            return
        current = settings(step)[-1]
        readings = {"draw": current, "load": 26.0} if path == DISCHARGE else {"charge": current, "supply": 26.0}
        step.read(4.0, 0.5, **readings)
        if settings(step)[-1] != current:
            now = settings(step)[-1]
            step.tell(LoadIsSet(step.t, now) if path == DISCHARGE else SupplyIsSet(step.t, 29.2, now))


def test_the_last_level_is_the_end_of_the_stairs_and_no_trip_by_then_is_a_give_up():
    step = stairs()
    climb(step)
    assert settings(step) == [10.0, 10.5, 11.0, 11.5, 12.0]
    assert (step.conclusion.outcome, step.conclusion.limit) == ("gave up", 12.0)
    assert step.conclusion.why == "did not trip by 12 A"


@pytest.mark.parametrize("path", [DISCHARGE, CHARGE])
def test_a_level_at_which_nothing_flows_is_no_pack_that_did_not_trip(path):
    """A pack that is still tripped from before lets nothing through at any level."""
    step = stairs({"voltage": 29.2}, path=path)
    step.read(5.0, 0.5, draw=0.0, load=0.2, charge=0.0, supply=29.2)
    assert (step.conclusion.outcome, step.conclusion.limit) == ("no current", None)
    assert "has not recovered" in step.conclusion.why


def test_a_level_is_said_with_its_unit_and_a_look_in_which_nothing_came_says_so():
    (level, *_) = [order for order in stairs().orders if isinstance(order, Level)]
    assert said(level) == ["LEVEL  10 A"]
    assert said(replace(level, value=26.47, unit="V", flowed=False)) == ["LEVEL  26.47 V, no current"]


def test_stairs_that_are_walked_to_the_end_are_done():
    step = stairs(until="done")
    climb(step)
    assert (step.conclusion.outcome, step.conclusion.why) == ("done", "every level was held")


def test_a_supply_that_reads_back_a_new_level_has_it_too():
    step = stairs({"voltage": 29.2}, path=CHARGE)
    climb(step, path=CHARGE)
    assert settings(step) == [10.0, 10.5, 11.0, 11.5, 12.0]
    assert [value for value, _ in levels(step)] == [10.0, 10.5, 11.0, 11.5, 12.0]


def test_a_pack_that_stops_the_current_ends_the_stairs():
    step = stairs({"dwell": 30.0})
    step.read(20.0, draw=10.0, load=26.0)
    step.read(4.0, draw=0.0, load=0.2)
    assert (step.conclusion.outcome, step.conclusion.at) == ("stopped", 21.0)


def test_a_level_of_charge_that_tapers_is_no_trip():
    step = stairs({"voltage": 29.2, "dwell": 60.0}, path=CHARGE)
    step.read(20.0, charge=10.0, supply=26.0)
    began, taper = step.t, lambda t: 10.0 * math.exp(-(t - began) / 100.0)
    step.read(20.0, charge=taper, supply=29.2, mode="CV")
    assert step.conclusion.outcome == "tapering"
    step = stairs({"voltage": 29.2, "dwell": 60.0}, path=CHARGE, until="done")
    step.read(20.0, charge=10.0, supply=26.0)
    step.read(20.0, charge=taper, supply=29.2, mode="CV")
    assert step.conclusion is None


LOOK = {"current": 4.0, "look": 3.0, "pause": 30.0, "give_up": 600.0}


def trying(values=None, path=DISCHARGE, **more):
    step = OneStep("try", {**LOOK, **(values or {})}, words={"path": path}, **more)
    return step.off()


def kinds(orders):
    return [type(order) for order in orders]


def look(step, **readings):
    """The path on, and its readings for the time of a look."""
    step.tell(LoadIsSet(step.t, 4.0), LoadIsOn(step.t))
    return step.read(3.0, 0.5, **readings)


@pytest.mark.parametrize(("load", "output"), [(26.2, None), (0.0, False)])
def test_a_look_at_a_load_that_restarted_says_nothing_of_the_pack(load, output):
    """A load that is on and finds no current has no voltage: this one is off. The path may well be back."""
    step = trying()
    step.read(3.0, 1.0, draw=0.0, load=0.2)
    look(step, draw=0.0, load=load, output=output)
    assert (step.conclusion.outcome, step.run.early) == ("limited", True)
    assert [level.flowed for level in step.orders if isinstance(level, Level)] == [True]


def test_a_look_comes_three_seconds_after_off_and_takes_its_time():
    """Three seconds for the voltage to settle: our own choice."""
    step = trying()
    assert step.pace == (0.5, 0.5)
    assert SetLoad not in kinds(step.read(2.0, 1.0, draw=0.0, load=0.2))
    orders = step.read(1.0, 1.0, draw=0.0, load=0.2)
    assert SetLoad in kinds(orders)
    assert Pace(0.5, 0.5, DISCHARGE) in orders
    step.tell(LoadIsSet(3.0, 4.0), LoadIsOn(3.0))
    assert SwitchOff not in kinds(step.read(2.5, 0.5, draw=0.0, load=0.2))
    assert kinds(step.read(0.5, 0.5, draw=0.0, load=0.2)) == [Level, SwitchOff]


def test_between_two_looks_is_the_pause():
    step = trying()
    step.read(3.0, 1.0, draw=0.0, load=0.2)
    look(step, draw=0.0, load=0.2)
    step.off()
    began = step.t
    step.read(10.0, 1.0, draw=0.0, load=0.2)
    step.off()  # said once more: the pause has begun already
    while SetLoad not in kinds(step.read(1.0, 1.0, draw=0.0, load=0.2)):
        assert step.t < began + 60.0
    assert step.t - began == pytest.approx(31.0, abs=1.0)


def test_three_readings_with_current_in_a_row_say_the_pack_is_back_and_the_first_says_when():
    step = trying()
    step.read(3.0, 1.0, draw=0.0, load=0.2)
    step.tell(LoadIsSet(step.t, 4.0), LoadIsOn(step.t))
    step.read(1.0, 0.5, draw=0.41, load=26.0)
    step.read(0.5, 0.5, draw=0.4, load=26.0)
    assert step.conclusion is None, "a tenth of the current has not begun to flow"
    step.read(1.5, 0.5, draw=3.9, load=26.0)
    assert (step.conclusion.outcome, step.conclusion.at) == ("returned", 5.0)


def test_what_has_just_begun_to_flow_is_looked_at_beyond_the_end_of_the_look():
    step = trying()
    step.read(3.0, 1.0, draw=0.0, load=0.2)
    step.tell(LoadIsSet(step.t, 4.0), LoadIsOn(step.t))
    step.read(2.5, 0.5, draw=0.0, load=0.2)
    assert SwitchOff not in kinds(step.read(1.0, 0.5, draw=4.0, load=26.0))
    step.read(0.5, 0.5, draw=4.0, load=26.0)
    assert step.conclusion.outcome == "returned"


def test_a_look_without_a_reading_of_the_current_waits_ten_seconds_for_one_and_ends_the_run_then():
    step = trying()
    step.read(3.0, 1.0, draw=0.0, load=0.2)
    step.tell(LoadIsSet(step.t, 4.0), LoadIsOn(step.t))
    step.read(12.5, 0.5, draw=None, load=0.2)
    assert step.conclusion is None
    step.read(0.5, 0.5, draw=None, load=0.2)
    assert step.conclusion.outcome == "lost"
    assert step.run.early


def test_looks_are_given_up_after_their_time():
    step = trying({"pause": 1.0, "give_up": 60.0})
    for _ in range(20):
        orders = step.read(8.0, 1.0, draw=0.0, load=0.2)
        if step.conclusion is not None:
            break
        assert SetLoad in kinds(orders)
        look(step, draw=0.0, load=0.2)
        step.off()
    assert (step.conclusion.outcome, step.conclusion.limit) == ("gave up", 60.0)
    assert 60.0 < step.conclusion.at < 75.0


DOWN = {**LOOK, "voltage": 29.2, "floor": 27.0, "drain": 2.0, "pause": 20.0}


def test_a_charge_path_is_looked_at_only_above_the_floor():
    step = trying(DOWN, CHARGE)
    assert SwitchOff in kinds(step.orders)
    step.read(3.0, 1.0, supply=0.0, meter=26.9)
    assert (step.conclusion.outcome, step.conclusion.limit) == ("gave up", 27.0)
    step = trying(DOWN, CHARGE)
    step.read(4.0, 1.0, supply=0.0, meter=27.0)
    assert step.conclusion is None


def vain_look(step):
    step.read(4.0, 1.0, supply=0.0, meter=28.0)
    step.on(CHARGE, 4.0, 29.2)
    step.read(3.0, 0.5, charge=0.0, supply=29.2, meter=28.0)
    step.tell(OutputIsOff(step.t, True))


def test_after_a_vain_look_the_pack_is_drained_for_the_pause_and_looked_at_again():
    step = trying(DOWN, CHARGE)
    vain_look(step)
    assert isinstance(step.orders[-1], SetLoad)
    assert step.orders[-1].current == 2.0
    assert step.orders[-2] == Pace(0.5, 0.5, DISCHARGE)
    assert LoadOn in kinds(step.tell(LoadIsSet(step.t, 2.0)))
    step.tell(LoadIsOn(step.t))
    assert SwitchOff not in kinds(step.read(19.0, 1.0, draw=2.0, load=27.9, meter=27.9))
    assert SwitchOff in kinds(step.read(2.0, 1.0, draw=2.0, load=27.9, meter=27.9))
    step.off()
    assert kinds(step.read(4.0, 1.0, draw=0.0, load=27.9, meter=27.9)).count(SwitchOff) == 0
    assert len([value for value, _ in levels(step)]) == 2


def test_a_load_that_draws_nothing_in_between_is_seen():
    step = trying(DOWN, CHARGE)
    vain_look(step)
    step.tell(LoadIsSet(step.t, 2.0), LoadIsOn(step.t))
    step.read(21.0, 1.0, draw=1.0, load=27.9, meter=27.9)
    assert step.conclusion.outcome == "no current"
    assert "the load draws no current" in step.conclusion.why


def test_where_nobody_looked_while_it_was_on_nothing_is_said_of_the_pack():
    """A supply that answers slowly: its only reading is from before it was on. More is waited for, and then it is not known."""
    step = stairs({"to": 10.0}, path=CHARGE)
    step.read(8.0, supply=29.2, meter=26.0)
    assert step.conclusion is None
    step.read(8.0, supply=29.2, meter=26.0)
    assert (step.conclusion.outcome, step.conclusion.why) == ("lost", NOT_READ)


def test_a_current_that_was_there_for_one_reading_is_not_called_none():
    """The pack trips within a reading: no more can be said than that the readings are too far apart."""
    step = stairs({"to": 10.0}, path=CHARGE)
    step.read(0.5, 0.5, charge=10.0, supply=26.0)
    step.read(6.0, charge=0.0, supply=29.2, mode="CV")
    assert step.conclusion.outcome == "unclear"
    assert "10 A were read and were gone too soon" in step.conclusion.why
