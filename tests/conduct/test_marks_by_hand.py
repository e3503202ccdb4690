"""Marks of a thermometer that a person reads: a degree that was missed shifts none of those after it."""

import io

import pytest

from runner.conduct.interfaces import StopFlag
from runner.conduct.log_lines import said
from runner.engine.hands import hands_off
from runner.events import PROBE_TEMPERATURE
from runner.orders import Ask, AskTaps, Conclude, next_degree
from runner.plain import PlainOperator, Printer
from runner.screen.feed import ScreenOperator
from runner.vocabulary import Observed, Wants

UP, DOWN = (
    AskTaps(50.0, 1.0, "Press Enter as it reaches 50 °C."),
    AskTaps(50.0, -1.0, "Press Enter as it reaches 50 °C."),
)


def marks(lines, order=UP):
    """What these lines mark (°C), typed one after the other while the marks are asked for; and what was printed."""
    out = io.StringIO()
    operator = PlainOperator(Printer((), (), out), StopFlag(), "me", io.StringIO(""))
    operator.told(order, 0.0)
    for line in lines:
        operator.typed(line)
    return [sample.readings[PROBE_TEMPERATURE] for sample in operator.answers(1.0)], out.getvalue()


@pytest.mark.parametrize(
    ("lines", "order", "wanted"),
    [
        (["", "", ""], UP, [50.0, 51.0, 52.0]),
        (["", "53", ""], UP, [50.0, 53.0, 54.0]),
        (["", "53,4", ""], UP, [50.0, 53.4, 54.0]),
        (["", "47", ""], DOWN, [50.0, 47.0, 46.0]),
        (["", "46.6", ""], DOWN, [50.0, 46.6, 46.0]),
        (["", "530", ""], UP, [50.0, 51.0]),
        (["", "63", "64", ""], UP, [50.0, 64.0, 65.0]),  # two that agree are what it shows
        (["", "63", "", "63"], UP, [50.0, 51.0]),
        (["", "630", "63", "64"], UP, [50.0, 64.0]),
        (["", "nan", "inf", "much", "5 0"], UP, [50.0]),
    ],
)
def test_a_degree_that_was_missed_is_typed_and_the_next_one_follows_it(lines, order, wanted):
    assert marks(lines, order)[0] == wanted


def test_what_is_far_from_the_next_mark_is_a_slip_and_is_said_to_be():
    said = marks(["530"])[1]
    assert "530 °C is far from 50 °C" in said
    assert "type it once more" in said
    assert "ress Enter to continue" not in said, "here Enter marks a degree"


def test_what_is_no_degree_is_said_to_be_none_beside_a_question_too():
    out = io.StringIO()
    operator = PlainOperator(Printer((), (), out), StopFlag(), "me", io.StringIO("cc\n\nc\n"))
    operator.told(Ask("q", "Mark.", wants=Wants.MARK, of=Observed.CURRENT_GONE), 0.0)
    operator.told(UP, 0.0)
    operator._reader.join(10.0)
    marked, answered = operator.answers(1.0)
    assert marked.readings[PROBE_TEMPERATURE] == 50.0
    assert answered.value == "go on"
    assert "'cc' is no degree; nothing was marked. c [Enter] at that moment" in out.getvalue()


@pytest.mark.parametrize(
    ("degree", "step", "after"), [(50.0, 1.0, 51.0), (50.3, 1.0, 51.0), (50.0, -1.0, 49.0), (50.3, -1.0, 50.0)]
)
def test_the_next_degree_is_a_whole_one(degree, step, after):
    assert next_degree(degree, step) == after


def test_on_the_screen_a_key_passes_over_the_degree_that_was_missed():
    operator = ScreenOperator("me")
    operator.told(UP, 0.0)
    operator.tap()
    operator.miss()
    operator.tap()
    assert [sample.readings[PROBE_TEMPERATURE] for sample in operator.answers(1.0)] == [50.0, 52.0]
    assert operator.degree == 53.0


def test_what_was_ordered_a_line_before_is_not_printed_twice():
    out = io.StringIO()
    printer = Printer((), (), out)
    printer.told(hands_off("T1", now=True), 1.0)
    printer.told(hands_off("T1", now=True), 1.0)
    assert out.getvalue().count("Remove heat and ice from T1 now.") == 1


def test_the_result_of_a_change_that_was_seen_does_not_repeat_the_watchers_words():
    seen = Conclude(3, "heat", "T1", 1, 1 / 60, "stopped", "current fell from 4 A to 0", 9.0)
    assert said(seen) == ["RESULT STOPPED  heat T1 at 1.0 K/min"]
    key = Conclude(3, "drain", "", 0, 0.0, "stopped", "the operator saw the load stop by itself", 9.0, by_hand=True)
    assert said(key) == ["RESULT STOPPED  the operator saw the load stop by itself"]
