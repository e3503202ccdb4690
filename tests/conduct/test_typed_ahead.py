"""What is typed before a question can have been read answers nothing, in a terminal; what a pipe has waits for its question."""

import io
import os
import time

import pytest

from runner.conduct.interfaces import StopFlag
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
    while operator._lines.qsize() < text.count(b"\n"):
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
