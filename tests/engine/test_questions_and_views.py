"""What stands on the screen of a run, and how long a question may stand while something is on."""

from dataclasses import replace
from math import inf

import pytest

from runner.engine.bench_state import BenchState
from runner.engine.ceilings import StandingQuestion
from runner.engine.program import Planned
from runner.engine.run import Run
from runner.engine.states import State
from runner.engine.view import Coach, look
from runner.events import CHARGE, PROBE_TEMPERATURE, Answered, OutputIsOff, Resumed, Sampled, Started, StopPressed
from runner.orders import Ask, BeginStep, End, Guide, Remark, SwitchOff
from tests.builders import a_program
from tests.engine.test_ends_of_ramps import ramp, ramping, warming
from tests.one_step import OneStep

CONFIRM = Planned(1, "confirm", "look", "Look at it.", {}, words={})


def asking(longest=900.0):
    """A charge that is steady, and a hold point after it."""
    step = OneStep(
        "charge",
        {"current": 4.0, "voltage": 29.2, "steady": 2.0},
        program={"longest_hold": longest},
        words={"until": "steady"},
        after=(CONFIRM, Planned(2, "off", "off", "", {})),
    ).on(CHARGE, 4.0, 29.2)
    step.read(5.0, charge=4.0, supply=26.0)
    return step


def asks(step):
    return [order for order in step.orders if isinstance(order, Ask)]


def test_a_question_that_nobody_answers_while_something_is_on_ends_the_run():
    step = asking(60.0)
    began = step.t
    step.read(58.0, charge=4.0, supply=26.0)
    assert not step.run.early
    step.read(4.0, charge=4.0, supply=26.0)
    assert step.run.early
    assert "no answer for 1 min while the charge was on" in step.run.reason
    assert step.t - began > 60.0


def test_one_that_was_answered_does_not():
    step = asking(60.0)
    step.read(50.0, charge=4.0, supply=26.0)
    step.tell(Answered(step.t, asks(step)[-1].question, "go on", "me"))
    step.read(100.0, charge=4.0, supply=26.0)
    assert not step.run.early


def test_an_answer_to_another_question_leaves_it_standing():
    step = asking(60.0)
    step.tell(Answered(step.t, "step-9", "go on", "me"))
    step.read(70.0, charge=4.0, supply=26.0)
    assert step.run.early


def test_with_everything_off_a_question_may_stand_for_ever():
    step = OneStep("confirm", {}, program={"longest_hold": 60.0})
    step.read(1000.0, supply=0.0)
    assert not step.run.early


@pytest.mark.parametrize(
    ("speed", "waits"), [(1.0, 900.0), (5.0, 900.0), (30.0, 2700.0), (100.0, 3600.0), (inf, 900.0)]
)
def test_at_a_fast_simulated_bench_a_person_still_has_time_to_read(speed, waits):
    """90 s by a person's watch, and no more than an hour of the run's: our own choice."""
    known = BenchState()
    known.path, known.t = CHARGE, 0.0
    question = StandingQuestion(known, 900.0, speed)
    question.keep(Started(0.0, ""), [Ask("step-1", "Read it.")])
    assert question.answer_within == waits
    known.t = waits + 1.0
    assert "no answer" in question.waited_too_long()


def test_with_something_on_a_hold_point_takes_of_the_time_that_a_test_may_take():
    step = asking(1e9)
    step.run.ceilings.values = replace(step.run.ceilings.values, time=60.0)
    step.read(60.0, charge=4.0, supply=26.0)
    assert "over its ceiling" in step.run.reason


@pytest.mark.parametrize(
    ("kind", "values", "more"),
    [
        ("confirm", {}, {}),
        ("read", {}, {"words": {"dimension": "voltage"}}),
        ("inspect", {}, {"words": {"items": ("case",)}}),
        ("offer", {}, {}),
        ("wait", {"for": 9.0}, {}),
        ("rest", {"for": 9.0}, {}),
        ("off", {}, {}),
        ("charge", {"current": 1.0, "voltage": 29.2}, {"words": {"until": "full"}}),
        ("drain", {"current": 1.0, "floor": 20.0}, {"words": {"until": "stopped"}}),
    ],
)
def test_where_nothing_is_about_to_happen_every_second_is_often_enough(kind, values, more):
    """A second: our own choice."""
    assert OneStep(kind, values, **more).pace == (1.0, 1.0)


# ---- resuming ------------------------------------------------------------------------------------------------------


def test_a_run_that_is_resumed_switches_everything_off_looks_and_its_break_does_not_count():
    run = Run(a_program())
    orders = run.receive(Resumed(7000.0, "", "power", 6900.0))
    assert SwitchOff(everything=True) in orders, "whatever was on, the actuator too"
    (ask,) = [order for order in orders if isinstance(order, Ask)]
    assert ask.say.startswith("The run continues after a break of 115 min.")
    run.receive(Answered(7001.0, ask.question, "go on", "me"))
    run.receive(Answered(7002.0, "step-0", "go on", "me"))
    run.receive(Sampled(14000.0, {}))
    assert not run.early, "2 h of ceiling, 7100 s of them used"
    run.receive(Sampled(14200.0, {}))
    assert "over its ceiling" in run.reason


def test_steps_that_were_passed_over_are_counted_at_the_end():
    step = ramping()
    warming(step, 62.9, 0.05, 4.0)
    step.off()
    (end,) = [order for order in step.off().orders if isinstance(order, End)]
    assert (end.early, end.undone) == (False, 1)
    said = [order.say for order in step.orders if isinstance(order, Remark)]
    assert "all remaining steps for T1" in said[0]
    assert "did not trip" in said[0]


def test_an_early_end_is_said_in_the_record_and_a_whole_run_has_nothing_to_say():
    step = ramping()
    orders = step.tell(StopPressed(step.t, "a key"))
    assert Remark("Switching the bench off: stopped by a key") in orders
    whole = OneStep("off", {}).off().off()
    assert not [order for order in whole.orders if isinstance(order, Remark)]


def test_a_run_in_which_every_step_was_done_says_so():
    step = OneStep("off", {}).off()
    (end,) = [order for order in step.off().orders if isinstance(order, End)]
    assert (end.early, end.safe, end.reason) == (False, True, "all steps done")


def test_hands_go_away_before_a_step_that_heats_nothing():
    step = ramping()
    orders = warming(step, 50.2, 0.05, 3.0, charge=0.0, supply=29.2)
    kinds = [type(order) for order in orders if isinstance(order, Guide | BeginStep)]
    assert kinds == [Guide, BeginStep]
    assert step.run.known.hands_at is None


# ---- the picture ---------------------------------------------------------------------------------------------------


def test_what_is_to_be_done_when_everything_is_off_stands_on_the_screen_while_it_waits():
    """Seen: the order to put a sensor back was in the record and in plain lines, and not on the screen."""
    put_back = Planned(1, "off", "off", "Put T1 back on its cell.", {})
    rest = Planned(2, "rest", "rest", "The pack cools for 10 min.", {"for": 600.0})
    step = OneStep("confirm", {}, words={}, after=(put_back, rest))
    step.tell(Answered(step.t, asks(step)[-1].question, "go on", "me"))
    step.tell(OutputIsOff(step.t, True))
    assert look(step.run).sentence == "Put T1 back on its cell. The pack cools for 10 min."


def test_every_step_is_done_now_next_or_skipped():
    step = ramping()
    assert [line.mark for line in look(step.run).steps] == ["done", "now", "next", "next"]
    warming(step, 62.9, 0.05, 4.0)
    assert [line.mark for line in look(step.run).steps] == ["done", "done", "skipped", "now"]
    step.tell(StopPressed(step.t, "a key"))
    assert [line.mark for line in look(step.run).steps][-1] == "cut"
    assert look(step.run).sentence.startswith("Switching the bench off: stopped by a key")
    step.tell(OutputIsOff(step.t, True))
    assert look(step.run).sentence.startswith("The run has ended: stopped by a key")
    assert step.run.state is State.ENDED


def test_before_the_first_step_the_cautions_are_to_be_read():
    run = Run(a_program())
    run.receive(Started(0.0, ""))
    assert look(run).sentence.startswith("Read the cautions.")
    assert {line.mark for line in look(run).steps} == {"next"}


@pytest.mark.parametrize(("rate", "word"), [(0.063, "slower"), (0.062, "keep"), (0.038, "keep"), (0.037, "faster")])
def test_the_coach_says_keep_within_a_quarter_of_the_wanted_rate(rate, word):
    """A quarter: our own choice. Wanted are 0.05 K/s, 3 K/min."""
    step = ramping(program={"trip_limits": (53.0, 57.0)})
    warming(step, 50.2, rate, 30.0)
    coach = look(step.run).coach
    assert coach.word == word
    assert coach.why.startswith(f"{rate * 60:.1f} K/min (target 3.0)")
    assert coach.why.endswith(f"lag error {rate * 10:.1f} K (tolerance 2.0 K)")


def test_a_fast_ramp_is_said_in_kelvin_a_minute_too():
    step = ramping(values={"rate": 0.2, "give_up": 90.0}, program={"trip_limits": (53.0, 57.0)})
    warming(step, 50.2, 0.2, 30.0)
    assert look(step.run).coach == Coach("keep", "12.0 K/min (target 12.0); lag error 2.0 K (tolerance 2.0 K)")


def test_on_the_way_to_the_ramp_the_coach_says_freely_and_cooling_counts_downwards():
    step = ramp()
    warming(step, 30.0, 0.1, 30.0)
    assert look(step.run).coach == Coach("freely", "HEAT FAST to 50 °C, then 3.0 K/min (now 6.0 K/min)")
    step = ramp("cool", values={"approach": 24.0, "give_up": 5.0})
    warming(step, 24.5, -0.05, 35.0)
    assert look(step.run).coach.word == "keep"


def test_without_limits_nothing_is_said_of_a_cost():
    step = ramping(program={"trip_limits": None})
    warming(step, 50.2, 0.05, 30.0)
    assert look(step.run).coach.why == "3.0 K/min (target 3.0)"


def test_a_wait_and_everything_off_have_no_coach():
    step = OneStep("wait", {"below": 10.0})
    step.read(30.0, probe=lambda t: 50.0 - 0.1 * t)
    assert look(step.run).coach is None
    assert look(step.run).rate == pytest.approx(-0.1)
    assert not look(step.run).output_on
    assert look(step.run).readings[PROBE_TEMPERATURE] == pytest.approx(47.0)
