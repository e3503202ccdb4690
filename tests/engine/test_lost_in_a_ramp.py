"""What a ramp takes for lost, and how its turn is repeated."""

from runner.engine.program import Planned
from runner.events import CHARGE, Answered
from runner.orders import Ask, Guide, SwitchOff
from tests.engine.test_ends_of_ramps import kinds, ramp, ramping, warming
from tests.one_step import OneStep


def test_a_temperature_that_is_missing_for_three_seconds_of_the_slow_part_stops_the_heating():
    """Three seconds: our own choice."""
    step = ramping()
    assert Guide not in kinds(step.read(3.0, 0.5, charge=4.0, supply=26.0, probe=None))
    (guide,) = [order for order in step.read(0.5, 0.5, charge=4.0, supply=26.0, probe=None) if isinstance(order, Guide)]
    assert (guide.action, guide.sensor, guide.rate) == ("still", "T1", 0.0)


def test_on_the_way_to_the_slow_part_it_may_be_missing_for_longer():
    step = ramp()
    warming(step, 30.0, 0.1, 10.0)
    assert Guide not in kinds(step.read(6.0, 0.5, charge=4.0, supply=26.0, probe=None))


def test_readings_that_are_back_conclude_the_ramp_as_lost_and_it_is_repeated():
    step = ramping()
    step.read(4.0, 0.5, charge=4.0, supply=26.0, probe=None)
    warming(step, 50.5, 0.01, 2.5)
    assert step.conclusion is None
    warming(step, 50.6, 0.01, 1.5)
    assert step.conclusion.outcome == "lost"
    assert step.run.step.planned.kind == "bring back"
    assert SwitchOff not in kinds(step.orders)


def test_readings_that_do_not_come_back_in_twenty_seconds_end_the_run():
    """Twenty seconds: our own choice."""
    step = ramping()
    step.read(23.0, 0.5, charge=4.0, supply=26.0, probe=None)
    assert not step.run.early
    step.read(1.5, 0.5, charge=4.0, supply=26.0, probe=None)
    assert step.conclusion.outcome == "lost"
    assert step.run.early


def test_a_thermometer_that_stands_still_while_its_sensor_is_heated_is_a_gap():
    """Five seconds, and three steps of the display at the ramp's rate: at 0.05 K/s and 0.1 K, eleven seconds."""
    step = ramping()
    assert Guide not in kinds(step.read(11.0, 0.5, charge=4.0, supply=26.0, probe=50.2))
    assert Guide in kinds(step.read(1.5, 0.5, charge=4.0, supply=26.0, probe=50.2))
    fast = ramp()
    warming(fast, 30.0, 0.1, 10.0)
    assert Guide not in kinds(fast.read(8.0, 0.5, charge=4.0, supply=26.0, probe=31.1)), "6 K/min: eight seconds"
    assert Guide in kinds(fast.read(1.5, 0.5, charge=4.0, supply=26.0, probe=31.1))


def brought_back(kind="heat"):
    step = ramping() if kind == "heat" else ramp("cool", values={"approach": 22.0, "give_up": 10.0})
    if kind == "cool":
        warming(step, 24.0, -0.1, 25.0)
    step.read(4.0, 0.5, charge=4.0, supply=26.0, probe=None)
    warming(step, 50.5 if kind == "heat" else 21.0, 0.01, 5.0)
    assert step.run.step.planned.kind == "bring back"
    return step


def test_a_repeat_begins_a_kelvin_before_the_slow_part_once_current_flows():
    step = brought_back()
    assert "Cool T1 to 49 °C" in step.run.step.sentence()
    step.read(2.0, 0.5, charge=4.0, supply=26.0, probe=49.1)
    assert step.run.step.planned.kind == "bring back"
    step.read(0.5, 0.5, charge=4.0, supply=26.0, probe=49.0)
    assert step.run.step.planned.kind == "heat"


def test_a_pack_that_has_tripped_and_tries_again_is_waited_for_before_the_repeat():
    """Heated without a current it could not be seen to trip, and would be said not to have: a fail that is none."""
    step = brought_back()
    step.read(10.0, 0.25, charge=0.0, supply=29.2, probe=50.2)
    for _ in range(3):
        step.read(2.0, 0.25, charge=4.0, supply=26.5, probe=49.5)
        step.read(3.0, 0.25, charge=0.0, supply=29.2, probe=48.0)
    assert step.run.watcher.verdict.word == "retrying"
    assert step.run.step.planned.kind == "bring back"
    step.read(6.0, 0.5, charge=4.0, supply=26.0, probe=48.0)
    assert step.run.step.planned.kind == "heat"


def test_after_a_cooling_it_is_warmed():
    step = brought_back("cool")
    assert "Heat T1 to 23 °C" in step.run.step.sentence()
    step.read(2.0, 0.5, charge=4.0, supply=26.0, probe=22.9)
    assert step.run.step.planned.kind == "bring back"
    step.read(0.5, 0.5, charge=4.0, supply=26.0, probe=23.0)
    assert step.run.step.planned.kind == "cool"


def test_a_sensor_that_cannot_be_brought_back_in_half_an_hour_ends_the_run_to_be_resumed():
    """Half an hour: our own choice."""
    step = brought_back()
    step.read(1795.0, 5.0, charge=4.0, supply=26.0, probe=50.0)
    assert not step.run.early
    step.read(10.0, 5.0, charge=4.0, supply=26.0, probe=50.0)
    assert step.run.early
    assert "did not reach the start temperature for a repeat within 30 min" in step.run.reason


def test_a_turn_is_repeated_three_times_and_its_sensor_is_left_then():
    """Three times: our own choice."""
    step = ramping()
    repeats = 0
    while repeats < 9:
        step.read(4.0, 0.5, charge=4.0, supply=26.0, probe=None)
        warming(step, 50.5, 0.01, 5.0)
        if step.run.step.planned.kind != "bring back":
            break
        repeats += 1
        step.read(1.0, 0.5, charge=4.0, supply=26.0, probe=48.0)
        warming(step, 48.5, 0.1, 20.0)
    assert repeats == 3
    assert 2 in step.run.skipped
    assert 3 not in step.run.skipped


def test_after_a_fault_of_the_bench_a_person_looks_once_and_the_sensor_begins_again():
    step = ramping()
    for turn in range(2):
        orders = step.read(3.0, 0.5, charge=0.0, supply=0.0, output=False, probe=lambda t: 50.0 + 0.01 * t)
        asks = [order for order in orders if isinstance(order, Ask)]
        step.off()
        if turn == 1:
            assert asks == []
            assert 2 in step.run.skipped
            return
        (ask,) = asks
        assert "T1 then starts again" in ask.say
        step.tell(Answered(step.t, ask.question, "go on", "me"))
        assert step.run.step.planned.index == 0
        step.on(CHARGE, 4.0, 29.2)
        step.read(5.0, charge=4.0, supply=26.0, probe=25.0)
        warming(step, 45.0, 0.1, 52.0)


def test_the_repeats_of_one_turn_are_not_those_of_the_next():
    heat, cool = ({"rate": 0.05, "approach": 50.0, "give_up": give_up} for give_up in (63.0, 35.0))
    turns = (
        Planned(1, "heat", "up", "", heat, "T1", 1, 1, words={"until": "stopped"}),
        Planned(2, "cool", "down", "", cool, "T1", 1, 1, words={"until": "returned"}),
        Planned(3, "heat", "up again", "", heat, "T1", 1, 2, words={"until": "stopped"}),
    )
    charge = {"current": 4.0, "voltage": 29.2, "steady": 2.0}
    step = OneStep("charge", charge, words={"until": "steady"}, sensor="T1", group=1, after=turns).on(CHARGE, 4.0, 29.2)
    step.read(5.0, charge=4.0, supply=26.0, probe=25.0)
    warming(step, 45.0, 0.1, 52.0)
    for _ in range(2):
        lost_and_brought_back(step)
    warming(step, 51.0, 0.05, 3.0, charge=0.0, supply=29.2)
    assert step.run.step.planned.index == 2
    warming(step, 51.0, -0.05, 6.0)
    assert step.run.step.planned.index == 3
    warming(step, 45.0, 0.1, 52.0)
    for _ in range(3):
        lost_and_brought_back(step)
    assert step.run.step.planned.index == 3
    assert step.run.skipped == {}


def lost_and_brought_back(step):
    """A gap, the sensor back before the slow part, and up to it again."""
    step.read(4.0, 0.5, charge=4.0, supply=26.0, probe=None)
    warming(step, 50.5, 0.01, 5.0)
    assert step.run.step.planned.kind == "bring back"
    step.read(1.0, 0.5, charge=4.0, supply=26.0, probe=48.0)
    warming(step, 48.5, 0.1, 20.0)
