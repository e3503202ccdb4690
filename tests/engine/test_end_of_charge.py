"""How a charge ends: steady, full, stopped by the pack, after a time, or given up."""

import math

import pytest

from runner.engine.view import look
from runner.events import CHARGE
from runner.orders import Guide, Judge, Remark, SetSupply, SwitchOff, SwitchOn
from tests.one_step import OneStep

VALUES = {"current": 4.0, "voltage": 29.2}


def charging(until, values=None, program=None, **more):
    step = OneStep("charge", {**VALUES, **(values or {})}, program=program, words={"until": until}, **more)
    return step.on(CHARGE, 4.0, step.run.step.planned.values["voltage"])


def off(step):
    return SwitchOff in [type(order) for order in step.orders]


def test_set_points_are_what_the_procedure_says_and_the_output_comes_last():
    step = charging("steady", {"steady": 10.0})
    set_points = [order for order in step.orders if isinstance(order, SetSupply | SwitchOn)]
    assert set_points == [SetSupply(29.2, 4.0), SwitchOn()]


def test_steady_means_steady_for_so_long_and_an_interruption_begins_the_count_anew():
    step = charging("steady", {"steady": 10.0})
    step.read(5.0, charge=1.0, supply=26.0)
    step.read(8.0, charge=4.0, supply=26.0)
    step.read(7.0, charge=0.0, supply=29.2, mode="CV")
    step.read(14.0, charge=4.0, supply=26.0)
    assert not off(step), "four seconds until it is known to stay, and ten"
    step.read(4.0, charge=4.0, supply=26.0)
    assert off(step)
    assert step.conclusion is None


def test_a_current_that_tapers_before_it_was_steady_is_a_pack_too_full_for_the_test():
    step = charging("steady", {"steady": 10.0})
    step.read(30.0, charge=2.0, supply=29.2, mode="CV")
    assert step.conclusion.outcome == "tapering"
    assert "too full for this test" in step.conclusion.why


@pytest.mark.parametrize(("values", "seconds"), [({}, 300.0), ({"give_up": 90.0}, 90.0)])
def test_a_current_that_does_not_become_steady_is_given_up_after_five_minutes_or_what_is_said(values, seconds):
    """Five minutes: our own choice."""
    step = charging("steady", {"steady": 10.0, **values})
    step.read(seconds, charge=2.0, supply=26.0)
    assert step.conclusion is None
    step.read(1.0, charge=2.0, supply=26.0)
    assert step.conclusion.outcome == "no steady current"


def test_no_charge_current_for_half_a_minute_ends_it():
    step = charging("time", {"for": 600.0})
    step.read(30.0, charge=0.0, supply=29.2)
    assert step.conclusion is None
    step.read(1.0, charge=0.0, supply=29.2)
    assert step.conclusion.outcome == "no current"


@pytest.mark.parametrize(("volts", "outcome"), [(0.0, "limited"), (26.2, "limited"), (29.1, "no current")])
@pytest.mark.parametrize("until", ["time", "steady"])
def test_a_supply_that_never_came_on_is_no_tripped_pack(until, volts, outcome):
    """An open path leaves a supply at its set voltage of 29.2 V; one that has restarted reads 0 V, or the pack. Physics, no source."""
    step = charging(until, {"for": 600.0, "steady": 10.0})
    step.read(30.0, charge=0.0, supply=volts)
    assert step.conclusion is None
    step.read(1.0, charge=0.0, supply=volts)
    assert step.conclusion.outcome == outcome
    assert ("its output is off" in step.conclusion.why) == (outcome == "limited")
    assert off(step)


FULL = {"end_current": 2.0}


def test_full_is_under_the_end_current_in_constant_voltage_for_ten_seconds():
    """Ten seconds: our own choice."""
    step = charging("full", FULL)
    step.read(60.0, charge=4.0, supply=26.0)
    step.read(15.0, charge=1.9, supply=29.2, mode="CC")
    step.read(9.0, charge=2.0, supply=29.2, mode="CV")
    step.read(1.0, charge=2.1, supply=29.2, mode="CV")
    step.read(10.0, charge=2.0, supply=29.2, mode="CV")
    assert step.conclusion is None
    began = step.t - 9.0
    step.read(1.0, charge=2.0, supply=29.2, mode="CV")
    assert step.conclusion.outcome == "full"
    assert step.conclusion.at == began
    assert step.conclusion.why == "tapered to the end current of 2 A"


@pytest.mark.parametrize(("left", "outcome", "at"), [(0.01, "stopped", 121.0), (0.06, "full", 121.0)])
def test_a_pack_that_ends_the_charge_itself_near_full_has_stopped(left, outcome, at):
    """28.6 V of 29.2 V; also one that keeps a little for itself."""
    step = charging("full", FULL)
    step.read(120.0, charge=4.0, supply=28.6)
    step.read(30.0, charge=left, supply=29.2, mode="CV")
    assert (step.conclusion.outcome, step.conclusion.at) == (outcome, at)


@pytest.mark.parametrize("left", [0.0, 0.01, 0.06])
def test_a_charge_that_stops_in_its_middle_leaves_no_full_pack(left):
    """Counted as full, it would be a capacity that is too small. A trickle in constant voltage is no end of a taper either."""
    step = charging("full", FULL)
    step.read(120.0, charge=4.0, supply=26.0)
    step.read(30.0, charge=left, supply=29.2, mode="CV")
    assert step.conclusion.outcome == "no end"
    assert step.conclusion.at == 121.0
    assert "the pack stopped the charge before it was full" in step.conclusion.why


def test_a_charge_that_never_began_is_no_full_pack():
    """A supply at its set voltage with nothing at its end is in constant voltage, and gives less than any end current."""
    step = charging("full", FULL)
    step.read(32.0, charge=0.0, supply=29.2, mode="CV")
    assert step.conclusion.outcome == "no current"


def test_a_charge_that_never_ends_is_given_up_after_its_time():
    step = charging("full", {**FULL, "give_up": 5580.0})
    step.read(5580.0, 5.0, charge=4.0, supply=26.0)
    assert step.conclusion is None
    step.read(5.0, 5.0, charge=4.0, supply=26.0)
    assert step.conclusion.outcome == "no end"
    assert "after 1 h 33 min of charging" in step.conclusion.why


def test_one_without_such_a_time_is_not():
    step = charging("full", FULL)
    step.read(36000.0, 20.0, charge=4.0, supply=26.0)
    assert step.conclusion is None


OVER = {"protection": "over_voltage", "trip": 29.6, "trip_limits": (29.2, 30.0)}


def test_an_over_voltage_that_trips_has_stopped_and_one_that_tapers_did_not():
    step = charging("stopped", {"voltage": 30.4}, OVER)
    step.read(60.0, charge=4.0, supply=29.0)
    step.read(5.0, charge=0.0, supply=30.4, mode="CV")
    assert (step.conclusion.outcome, step.conclusion.at) == ("stopped", 61.0)
    step = charging("stopped", {"voltage": 30.4}, OVER)
    step.read(60.0, charge=4.0, supply=29.0)
    step.read(20.0, charge=lambda t: 4.0 * math.exp(-(t - 60.0) / 100.0), supply=30.4, mode="CV")
    assert (step.conclusion.outcome, step.conclusion.limit) == ("gave up", 30.4)
    assert step.conclusion.why.startswith("did not trip by 30.40 V")


@pytest.mark.parametrize(
    ("protection", "until", "word"),
    [
        ("over_voltage", "stopped", "stopped"),
        ("over_voltage", "time", "full"),
        ("charge_over_current", "stopped", "full"),
    ],
)
def test_only_where_the_over_voltage_is_waited_for_a_stop_near_full_is_its_trip(protection, until, word):
    step = charging(until, {"for": 900.0}, {**OVER, "protection": protection})
    step.read(120.0, charge=4.0, supply=28.9)
    step.read(5.0, charge=0.0, supply=29.2, mode="CV")
    assert word in [order.word for order in step.orders if isinstance(order, Judge)]


@pytest.mark.parametrize(("volts", "pace"), [(28.6, (2.0, 4.0)), (28.8, (0.25, 0.5))])
def test_near_the_trip_the_charge_is_polled_fast(volts, pace):
    """Near: three percent below the trip of 29.6 V."""
    step = charging("stopped", {"voltage": 30.4}, OVER)
    step.read(20.0, charge=4.0, supply=volts)
    assert step.pace == pace


@pytest.mark.parametrize(("volts", "pace"), [(28.2, (2.0, 4.0)), (28.4, (1.0, 1.0))])
def test_near_the_set_voltage_it_is_polled_every_second(volts, pace):
    step = charging("full", FULL)
    step.read(20.0, charge=4.0, supply=volts)
    assert step.pace == pace


def test_a_charge_for_a_time_takes_that_time_and_says_what_is_left():
    step = charging("time", {"for": 600.0})
    step.read(590.0, charge=4.0, supply=26.0)
    assert step.run.step.remaining() == 10.0
    step.read(9.0, charge=4.0, supply=26.0)
    assert step.conclusion is None
    step.read(1.0, charge=4.0, supply=26.0)
    assert (step.conclusion.outcome, step.conclusion.why) == ("done", "time elapsed")


def test_a_charge_for_a_time_that_the_pack_ends_has_stopped():
    step = charging("time", {"for": 600.0})
    step.read(60.0, charge=4.0, supply=26.0)
    step.read(5.0, charge=0.0, supply=29.2, mode="CV")
    assert step.conclusion.outcome == "stopped"


def test_a_taper_is_no_end_of_a_charge_for_a_time():
    step = charging("time", {"for": 600.0})
    step.read(60.0, charge=4.0, supply=26.0)
    step.read(300.0, charge=lambda t: 4.0 * math.exp(-(t - 60.0) / 100.0), supply=29.2, mode="CV")
    assert step.conclusion is None


def test_a_rest_counts_from_when_everything_is_off_and_says_what_is_left():
    step = OneStep("rest", {"for": 60.0})
    step.read(100.0, supply=0.0)
    assert step.run.step.remaining() is None
    step.off()
    step.read(59.0, supply=0.0)
    assert step.run.step.remaining() == 1.0
    assert not step.run.step.done
    step.read(1.0, supply=0.0)
    assert step.run.step.done
    assert step.run.step.remaining() == 0.0
    step.read(2.0, supply=0.0)
    assert look(step.run).remaining == 0.0, "until the bench is off"


HOT = {"protection": "charge_over_temperature", "release": 45.0}


def tripped(temperature, seconds, program=HOT, **more):
    """A charge of a sensor that is still tripped, for so long at a temperature."""
    step = charging("steady", {"steady": 10.0}, program, sensor="T1", group=1, **more)
    step.read(31.0, charge=0.0, supply=29.2, probe=temperature)
    step.read(seconds, charge=0.0, supply=29.2, probe=temperature)
    return step


def actions(step):
    return [order.action for order in step.orders if isinstance(order, Guide)]


def test_a_sensor_that_is_still_tripped_is_brought_past_its_release_first():
    step = tripped(50.0, 600.0)
    assert actions(step) == ["cool"]
    assert step.conclusion is None
    step.read(3.0, charge=4.0, supply=26.0, probe=44.0)
    assert actions(step) == ["cool", "still"]
    cold = tripped(0.0, 10.0, {"protection": "charge_under_temperature", "release": 5.0})
    assert actions(cold) == ["heat"]
    (said,) = [order.say for order in cold.orders if isinstance(order, Guide)]
    assert said == "No current yet. Heat T1 above 5 °C."


def test_a_sensor_a_little_past_its_release_is_brought_far_past_it():
    """Twelve kelvin, our own choice: at 43 °C under a release of 45 °C it may still be tripped."""
    (said,) = [order.say for order in tripped(43.0, 10.0).orders if isinstance(order, Guide)]
    assert said == "No current yet. Cool T1 below 33 °C."
    cold = tripped(6.0, 10.0, {"protection": "charge_under_temperature", "release": 5.0})
    (said,) = [order.say for order in cold.orders if isinstance(order, Guide)]
    assert said == "No current yet. Heat T1 above 17 °C."


def test_a_warm_sensor_is_to_be_cooled_and_a_cold_one_sends_the_operator_to_the_leads():
    (warm,) = [order.say for order in tripped(50.0, 10.0).orders if isinstance(order, Guide)]
    assert warm == "No current yet. Cool T1 below 45 °C."
    cold = tripped(24.8, 10.0)
    assert actions(cold) == []
    (said,) = [order.say for order in cold.orders if isinstance(order, Remark) and "No current" in order.say]
    assert "No current: the pack is still tripped, or a lead is off" in said
    assert cold.run.step.sentence() == said


def test_a_pack_twelve_kelvin_past_its_release_for_a_minute_has_latched():
    """Twelve kelvin and a minute: our own choice."""
    assert tripped(33.1, 600.0).conclusion is None
    step = tripped(33.0, 60.0)
    assert step.conclusion is None
    step.read(2.0, charge=0.0, supply=29.2, probe=33.0)
    assert step.conclusion.outcome == "no current"


def test_half_an_hour_is_long_enough_to_bring_a_sensor_past_its_release():
    step = tripped(50.0, 1800.0)
    assert step.conclusion is None
    step.read(2.0, charge=0.0, supply=29.2, probe=50.0)
    assert step.conclusion.outcome == "no current"


@pytest.mark.parametrize("program", [{**HOT, "release": None}, {"protection": "over_voltage", "release": 28.0}])
def test_where_no_temperature_releases_nobody_is_told_to_cool(program):
    step = tripped(50.0, 1.0, program)
    assert step.conclusion.outcome == "no current"
    assert actions(step) == []
