"""A file of answers: the manual's own example is one, and an answer that is none says what is needed."""

import pytest

from runner.errors import OperatorGone
from runner.orders import Ask
from runner.rehearsal.scripted import ScriptedOperator
from runner.sheets.answers import Answers, parse_answers
from runner.vocabulary import Wants
from tests.test_procedures import MANUAL

READING = Ask("q", "Read the voltmeter.", "voltage", Wants.NUMBER, "V", "voltage")
WORDS = Ask("q", "How is the lid?", "lid", Wants.CHOICE, choices=("good", "bad", "not seen"))


def said(ask, answer):
    operator = ScriptedOperator(Answers(kind="answers", answers=(answer,)))
    operator.told(ask, 0.0)
    with pytest.raises(OperatorGone) as gone:
        operator.answers(10.0)
    return str(gone.value)


def test_the_example_of_the_manual_is_a_file_of_answers():
    example = MANUAL.partition("## A file of answers")[2].partition("```yaml\n")[2].partition("```")[0]
    answers = parse_answers(example, "answers.yaml")
    assert answers.answers == ("go on", "24.1 degC", "good", "bad; dent in the lid")
    assert (answers.then, answers.wait) == ("go on", 2.0)


def test_what_is_needed_in_place_of_go_on_is_named():
    assert "a reading such as 24.3 V is needed" in said(READING, "go on")
    assert "one of good, bad, not seen is needed" in said(WORDS, "go on")
    assert "(good, bad, not seen)" in said(WORDS, "fine")
    assert "is not a number in V" in said(READING, "fine")
