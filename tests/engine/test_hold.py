"""Readings that are typed, words that are picked, things that are looked at."""

from dataclasses import replace

import pytest

from runner.conduct.answer_parsing import NotUnderstood, hint, is_stop, stopped_by, understood
from runner.engine.opening import CAUTIONS
from runner.engine.run import Run
from runner.events import Answered, OutputIsOff, Started
from runner.orders import Ask, End, Note
from runner.workspace.job import load
from tests.builders import BENCH, PACK, user_file

PROCEDURE = """\
kind: procedure
name: looks
title: Looks
purpose: to look
needs: []
cautions: [Be careful.]
ceilings: {voltage: full charge voltage + 0.4 V, current: 0.15 C, time: 2 h}
steps:
  - read: {say: Read the voltage., record: open-circuit voltage, unit: V, lowest: 20 V, highest: full charge voltage}
  - read: {say: Is there an alarm?, record: alarm, choices: ["no", "yes"], doubtful: ["yes"]}
  - inspect: {say: Look., items: [case, seal]}
"""


class Played:
    """A run that is answered question by question."""

    def __init__(self):
        job = load(user_file("p.yaml", PROCEDURE), user_file("k.yaml", PACK), user_file("b.yaml", BENCH.format(port=1)))
        self.run, self.t = Run(job.program), 0.0
        self.orders = self.run.receive(Started(0.0, ""))
        self.notes = []

    @property
    def asked(self):
        return [order for order in self.orders if isinstance(order, Ask)][-1]

    def answer(self, value, note=""):
        self.t += 1
        self.orders = self.run.receive(Answered(self.t, self.asked.question, value, "me", note))
        self.notes += [order for order in self.orders if isinstance(order, Note)]
        return self


def test_a_reading_that_fits_is_noted_in_si():
    played = Played().answer("go on").answer("26.4")
    assert (played.notes[0].name, played.notes[0].quantity, played.notes[0].why) == ("open-circuit voltage", 26.4, "")


def test_a_reading_that_does_not_fit_is_asked_for_again_and_kept_if_given_twice():
    played = Played().answer("go on").answer("12.0")
    assert played.notes == []
    assert played.asked.say.startswith("12 V is outside the expected range 20 V to 29.2 V. Read again")
    played.answer("12.0")
    assert played.notes[0].quantity == 12.0
    assert "outside the expected range" in played.notes[0].why


def test_a_second_look_that_sees_something_else_is_looked_at_anew():
    played = Played().answer("go on").answer("12.0").answer("26.0")
    assert (played.notes[0].quantity, played.notes[0].why) == (26.0, "")


def test_a_doubtful_choice_is_marked():
    played = Played().answer("go on").answer("26.0").answer("yes")
    assert (played.notes[-1].text, played.notes[-1].why) == ("yes", "doubtful")


def test_an_inspection_notes_each_item_and_ends_the_run_in_order():
    played = Played().answer("go on").answer("26.0").answer("no").answer("good").answer("bad", "scratched")
    assert [(note.name, note.text, note.why) for note in played.notes[-2:]] == [
        ("case", "good", ""),
        ("seal", "bad", "scratched"),
    ]
    assert isinstance(played.run.receive(OutputIsOff(9.0, True))[-1], End)


def test_an_answer_to_another_question_changes_nothing():
    played = Played().answer("go on")
    assert played.run.receive(Answered(5.0, CAUTIONS, "go on", "me")) == []


NUMBER = Ask("q", "Read.", "r", "number", "V", "voltage")
CHOICE = Ask("q", "Look.", "r", "choice", choices=("good", "bad", "not seen"))


@pytest.mark.parametrize(
    ("text", "value"), [("26.4", "26.4"), ("26,4", "26.4"), ("26.4 V", "26.4"), ("26400 mV", "26.4")]
)
def test_a_number_may_leave_its_unit_out(text, value):
    assert float(understood(NUMBER, text).value) == pytest.approx(float(value))


@pytest.mark.parametrize("text", ["", "much", "26.4 A", "26.4.1"])
def test_what_is_no_number_of_the_kind_is_said_so(text):
    with pytest.raises(NotUnderstood):
        understood(NUMBER, text)


@pytest.mark.parametrize(("text", "value"), [("good", "good"), ("g", "good"), ("2", "bad"), ("NOT", "not seen")])
def test_a_choice_may_be_its_number_or_its_beginning(text, value):
    assert understood(CHOICE, text).value == value


@pytest.mark.parametrize("text", ["²", "9" * 5000, "0", "4", "-1"])
def test_what_is_no_number_of_a_choice_is_said_so(text):
    """``²`` is a key of its own on some keyboards: a digit to Python's isdigit, and no number to int."""
    with pytest.raises(NotUnderstood, match="Type a number from 1 to 3"):
        understood(CHOICE, text)


def test_of_one_choice_nobody_is_asked_for_a_number_between_two():
    ask = replace(CHOICE, choices=("none",))
    with pytest.raises(NotUnderstood, match="Type 1, or the word"):
        understood(ask, "two")


def test_a_note_and_a_file_go_with_an_answer(tmp_path):
    photo = tmp_path / "lid.jpg"
    photo.write_bytes(b"picture")
    reply = understood(CHOICE, f"bad; scratched lid @{photo}")
    assert (reply.value, reply.note, reply.files) == ("bad", "scratched lid", (str(photo),))
    with pytest.raises(NotUnderstood, match="cannot be attached: No such file"):
        understood(CHOICE, "bad @nowhere.jpg")


@pytest.mark.parametrize("text", ["x", " X ", "x; smoke from cell 3", "stop!", "STOP!!", "Stop."])
@pytest.mark.parametrize("ask", [NUMBER, CHOICE, Ask("q", "Ready?"), None])
def test_a_stop_is_a_stop_with_a_note_or_a_mark_behind_it(ask, text):
    assert is_stop(ask, text)


def test_the_note_of_a_stop_is_kept_with_who_stopped():
    assert stopped_by("Ann", "x; smoke from cell 3") == "Ann: smoke from cell 3"
    assert stopped_by("Ann", "stop!") == "Ann"


@pytest.mark.parametrize("text", ["xx", "good; x", "bad; stop it", "26.4"])
def test_an_answer_is_no_stop(text):
    assert not is_stop(CHOICE, text)


def test_the_hint_says_what_may_be_answered():
    assert hint(CHOICE).startswith("1 good   2 bad   3 not seen")
    assert hint(NUMBER).startswith("Type a number in V")
