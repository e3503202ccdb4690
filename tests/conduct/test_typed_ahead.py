"""What is typed before a question can have been read answers nothing, in a terminal; what a pipe has waits for its question."""

import io
import os
import threading
import time

import pytest

from runner.conduct.interfaces import StopFlag
from runner.errors import OperatorGone
from runner.orders import Ask
from runner.plain import REACTION, PlainOperator, Printer

FIRST, SECOND = Ask("one", "Plugged in?"), Ask("two", "Keep clear: the supply switches on.")


class Clock:
    """Time that stands still until it is told."""

    t = 100.0

    def __call__(self):
        return self.t


@pytest.fixture
def terminal():
    """(a person's operator, its clock, the other end of its terminal, its stop flag)."""
    master, slave = os.openpty()
    stop, clock = StopFlag(), Clock()
    with os.fdopen(slave, encoding="utf-8") as source:
        operator = PlainOperator(Printer((), (), io.StringIO()), stop, "me", source)
        operator.now = clock
        yield operator, clock, master, stop
        os.close(master)


def typed(operator, master, text):
    os.write(master, text)
    deadline = time.monotonic() + 5
    while len(operator._lines) < text.count(b"\n"):
        assert time.monotonic() < deadline
        time.sleep(0.002)


def test_a_double_press_answers_one_question(terminal):
    operator, clock, master, _ = terminal
    operator.told(FIRST, 0.0)
    clock.t += REACTION
    typed(operator, master, b"\n\n")
    assert [each.question for each in operator.answers(1.0)] == ["one"]
    operator.told(SECOND, 1.0)
    assert operator.answers(1.1) == [], "pressed before it was asked"
    clock.t += 0.9 * REACTION
    typed(operator, master, b"\n")
    assert operator.answers(1.5) == [], "nobody has read it yet"
    clock.t += 0.2 * REACTION
    typed(operator, master, b"\n")
    assert [each.question for each in operator.answers(2.0)] == ["two"]


def test_a_stop_is_never_too_soon(terminal):
    operator, _, master, stop = terminal
    operator.told(FIRST, 0.0)
    typed(operator, master, b"x\n")
    operator.answers(0.1)
    assert stop.pressed


def test_the_lines_of_a_pipe_wait_for_their_questions():
    operator = PlainOperator(Printer((), (), io.StringIO()), StopFlag(), "me", io.StringIO("\n\n"))
    answered = []
    for ask in (FIRST, SECOND):
        operator.told(ask, 0.0)
        deadline = time.monotonic() + 5
        while not (found := operator.answers(0.0)):
            assert time.monotonic() < deadline
        answered += [each.question for each in found]
    assert answered == ["one", "two"]


def piped(*typed):
    """An operator behind a pipe who was asked once, answered, and then typed this; (the operator, its clock, its stop flag)."""
    stop, clock = StopFlag(), Clock()
    operator = PlainOperator(Printer((), (), io.StringIO()), stop, "me", io.StringIO(""))
    operator.now = clock
    operator._reader = threading.current_thread()  # what comes is typed by the test
    operator.told(FIRST, 0.0)
    operator.typed("\n")
    assert [each.question for each in operator.answers(0.0)] == ["one"]
    clock.t += 10.0
    for each in typed:
        operator.typed(each)
    return operator, clock, stop


@pytest.mark.parametrize("word", ["x\n", "stop\n"])
def test_a_stop_word_through_a_pipe_counts_at_once_while_nothing_is_asked(word):
    """Seen: with ssh and no terminal, x was not noticed before the next question, hours later."""
    operator, _, stop = piped(word)
    assert stop.pressed
    assert operator.answers(1.0) == []


def test_a_connection_that_is_lost_while_nothing_is_asked_ends_the_run():
    operator, _, stop = piped(None)
    with pytest.raises(OperatorGone, match="end of the input"):
        operator.answers(1.0)
    assert operator.answers(2.0) == [], "said once"
    assert not stop.pressed


def test_the_end_of_a_prepared_text_ends_nothing_before_it_is_used_up():
    operator, clock, stop = piped()
    operator.told(SECOND, 0.0)
    for each in ("\n", "x\n", None):
        operator.typed(each)
    assert [each.question for each in operator.answers(0.0)] == ["two"]
    clock.t += 60.0
    assert operator.answers(1.0) == []
    assert not stop.pressed, "it waits for its question"
