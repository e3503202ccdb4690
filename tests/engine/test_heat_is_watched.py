"""Whoever heats something watches it: on a cable or by hand, with the current on or off."""

from dataclasses import replace

import pytest

from runner.engine.ceilings import Ceilings
from runner.engine.hands import hands_off, taken_away_between
from runner.engine.opening import CAUTIONS
from runner.engine.program import Planned
from runner.engine.run import Run
from runner.engine.steps import make_step
from runner.engine.view import look
from runner.events import (
    PROBE_TEMPERATURE,
    Answered,
    LimitsAreSet,
    OutputIsOff,
    OutputIsOn,
    Sampled,
    Started,
    SupplyIsSet,
)
from runner.orders import BeginRamp, BeginStep, Conclude, End, Guide, LoadOn, SwitchOff
from runner.vocabulary import Outcome
from tests.builders import a_program, sample
from tests.one_step import OneStep


def tap(t, degree):
    return Sampled(t, {PROBE_TEMPERATURE: float(degree)}, by_hand=True)


def heating(by_hand=("probe",)):
    """A run whose charge is on and steady, at the ramp; the time then."""
    run = Run(replace(a_program(), by_hand=by_hand))
    events = [
        Started(0.0, ""),
        Answered(1.0, CAUTIONS, "go on", "me"),
        Answered(2.0, "step-0", "go on", "me"),
        LimitsAreSet(2.1, 29.6, 6.0),
        SupplyIsSet(2.2, 29.2, 4.0),
        OutputIsOn(2.3),
    ]
    for event in events:
        run.receive(event)
    t, orders = 2.5, []
    while not any(isinstance(order, Guide) for order in orders):
        orders = run.receive(sample(t, temperature=None if by_hand else 25.0))
        t += 0.5
    return run, t


def until(run, t, end, temperature=None):
    """Samples twice a second up to ``end``; every order they made."""
    orders = []
    while t < end and not run.ended:
        t += 0.5
        orders += run.receive(sample(t, temperature=temperature))
    return orders


def test_a_thermometer_in_the_hand_has_the_ceiling_too():
    run, t = heating()
    assert run.ceilings.headroom()[0].name == "temperature"
    orders = run.receive(tap(t, 68))  # trip + 12 K is 67
    assert any(isinstance(order, SwitchOff) for order in orders)
    assert "temperature 68 °C is over its ceiling of 67 °C" in run.reason
    assert run.reason == "temperature 68 °C is over its ceiling of 67 °C"
    (end,) = run.receive(OutputIsOff(t, True))
    assert end.urgent == "Remove heat and ice from T1 now."


def test_nobody_presses_a_key_while_the_output_is_on_and_nothing_is_heated_and_that_is_no_blindness():
    run, t = heating()
    assert not any(isinstance(order, SwitchOff) for order in until(run, t, t + 120))


def test_a_person_who_forgets_the_thermometer_in_a_ramp_is_not_heating_for_ever():
    run, t = heating()
    orders = run.receive(tap(t, 50))
    assert any(isinstance(order, BeginRamp) for order in orders)
    assert not any(isinstance(order, Conclude) for order in until(run, t, t + 175))
    orders = until(run, t + 175, t + 190)
    (conclusion,) = [order for order in orders if isinstance(order, Conclude)]
    assert conclusion.outcome == "lost"
    assert "no thermometer mark for 3 min" in conclusion.why
    assert any(isinstance(order, SwitchOff) for order in orders)
    (end,) = [order for order in run.receive(OutputIsOff(t + 191, True)) if isinstance(order, End)]
    assert end.early


def test_nor_on_the_way_to_the_ramp():
    run, t = heating()
    longest = run.program.longest_hold
    assert not any(isinstance(order, Conclude) for order in until(run, t, t + longest - 20))
    assert any(isinstance(order, Conclude) for order in until(run, t + longest - 20, t + longest + 20))


def test_what_is_heated_while_everything_is_off_has_its_ceiling():
    ceilings = Ceilings(a_program().ceilings)
    assert ceilings.passed(sample(1.0, temperature=70.0)) is None, "warm from before: it may cool down"
    ceilings.heated(True)
    assert "over its ceiling" in (ceilings.passed(sample(2.0, temperature=70.0)) or "")
    ceilings.heated(False)
    assert ceilings.passed(sample(3.0, temperature=70.0)) is None


def test_after_a_ramp_that_gave_up_the_next_one_does_not_heat_a_pack_that_is_off():
    """Found by a random procedure: cool gave up, everything was off, and the next step heated to 63 °C under a ceiling of 60."""
    program = a_program()
    loose = tuple(replace(step, sensor="", group=0) for step in program.steps)
    run = Run(replace(program, steps=loose))
    for event in [
        Started(0.0, ""),
        Answered(1.0, CAUTIONS, "go on", "me"),
        Answered(2.0, "step-0", "go on", "me"),
        LimitsAreSet(2.1, 29.6, 6.0),
        SupplyIsSet(2.2, 29.2, 4.0),
        OutputIsOn(2.3),
    ]:
        run.receive(event)
    orders, t, warm = [], 2.5, 25.0
    while not any(isinstance(order, Conclude) for order in orders):
        orders = run.receive(sample(t, temperature=warm))
        t, warm = t + 0.5, warm + 0.05
    orders += run.receive(OutputIsOff(t, True)) + until(run, t, t + 5, temperature=warm)
    kinds = [order.kind for order in orders if isinstance(order, BeginStep)]
    assert "cool" in kinds
    conclusions = [(order.kind, order.outcome) for order in orders if isinstance(order, Conclude)]
    assert conclusions[:2] == [("heat", "gave up"), ("cool", "no current")]
    assert not any(isinstance(order, Guide) and order.action != "still" for order in orders)


def test_a_goal_that_was_passed_before_the_ramp_began_is_not_seen_and_no_fail():
    """Seen: a pack that had stopped at 26 °C for another reason "did not release by 35 °C" in the same second."""
    run, t = heating(by_hand=())
    cool = next(step for step in run.program.steps if step.kind == "cool")
    step = make_step(cool, run._around)
    run.known.take(sample(t, temperature=cool.values["give_up"] - 1.0))
    (conclusion,) = [order for order in step.begin(t) if isinstance(order, Conclude)]
    assert conclusion.outcome == Outcome.NOT_SEEN
    assert "was already beyond" in conclusion.why


def test_no_step_gets_the_other_path_on_while_one_is():
    run, _ = heating(by_hand=())
    with pytest.raises(AssertionError, match="needs the other path on while the charge is on"):
        run._allowed([LoadOn()])


@pytest.mark.parametrize(
    ("kind", "sensor", "stops"),
    [("rest", "T1", True), ("read", "T1", True), ("cool", "T1", False), ("heat", "T2", True)],
)
def test_before_a_step_that_does_not_go_on_heating_the_hands_are_told_to_stop(kind, sensor, stops):
    """Seen: after a trip nobody was told to stop; a rest of ten minutes took the sensor to 75 °C."""
    run, _ = heating(by_hand=())
    assert run.known.hands_at == "T1"
    orders = taken_away_between([BeginStep(9, kind, "x", sensor)], run.known.hands_at, by_machine=False)
    assert [type(order) for order in orders] == ([Guide, BeginStep] if stops else [BeginStep])
    if stops:
        assert orders[0] == hands_off("T1")


def test_while_readings_are_lost_every_face_says_to_stop_heating_and_nobody_is_coached():
    run, t = heating(by_hand=())
    for number in range(20):  # as a thermometer that is warmed reads: no two readings alike
        run.receive(sample(t + number / 2, temperature=50.0 + number / 10))
    assert look(run).coach is not None
    until(run, t + 10, t + 20)
    view = look(run)
    assert view.sentence == "A reading is missing. Keep heat and ice away from T1 until it is back."
    assert view.coach is None


# ---- what heats on command -----------------------------------------------------------------------------------------

MACHINE = {"heated_by_machine": True}


def waited(values, sensor="T1"):
    """A wait on a bench with an actuator, and the hold point after it; the actions in order."""
    after = Planned(1, "confirm", "hold", "Take the probe off.", {}, "T1", 1)
    step = OneStep("wait", values, program=MACHINE, sensor=sensor, group=1, after=(after,))
    step.read(30.0, probe=39.0)
    step.read(5.0, probe=41.0)
    return [order.action for order in step.orders if isinstance(order, Guide)]


def test_a_temperature_that_an_actuator_holds_is_taken_away_before_somebody_takes_the_sensor():
    assert waited({"above": 40.0, "give_up": 600.0}) == ["heat", "hold", "still"]


def test_an_actuator_is_not_switched_on_by_a_wait_for_a_time():
    assert waited({"for": 20.0}) == ["still"]


def test_an_actuator_on_the_sensors_does_nothing_to_a_pack_that_is_waited_for():
    assert waited({"above": 40.0, "give_up": 600.0}, sensor="") == ["still"]
    assert waited({"below": 40.0, "give_up": 600.0}, sensor="") == ["still"]
