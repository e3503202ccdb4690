"""Where two explanations of a current are left: what a person says, how ramps and decade boxes ask, and what follows."""

import pytest

from runner.engine.program import Planned
from runner.engine.watch.declared import DeclaredPath
from runner.engine.watch.watcher import Watcher
from runner.engine.watch.watching import Watching
from runner.events import CHARGE, SUPPLY_CURRENT, SUPPLY_VOLTAGE, Answered, OutputIsOn, Sampled, SupplyIsSet
from runner.orders import Ask, BeginRamp, Conclude, Guide, Level, SwitchOff, Withdraw
from tests.engine.test_bounds_of_the_watcher import SET
from tests.one_step import OneStep

DERATES = DeclaredPath(derates=(CHARGE,))


# ---- two explanations: what a person says ------------------------------------------------------------------------------


def answered(which, declared=DERATES):
    """A watching that is in doubt, and what it says to the answer."""
    watching = Watching(Watcher({CHARGE: 0.03}, declared=declared))
    for event in (SupplyIsSet(0.0, SET, 4.0), OutputIsOn(0.0)):
        watching.happened(event)
    for t in range(1, 180):
        current, voltage = (4.0, 26.0) if t <= 150 else (0.3, SET)
        watching.happened(Sampled(float(t), {SUPPLY_CURRENT: current, SUPPLY_VOLTAGE: voltage}, {}, "CC", True))
    return watching, watching.happened(Answered(180.0, "q", which, "Ada"))


def test_a_trip_that_a_person_saw_is_one_from_when_the_current_fell():
    _, (said,) = answered("a protection opened the path")
    assert (said.word, said.since) == ("stopped", 151.0)
    assert "Ada decided: a protection opened the path" in said.why


def test_less_current_that_a_person_saw_flows_on_and_can_still_stop():
    watching, (said,) = answered("the pack asks for less current")
    assert said.word == "limited by the pack"
    readings = {SUPPLY_CURRENT: 0.0, SUPPLY_VOLTAGE: SET}
    found = [v for t in range(181, 190) for v in watching.happened(Sampled(float(t), readings, {}, "CC", True))]
    assert [(each.word, each.since) for each in found] == [("stopped", 181.0)]


@pytest.mark.parametrize("which", ["cannot tell", "the pack is full", "go on"])
def test_another_answer_changes_nothing(which):
    watching, said = answered(which)
    assert (said, watching.watcher.verdict.word) == ([], "unclear")


def test_an_answer_counts_once():
    watching, _ = answered("a protection opened the path")
    assert watching.happened(Answered(181.0, "q", "a protection opened the path", "Ada")) == []


# ---- two explanations: how a ramp asks ---------------------------------------------------------------------------------

TEMPERATURE = {"protection": "charge_over_temperature", "trip": 55.0, "release": 45.0, "probe_resolution": 0.1}


def doubting():
    """A heat that has just asked; T1 is at 54 °C."""
    values = {"rate": 0.05, "approach": 50.0, "give_up": 63.0}
    after = Planned(1, "heat", "the ramp", "Slowly now.", values, "T1", 1, 1, words={"until": "stopped"})
    step = OneStep(
        "charge", {"current": 4.0, "voltage": SET, "steady": 2.0}, program={**TEMPERATURE, "declared_path": DERATES},
        words={"until": "steady"}, sensor="T1", group=1,
        after=(after, Planned(2, "off", "off", "", {}, "T1", 1), Planned(3, "off", "off", "", {}, "T2", 2)),
    ).on(CHARGE, 4.0, SET)  # fmt: skip
    step.read(5.0, charge=4.0, supply=26.0, probe=25.0)
    step.read(60.0, 0.5, charge=4.0, supply=26.0, probe=lambda t: 51.0 + 0.05 * t)
    step.orders.clear()
    step.read(21.0, 0.5, charge=0.3, supply=SET, probe=lambda t: 54.0 + 0.01 * t)
    return step


def the_ask(step):
    (ask,) = [order for order in step.orders if isinstance(order, Ask)]
    return ask


def test_a_ramp_in_doubt_stops_heating_names_both_explanations_and_keeps_the_path_on():
    step = doubting()
    ask = the_ask(step)
    assert ask.choices == ("a protection opened the path", "the pack asks for less current", "cannot tell")
    assert all(choice in ask.say for choice in ask.choices[:2])
    guides = [order for order in step.orders if isinstance(order, Guide)]
    assert [order.action for order in guides] == ["still"]
    assert step.orders.index(guides[0]) < step.orders.index(ask)
    step.orders.clear()
    step.read(60.0, charge=0.3, supply=SET, probe=lambda t: 40.0 + 0.01 * t)
    assert step.orders == [], "nothing is heated, cooled or switched while it waits"


def test_a_trip_by_a_persons_word_ends_the_ramp_as_one_when_the_current_fell():
    step = doubting()
    fell = step.t - 20.5
    step.tell(Answered(step.t + 1, the_ask(step).question, "a protection opened the path", "Ada"))
    assert (step.conclusion.outcome, step.conclusion.at) == ("stopped", fell)
    assert "Ada decided" in step.conclusion.why


def test_less_current_by_a_persons_word_begins_the_ramp_again():
    step = doubting()
    step.tell(Answered(step.t + 1, the_ask(step).question, "the pack asks for less current", "Ada"))
    step.t += 1
    made = step.read(2.0, 0.5, charge=0.3, supply=SET, probe=lambda t: 54.0 + 0.01 * t)
    assert step.orders[-len(made) - 1].action == "heat"
    assert any(isinstance(order, BeginRamp) for order in made)
    step.read(4.0, 0.5, charge=0.0, supply=SET, probe=lambda t: 54.0 + 0.01 * t)
    assert step.conclusion.outcome == "stopped"


def test_a_person_who_cannot_tell_leaves_the_ramp_unjudged():
    step = doubting()
    step.tell(Answered(step.t + 1, the_ask(step).question, "cannot tell", "Ada"))
    assert step.conclusion.outcome == "unclear"
    assert any(isinstance(order, SwitchOff) for order in step.orders)


def test_a_supply_that_goes_off_takes_the_question_away():
    step = doubting()
    question = the_ask(step).question
    step.read(3.0, 0.5, output=False, charge=0.0, supply=0.0, probe=lambda t: 50.0 + 0.01 * t)
    assert Withdraw(question) in step.orders
    assert [order.outcome for order in step.orders if isinstance(order, Conclude)] == ["limited"]


def test_nobody_who_answers_ends_the_run_with_the_path_off():
    step = doubting()
    longest = step.run.program.longest_hold
    step.read(longest + 5.0, charge=0.3, supply=SET, probe=lambda t: 40.0 + 0.01 * t)
    assert step.run.early
    assert any(isinstance(order, SwitchOff) and order.everything for order in step.orders)


# ---- a decade box --------------------------------------------------------------------------------------------------


def boxed_in_doubt(*, pressed):
    """A decade box whose first level is set, or about to be, as the current of a derating pack falls to 0.3 A."""
    values = {"from": 54.0, "to": 56.0, "step": 1.0, "dwell": 60.0}
    levels = ((54.0, 3100.0), (55.0, 3000.0))
    box = Planned(1, "substitute", "box", "Turn.", values, "T1", 1, 1, words={"until": "stopped"}, levels=levels)
    charge = {"current": 4.0, "voltage": SET, "steady": 2.0}
    program = {**TEMPERATURE, "declared_path": DERATES}
    step = OneStep("charge", charge, program=program, words={"until": "steady"}, sensor="T1", group=1, after=(box,))
    step.on(CHARGE, 4.0, SET).read(30.0, charge=4.0, supply=26.0)
    if pressed:
        step.tell(Answered(step.t, "step-1-level-0", "", "me"))
        step.read(5.0, charge=4.0, supply=26.0)
    step.orders.clear()
    step.read(21.0, 0.5, charge=0.3, supply=SET)
    return step


def test_a_box_in_doubt_asks_too_and_a_trip_by_a_persons_word_counts():
    step = boxed_in_doubt(pressed=True)
    fell = step.t - 20.5
    step.read(120.0, charge=0.3, supply=SET)
    assert not [order for order in step.orders if isinstance(order, Level)], "no other level while it waits"
    step.tell(Answered(step.t, the_ask(step).question, "a protection opened the path", "Ada"))
    assert (step.conclusion.outcome, step.conclusion.at) == ("stopped", fell)


def test_a_box_whose_key_was_waited_for_is_asked_for_again_after_the_doubt():
    step = boxed_in_doubt(pressed=False)
    assert Withdraw("step-1-level-0") in step.orders
    made = step.tell(Answered(step.t, the_ask(step).question, "the pack asks for less current", "Ada"))
    assert [order.question for order in made if isinstance(order, Ask)] == ["step-1-level-0"]
    assert step.conclusion is None
