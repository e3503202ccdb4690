"""The run as a machine: what it may order when, and that every way leads to off."""

from dataclasses import replace

import pytest

from runner.conduct.log_lines import said
from runner.engine.hands import hands_off
from runner.engine.opening import CAUTIONS
from runner.engine.program import Planned
from runner.engine.run import Run
from runner.engine.states import NEXT, State
from runner.engine.steps import STEP_KINDS
from runner.events import (
    Answered,
    Complained,
    Faulted,
    GuardEnded,
    LimitsAreSet,
    OrderFailed,
    OutputIsOff,
    OutputIsOn,
    Started,
    StopPressed,
    SupplyIsSet,
    Suspended,
)
from runner.orders import Ask, BeginStep, End, Guide, Remark, SetLimits, SetSupply, SwitchOff, SwitchOn
from runner.sheets.procedure import StepItem
from tests.builders import a_program, sample


def kinds(orders):
    return [type(order) for order in orders]


def begun():
    run = Run(a_program())
    run.receive(Started(0.0, "2026-11-25T08:00:00Z"))
    return run


def holding():
    run = begun()
    run.receive(Answered(1.0, CAUTIONS, "go on", "me"))
    return run


def switched_on(**said_of_the_bench):
    run = Run(replace(a_program(), **said_of_the_bench))
    run.receive(Started(0.0, "2026-11-25T08:00:00Z"))
    run.receive(Answered(1.0, CAUTIONS, "go on", "me"))
    run.receive(Answered(2.0, "step-0", "go on", "me"))
    run.receive(LimitsAreSet(2.1, 29.6, 6.0))
    run.receive(SupplyIsSet(2.2, 29.2, 4.0))
    run.receive(OutputIsOn(2.3))
    return run


BAD = [
    StopPressed(9.0, "a key"),
    Faulted(9.0, "bug"),
    OrderFailed(9.0, "SetSupply", "refused"),
    Answered(9.0, "step-0", "stop", "me"),
    OutputIsOff(9.0, False, "supply did not confirm"),
]


def test_a_passed_ceiling_goes_safe_and_what_is_warm_with_everything_off_may_cool_down():
    hot = sample(9.0, temperature=70.0)
    for make in (begun, holding):
        run = make()
        assert run.receive(hot) == []
        assert run.state is State.HOLDING
    run = switched_on()
    assert SwitchOff in kinds(run.receive(hot))
    assert run.state is State.MAKING_SAFE


@pytest.mark.parametrize("make", [begun, holding, switched_on])
@pytest.mark.parametrize("bad", BAD, ids=lambda event: type(event).__name__)
def test_every_state_goes_safe_on_a_fault_a_stop_or_a_passed_ceiling(make, bad):
    run = make()
    assert SwitchOff(everything=True) in run.receive(bad), "what heats and cools too"
    assert run.state is State.MAKING_SAFE
    (end,) = run.receive(OutputIsOff(10.0, True))
    assert isinstance(end, End)
    assert end.early
    assert end.safe


def test_the_table_of_states_leads_from_every_state_to_ended_by_making_safe_only():
    for state, following in NEXT.items():
        if state is not State.ENDED:
            assert State.MAKING_SAFE in following
        assert (State.ENDED in following) == (state is State.MAKING_SAFE)


def test_the_cautions_come_first_and_nothing_is_switched_before_two_agreements():
    run = Run(a_program())
    first = run.receive(Started(0.0, ""))
    assert [order.question for order in first if isinstance(order, Ask)] == [CAUTIONS]
    second = run.receive(Answered(1.0, CAUTIONS, "go on", "me"))
    assert Ask in kinds(second)
    assert not {SetLimits, SetSupply, SwitchOn} & set(kinds(first + second))


def test_limits_are_set_and_read_back_before_the_output_goes_on():
    run = holding()
    assert kinds(run.receive(Answered(2.0, "step-0", "go on", "me")))[-1] is SetLimits
    assert kinds(run.receive(LimitsAreSet(2.1, 29.6, 6.0))) == [SetSupply]
    assert kinds(run.receive(SupplyIsSet(2.2, 29.2, 4.0))) == [SwitchOn]


def test_an_answer_to_another_question_agrees_to_nothing():
    run = holding()
    assert run.receive(Answered(2.0, "step-9", "go on", "me")) == []
    assert run.state is State.HOLDING


def test_after_the_outputs_heat_and_ice_go_away_once():
    run = switched_on()
    warmer = [sample(3.0 + 0.5 * number, temperature=25.0 + 0.02 * number) for number in range(200)]
    orders = [order for each in warmer for order in run.receive(each)]
    assert [order.action for order in orders if isinstance(order, Guide)] == ["heat"]
    orders = run.receive(StopPressed(104.0, "a key"))
    assert [kind for kind in kinds(orders) if kind in (SwitchOff, Guide)] == [SwitchOff, Guide]
    assert orders[-1] == hands_off("T1", now=True)
    assert Guide not in kinds(run.receive(StopPressed(104.1, "a key")))


def test_a_second_stop_orders_nothing_new_and_the_run_ends_only_when_off_is_confirmed():
    run = switched_on()
    run.receive(StopPressed(3.0, "a key"))
    assert run.receive(StopPressed(3.1, "a key")) == []
    assert SwitchOff not in kinds(run.receive(sample(3.2, temperature=90.0)))
    assert not run.ended
    run.receive(OutputIsOff(3.3, True))
    assert run.ended
    assert run.receive(sample(3.4)) == []


def test_an_off_that_nobody_confirms_ends_the_run_as_not_safe():
    run = switched_on()
    run.receive(StopPressed(3.0, "a key"))
    (end,) = run.receive(OutputIsOff(3.3, False, "SWITCH SUPPLY OFF BY HAND"))
    assert not end.safe
    assert (end.reason, end.urgent) == ("stopped by a key", "SWITCH SUPPLY OFF BY HAND")
    order, *_, last = said(end)
    assert order == last == "DANGER SWITCH SUPPLY OFF BY HAND"


@pytest.mark.parametrize(("answer", "safe"), [("go on", True), ("stop", False)])
def test_a_supply_that_cannot_report_whether_it_is_off_is_looked_at_by_a_person_before_the_run_ends(answer, safe):
    run = switched_on(looked_at=("supply",))
    run.receive(StopPressed(3.0, "a key"))
    (ask,) = run.receive(OutputIsOff(3.3, True, "supply told to switch off; cannot report it"))
    assert "Look at the supply" in ask.say
    (end,) = run.receive(Answered(9.0, ask.question, answer, "me"))
    assert end.safe is safe
    assert end.urgent == ("" if safe else "SWITCH THE SUPPLY OFF BY HAND.")


def test_a_current_that_could_not_be_read_at_the_end_is_said_with_the_end():
    run = switched_on()
    run.receive(StopPressed(3.0, "a key"))
    (end,) = run.receive(OutputIsOff(3.3, True, "supply reads back off; its current could not be read"))
    assert end.safe
    assert end.left.startswith("Look at the bench: supply reads back off; its current could not be read.")
    assert not end.urgent


def test_what_was_never_switched_on_needs_nobody_to_look():
    run = Run(replace(a_program(), looked_at=("supply", "load")))
    run.receive(Started(0.0, "2026-11-25T08:00:00Z"))
    run.receive(StopPressed(3.0, "a key"))
    (end,) = run.receive(OutputIsOff(3.3, True))
    assert end.safe


def test_a_temperature_that_nobody_reads_ends_the_run_while_the_output_is_on():
    run = switched_on()
    orders = [order for index in range(40) for order in run.receive(sample(3.0 + index / 4))]
    assert SwitchOff not in kinds(orders), "an instrument that is back after ten seconds costs no run"
    orders += [order for index in range(40, 80) for order in run.receive(sample(3.0 + index / 4))]
    assert SwitchOff in kinds(orders)
    assert "temperature" in run.reason


def test_one_sample_over_the_voltage_ceiling_is_an_overshoot_and_two_are_not():
    run = switched_on()
    assert SwitchOff not in kinds(run.receive(sample(3.0, voltage=29.9, temperature=25.0)))
    assert SwitchOff not in kinds(run.receive(sample(3.2, voltage=28.0, temperature=25.0)))
    run.receive(sample(3.4, voltage=29.9, temperature=25.0))
    assert SwitchOff in kinds(run.receive(sample(3.6, voltage=29.9, temperature=25.0)))


def test_every_step_of_the_sheets_has_a_machine_and_the_other_way_round():
    assert {name.rstrip("_") for name in StepItem.model_fields} - {"repeat"} == set(STEP_KINDS)


@pytest.mark.parametrize(
    ("event", "part"),
    [
        (GuardEnded(5.0), "the guard process has stopped"),
        (Suspended(5.0, 3600.0), "the computer was suspended for 3600 s"),
    ],
)
def test_what_nobody_at_the_bench_did_ends_the_run_with_its_reason(event, part):
    run = switched_on()
    assert SwitchOff in kinds(run.receive(event))
    assert part in run.reason


def test_an_old_entry_of_an_error_queue_is_remarked_and_ends_nothing():
    run = switched_on()
    (remark,) = run.receive(Complained(5.0, "supply", '-113,"Undefined header"'))
    assert "error in the queue of the supply" in remark.say
    assert "-113" in remark.say
    assert run.state is State.WATCHING


def test_without_a_guard_a_person_agrees_to_that_with_the_cautions():
    ask = Run(a_program(), guarded=False).receive(Started(0.0, ""))[-1]
    assert "nothing switches the bench off if the program is killed" in ask.say
    assert "nothing switches" not in Run(a_program()).receive(Started(0.0, ""))[-1].say


def test_what_a_step_says_is_told_when_it_begins_also_where_nobody_is_asked_or_guided():
    """The supply that switches on was never announced in plain lines."""

    program = a_program()
    steps = tuple(replace(each, say="Keep clear.") if each.kind == "charge" else each for each in program.steps)
    run = Run(replace(program, steps=steps))
    run.receive(Started(0.0, "2026-11-25T08:00:00Z"))
    orders = run.receive(Answered(1.0, CAUTIONS, "go on", "me"))
    orders += run.receive(Answered(2.0, "step-0", "go on", "me"))
    asked, charge = (each for each in orders if isinstance(each, BeginStep))
    assert asked.say == ""
    assert said(charge) == [f"STEP   {charge.title}", "DO     Keep clear."]


def test_what_is_to_be_done_at_a_bench_that_is_off_is_said_when_off_was_read_back_and_stays_with_the_next_question():
    """Hands that obey at once would otherwise be in the pack before its current has stopped."""
    tidy = Planned(0, "off", "Switch everything off", "The bench is off. Take the probe off T1.", {})
    ask = Planned(1, "confirm", "Confirm", "Free sensor T2.", {})
    run = Run(replace(a_program(), steps=(tidy, ask)))
    run.receive(Started(0.0, "2026-11-25T08:00:00Z"))
    before = run.receive(Answered(1.0, CAUTIONS, "go on", "me"))
    assert not any("Take the probe off" in line for order in before for line in said(order))
    after = run.receive(OutputIsOff(2.0, True))
    (question,) = (order for order in after if isinstance(order, Ask))
    assert question.say == "The bench is off. Take the probe off T1. Free sensor T2."


def test_what_is_to_be_done_at_a_bench_that_is_off_is_said_also_where_nothing_follows():
    tidy = Planned(0, "off", "Switch everything off", "The bench is off. Take the probe off T1.", {})
    run = Run(replace(a_program(), steps=(tidy,)))
    run.receive(Started(0.0, "2026-11-25T08:00:00Z"))
    run.receive(Answered(1.0, CAUTIONS, "go on", "me"))
    after = run.receive(OutputIsOff(2.0, True))
    assert "The bench is off. Take the probe off T1." in [order.say for order in after if isinstance(order, Remark)]


def test_a_person_may_read_the_cautions_and_stand_at_a_hold_point_for_longer_than_a_test_may_take():
    for make, answer in ((begun, CAUTIONS), (holding, "step-0")):
        run = make()
        longest = run.ceilings.values.time
        for t in range(10, int(2 * longest), 60):
            run.receive(sample(float(t), temperature=23.0))
        assert not run.early
        run.receive(Answered(2 * longest, answer, "go on", "me"))
        assert not run.early
        run.receive(sample(2 * longest + 1.0, temperature=23.0))
        assert not run.early
