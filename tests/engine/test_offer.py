"""One more ramp, offered only where it would help, and done only if the operator wants it."""

from dataclasses import replace

import pytest

from runner.conduct.forecast import Foresight
from runner.engine.opening import CAUTIONS
from runner.engine.run import Run
from runner.events import Answered, OutputIsOff, Reckoned, Started
from runner.orders import Ask, BeginStep, Conclude, End, Found, Note, Reckon, Remark
from runner.vocabulary import Observed
from tests.builders import BENCH, PACK, SHORT_PROCEDURE, user_file

OFFERED = """\
        - offer:
            say: It takes ten minutes.
            steps:
              - wait: {for: 1 s}
              - wait: {for: 2 s}
        - off
"""


def offering():
    """A run that has come to its offer, and the question that the world was asked."""
    from runner.workspace.job import load

    text = SHORT_PROCEDURE.replace("        - off\n", OFFERED)
    ramps = text.index("        - charge:"), text.index("        - offer:")
    text = text[: ramps[0]] + text[ramps[1] :]  # what comes before the offer does not matter here
    job = load(
        user_file("offer.yaml", text), user_file("pack.yaml", PACK), user_file("bench.yaml", BENCH.format(port=1))
    )
    run = Run(job.program)
    run.receive(Started(0.0, "2026-11-25T08:00:00Z"))
    run.receive(Answered(1.0, CAUTIONS, "go on", "me"))
    orders = run.receive(Answered(2.0, "step-0", "go on", "me"))
    (reckon,) = [order for order in orders if isinstance(order, Reckon)]
    assert reckon.sensor == "T1"
    return run, job.program


def begun(orders):
    return [order.kind for order in orders if isinstance(order, BeginStep)]


def test_what_would_not_help_is_not_offered():
    run, _ = offering()
    orders = run.receive(Reckoned(3.0, "T1", 0.0, "nothing is near enough to a limit"))
    assert begun(orders) == ["off"]
    assert not [order for order in orders if isinstance(order, Ask)]
    assert Remark("No further ramp: nothing is near enough to a limit") in orders
    orders = offering()[0].receive(Reckoned(3.0, "T1", 0.0, ""))
    assert Remark("No further ramp needed for T1") in orders, "a question that is not asked is not left open"


def test_what_is_known_of_a_sensor_is_told_at_once_and_answers_no_other_sensors_offer():
    run, _ = offering()
    orders = run.receive(Reckoned(3.0, "T2", 0.0, "", ("trip T2 54.6 ± 0.4 °C: pass",)))
    assert orders == [Found("trip T2 54.6 ± 0.4 °C: pass")], "the offer for T1 still waits for its own"
    assert Found("trip T1") in run.receive(Reckoned(3.0, "T1", 0.0, "", ("trip T1",)))


def test_the_result_of_a_sensor_is_worked_out_when_the_next_one_begins_unless_an_offer_has():
    program = offering()[1]
    foresight = Foresight(program, None)
    ended = Conclude(4, "substitute", "T1", 1, 0.0, "stopped", "current fell", 9.0)
    assert foresight.take(BeginStep(4, "substitute", "box", "T1"), 5.0) is None
    assert foresight.take(ended, 9.0) is None
    assert foresight.take(BeginStep(5, "off", "off", "T1"), 10.0) is None
    work = foresight.take(BeginStep(6, "confirm", "next", "T2"), 11.0)
    assert work.args[0] == "T1"
    assert foresight.take(ended, 12.0) is None
    assert foresight.take(Reckon("T1"), 12.0) is not None
    assert foresight.take(BeginStep(7, "off", "off", ""), 13.0) is None, "told once"


def test_a_forecast_takes_the_cells_that_were_read_in_the_wait_whatever_the_reading_is_called():
    foresight = Foresight(replace(offering()[1], release=24.0, cells=8), None)
    lowest = {"text": "2.9 V", "quantity": 2.9, "dimension": "voltage", "of": Observed.LOWEST_CELL_VOLTAGE.value}
    assert foresight.take(Note(2, "lowest cell before", **lowest), 1.0) is None, "nothing waits yet"
    assert foresight.take(BeginStep(3, "recover", "wait", "T1"), 5.0) is None
    assert foresight.take(Note(3, "lowest cell, in other words", **lowest), 20.0).args == (
        ((20.0, 2.9),),
        5.0,
        3.0,
        20.0,
    )
    assert foresight.take(Note(3, "anything", **{**lowest, "of": ""}), 30.0) is None
    assert foresight.take(Note(4, "lowest cell afterwards", **lowest), 40.0) is None, "read in another step"


@pytest.mark.parametrize(("answer", "next_step"), [("one more", "wait"), ("go on", "off")])
def test_the_operator_says_whether_it_is_worth_the_time(answer, next_step):
    run, program = offering()
    (ask,) = run.receive(Reckoned(3.0, "T1", 0.12, "The trip of T1 is near a limit"))
    assert ask.choices == ("go on", "one more")
    assert "near a limit" in ask.say
    assert "ten minutes" in ask.say
    assert begun(run.receive(Answered(4.0, ask.question, answer, "me"))) == [next_step]
    offered = [step for step in program.steps if step.offer]
    assert [step.kind for step in offered] == ["offer", "wait", "wait"]
    assert {step.index for step in offered if step.kind == "wait"} == set(run.skipped) or answer == "one more"


def test_an_offer_that_was_not_taken_is_no_step_that_could_not_be_done():
    run, _ = offering()
    run.receive(Reckoned(3.0, "T1", 0.0, "nothing is near enough to a limit"))
    for t in (4.0, 5.0):
        orders = run.receive(OutputIsOff(t, True))
    (end,) = [order for order in orders if isinstance(order, End)]
    assert end.reason == "all steps done"
