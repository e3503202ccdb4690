"""A lowest cell that is read before waking and must not be charged ends the run. Common practice, no source."""

import pytest

from runner.conduct.clock import VirtualClock
from runner.engine.program import Planned
from runner.events import Answered, OutputIsOff
from runner.orders import Ask, End, Note, Remark, SwitchOff
from runner.rehearsal.simulated_bench import Rehearsal
from runner.vocabulary import Observed
from runner.workspace.job import DEMO_PACK, find_procedure, procedure_names, read_file
from tests.one_step import OneStep

WORDS = {"as": Observed.LOWEST_CELL_VOLTAGE, "unit": "V", "dimension": "voltage", "role": "display"}
WAKE = Planned(1, "wake", "Wake", "", {"voltage": 29.2, "current": 2.0, "for": 60.0, "give_up": 1200.0})
CONFIRM = Planned(1, "confirm", "Confirm", "Ready?")


def after_the_wait(*answers, awake=False, after=(WAKE,)):
    """The run at the reading of the lowest cell (at least 2 V) after a cut-off, answered; values that decide are confirmed."""
    step = OneStep(
        "read",
        {"lowest": 2.0, "highest": 3.65},
        words=WORDS,
        record="lowest cell voltage after the wait",
        after=after,
        before=lambda run: setattr(run._around, "awake", awake),
    )
    for value in answers:
        step.t += 1
        step.tell(Answered(step.t, [each for each in step.orders if isinstance(each, Ask)][-1].question, value, "me"))
        while (asked := [each for each in step.orders if isinstance(each, Ask)][-1]).question.endswith("-shown"):
            step.tell(Answered(step.t, asked.question, "go on", "me"))
    return step


def test_a_cell_that_was_read_twice_below_what_may_be_charged_ends_the_run_safe_with_the_reason():
    step = after_the_wait("1.6", "1.6")
    (off,) = [each for each in step.orders if isinstance(each, SwitchOff) and each.everything][-1:]
    (end,) = [each for each in step.tell(OutputIsOff(step.t, confirmed=True)) if isinstance(each, End)]
    assert off
    assert (end.early, end.safe) == (True, True)
    assert end.reason == "the lowest cell is at 1.6 V, below 2 V: this pack must not be charged; ask a qualified person"
    assert any(isinstance(each, Note) and each.quantity == 1.6 for each in step.orders)
    assert any(isinstance(each, Remark) and "must not be charged" in each.say for each in step.orders)


def test_one_slip_of_a_finger_ends_nothing():
    step = after_the_wait("1.6", "2.6")
    assert step.run.step.planned.kind == "wake"


def test_a_number_that_no_cell_can_have_is_asked_for_again_however_often_it_is_typed():
    """A display in mV, its unit left out: 1600 is a cell of 1.6 V, which must not be charged."""
    step = after_the_wait("1600", "1600", "1600", "1600")
    assert step.run.step.planned.kind == "read"
    assert "No cell can have 1600 V" in step.orders[-1].say
    assert "3300 mV" in step.orders[-1].say
    assert not any(isinstance(each, Note) for each in step.orders)
    step = after_the_wait("1600", "1.6", "1.6")
    assert step.run.early


@pytest.mark.parametrize(("awake", "after"), [(True, (WAKE,)), (False, (CONFIRM,))])
def test_where_no_charge_would_follow_the_reading_is_recorded_and_the_run_goes_on(awake, after):
    step = after_the_wait("1.6", "1.6", awake=awake, after=after)
    assert not step.run.early
    assert any(isinstance(each, Note) and each.why for each in step.orders)


@pytest.mark.parametrize("name", ["capacity", "full-charge", "over-voltage", "partial-charge", "under-voltage"])
def test_what_charges_for_long_looks_first_for_a_cell_that_must_not_be_charged(name):
    """What only wants a steady current for a ramp begins on a pack that is known to be between 20 and 80 % charged."""
    with Rehearsal(read_file(DEMO_PACK), "sound", 1, VirtualClock(), sockets=False) as rehearsal:
        steps = rehearsal.job(find_procedure(name)).program.steps
    first = next(step.index for step in steps if step.kind == "charge")
    lowest = [step.values.get("lowest") for step in steps[:first] if step.kind == "cells"]
    assert lowest == [pytest.approx(0.8 * 20.0 / 8)]


def test_no_other_procedure_that_comes_with_the_program_charges_for_long():
    with Rehearsal(read_file(DEMO_PACK), "sound", 1, VirtualClock(), sockets=False) as rehearsal:
        charges = {
            name: [
                step.word("until")
                for step in rehearsal.job(find_procedure(name)).program.steps
                if step.kind == "charge"
            ]
            for name in procedure_names()
        }
    long = {name for name, ends in charges.items() if set(ends) & {"full", "time", "stopped"}}
    assert long == {"capacity", "full-charge", "over-voltage", "partial-charge", "under-voltage"}
