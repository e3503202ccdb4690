"""What is unusual on a pack sheet is agreed to with a reason, once, and by nothing but the answer to that question."""

from dataclasses import replace

import pytest

from runner.engine.opening import CAUTIONS, DOUBTS
from runner.engine.run import Run
from runner.events import Answered, OutputIsOff, Resumed, Started
from runner.orders import Ask, BeginStep, Remark, SwitchOff
from tests.builders import a_program


def doubtful(**more):
    return Run(replace(a_program(), doubts=("pack.yaml:7: a trip of 70 °C",)), **more)


def begun(**more):
    run = doubtful(**more)
    run.receive(Started(0.0, ""))
    return run


def asked(orders):
    return [order.question for order in orders if isinstance(order, Ask)]


def begins(orders):
    return any(isinstance(order, BeginStep) for order in orders)


def test_after_the_cautions_the_doubts_are_asked_and_begin_nothing_without_a_reason():
    run = begun()
    assert asked(run.receive(Answered(1.0, CAUTIONS, "go on", "me"))) == [DOUBTS]
    orders = run.receive(Answered(2.0, DOUBTS, "agree", "me", "  "))
    assert asked(orders) == [DOUBTS]
    assert orders[0].say.startswith(
        "A reason is needed. Unusual values on the pack sheet: pack.yaml:7: a trip of 70 °C."
    )
    orders = run.receive(Answered(3.0, DOUBTS, "agree", "me", " as the maker wrote "))
    assert begins(orders)
    assert run.agreed == "me: as the maker wrote"
    said = "Unusual values on the pack sheet, accepted by me: as the maker wrote (pack.yaml:7: a trip of 70 °C)"
    assert Remark(said) in orders


@pytest.mark.parametrize("question", ["step-0", "a", "zz"])
def test_an_answer_to_anything_else_agrees_to_nothing(question):
    run = begun()
    run.receive(Answered(1.0, CAUTIONS, "go on", "me"))
    assert run.receive(Answered(2.0, question, "agree", "me", "a reason")) == []
    assert run.agreed == ""


def test_what_was_agreed_to_earlier_in_the_session_is_not_asked_again_and_is_still_said():
    run = begun(agreed="me: before")
    orders = run.receive(Answered(1.0, CAUTIONS, "go on", "me"))
    assert asked(orders) != [DOUBTS]
    assert any("accepted by me: before" in order.say for order in orders if isinstance(order, Remark))


def test_a_run_that_goes_on_after_a_break_does_not_ask_again_what_was_accepted_before():
    run = doubtful(agreed="me: before")
    run.receive(Resumed(100.0, "", "power", 60.0))
    orders = run.receive(Answered(101.0, CAUTIONS, "go on", "me"))
    assert begins(orders)
    assert not [order for order in orders if isinstance(order, Remark)]


def test_a_run_that_broke_off_before_anybody_accepted_asks_after_the_break():
    run = doubtful()
    run.receive(Resumed(100.0, "", "power", 60.0))
    assert asked(run.receive(Answered(101.0, CAUTIONS, "go on", "me"))) == [DOUBTS]


@pytest.mark.parametrize("note", ["", "the sheet is not clear"])
def test_a_person_who_accepts_nothing_leaves_the_procedure_out_and_nothing_is_switched_on(note):
    run = begun()
    run.receive(Answered(1.0, CAUTIONS, "go on", "me"))
    orders = run.receive(Answered(2.0, DOUBTS, "leave out", "me", note))
    assert [type(order) for order in orders] == [SwitchOff]
    (end,) = run.receive(OutputIsOff(3.0, confirmed=True))
    assert (end.early, end.safe, end.left_out) == (False, True, True)
    assert end.undone == len(run.program.steps)
    assert end.reason.startswith(f"not accepted by me{': ' if note else ''}{note} (pack.yaml:7")


def test_what_was_left_out_and_is_not_confirmed_off_is_an_early_end():
    run = begun()
    run.receive(Answered(1.0, CAUTIONS, "go on", "me"))
    run.receive(Answered(2.0, DOUBTS, "leave out", "me"))
    (end,) = run.receive(OutputIsOff(3.0, confirmed=False, remark="no reply"))
    assert (end.early, end.safe) == (True, False)


@pytest.mark.parametrize(
    ("protection", "said"), [("over_voltage", True), ("under_voltage", True), ("charge_over_current", False)]
)
def test_a_test_that_takes_cells_to_their_ends_says_that_only_the_pack_is_watched(protection, said):
    run = Run(replace(a_program(), protection=protection))
    (first,) = [order for order in run.receive(Started(0.0, "")) if isinstance(order, Ask)]
    assert first.question == CAUTIONS
    assert ("Only the pack voltage is monitored" in first.say) is said
