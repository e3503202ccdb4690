"""The order in large letters: short enough, drawn whole, and still read on a picture shrunk to what is seen from two metres."""

from functools import cache

import numpy as np
import pytest

from runner.engine.steps.switches import SIGHTS, SWITCHED_OFF, SWITCHED_ON
from runner.orders import Ask, End, Guide, SwitchOff, SwitchOn
from runner.screen.now.to_do import Now, SwitchState, ToDo, Verb, of_question
from runner.screen.now.wording import MOST, WIDEST, in_large, switch_line
from runner.screen.widgets.big_text import GLYPHS, KNOWN, columns, large
from runner.vocabulary import Role
from tests.screen.played import GOLDENS
from tests.screen.two_metres import drawn, from_two_metres

LETTERS = sorted(letter for letter in KNOWN if letter != " ")
ORDERS = [
    ToDo(verb, what, value) for verb in Verb for what, value in (("T1", 1 / 60), ("charger", 0.0), ("cell 12 NTC", 0.5))
]
WIDE = 5  # columns that a letter is given for comparing


@pytest.mark.parametrize("do", [*ORDERS, *(ToDo(Verb.MARK, of) for of in SIGHTS), ToDo(Verb.SET_BOX, "box", 10354.2)])
def test_every_order_is_short_drawn_and_fits_a_narrow_screen(do):
    said = in_large(do)
    assert len(said) <= MOST
    assert set(said) <= KNOWN
    assert columns(said) <= WIDEST
    assert max(map(len, large(said))) <= WIDEST


def test_verb_sensor_and_rate():
    assert in_large(ToDo(Verb.HEAT, "T1", 1 / 60)) == "HEAT T1 1 K/MIN"
    assert in_large(ToDo(Verb.COOL, "sensor at cell 12", 0.5 / 60)) == "COOL 0.5 K/MIN", (
        "what does not fit is left to the sentence"
    )
    asked = Ask("q", "Switch the charger on.", of=next(iter(SWITCHED_ON)))
    assert in_large(of_question(asked)) == "SWITCH CHARGER ON"


COLUMNS = 80
READ_FROM = {  # golden of a whole screen at 80 x 24: the order that stands on it in large letters
    "ramp": "HEAT T1 3 K/MIN",
    "trip": "COOL T1 FAST",
    "number": "READ, THEN TYPE",
    "choice": "CHOOSE, THEN ENTER",
    "hold-point": "CHECK, THEN ENTER",
    "not-safe": "SWITCH SUPPLY OFF",
    "leave": "LEAVE THE RUN?",
}


@cache
def by_itself(letter, minutes, phase):
    """A letter from two metres by itself, ``phase`` of a pixel beside a whole number of them."""
    rows = ["", *(f" {line}" for line in large(letter)), ""]
    return from_two_metres(drawn([f"{row:<{COLUMNS}}" for row in rows], COLUMNS), minutes, phase)


def read_back(lines, text, minutes, shift):
    """What somebody reads who knows the letters: of each that stands where one of ``text`` does, the nearest of all."""
    picture = from_two_metres(
        drawn(["", *(f" {line:<{COLUMNS - 1}}"[:COLUMNS] for line in lines), ""], COLUMNS), minutes, shift
    )
    per_column, column, read = picture.shape[1] / COLUMNS, 1.0, ""
    most = round(WIDE * per_column)
    for letter in text:
        wide = (len(GLYPHS[letter][0]) + 2) / 2
        if letter != " ":
            begin = round(column * per_column)
            cut = picture[:, begin : begin + round(min(wide, WIDE + 1) * per_column)]
            read += nearest(np.pad(cut, ((0, 0), (0, max(0, most - cut.shape[1]))))[:, :most], minutes, per_column)
        else:
            read += " "
        column += wide
    return read


def nearest(cut, minutes, per_column):
    """The letter that is nearest to what is seen, by the squares of the differences; a reader knows it at any place."""
    begin = round(per_column)

    def distance(letter):
        known = (by_itself(letter, minutes, phase)[:, begin : begin + cut.shape[1]] for phase in (0.0, 0.25, 0.5, 0.75))
        return min(float(((cut - each) ** 2).sum()) for each in known)

    return min(LETTERS, key=distance)


@pytest.mark.parametrize(("minutes", "shift"), [(1.0, 0.0), (1.0, 0.5), (2.0, 0.0), (2.0, 0.37)])
def test_from_two_metres_every_order_can_be_read_with_6_6_vision_and_with_half_of_it(minutes, shift):
    for name, order in READ_FROM.items():
        screen = (GOLDENS / f"run-{name}-80x24.txt").read_text(encoding="utf-8").splitlines()
        assert read_back([line[1:] for line in screen[1:4]], order, minutes, shift) == order


def test_every_letter_is_told_from_every_other_from_two_metres_and_nothing_is_read_where_eyes_are_too_weak():
    everything = ["".join(LETTERS[at : at + 16]) for at in range(0, len(LETTERS), 16)]
    assert all(read_back(large(text), text, 1.0, 0.3) == text for text in everything)
    assert any(read_back(large(text), text, 9.0, 0.3) != text for text in everything), "the test can fail"


def test_no_screen_of_80_columns_cuts_a_text():
    for path in GOLDENS.glob("*-80x24.txt"):
        lines = path.read_text(encoding="utf-8").splitlines()
        assert not [line for line in lines if line.rstrip().endswith("…")], path.name


# ---- the line of switches ----------------------------------------------------------------------------------------


def test_every_switch_is_said_by_hand_or_not_and_what_is_not_read_back_is_not_off():
    now = Now(("supply", "probe", "load", "actuator"), ("load",), by_machine=True)
    assert switch_line(now.switches("", ()), "") == "supply off · load off (by hand) · actuator off"
    now.told(Guide("heat", "T1", 1 / 60, ""))
    assert switch_line(now.switches("charge", ()), "CC") == "supply ON CC · load off (by hand) · actuator ON"
    now.told(SwitchOff())
    assert switch_line(now.switches("charge", ()), "CC").startswith("supply NOT CONFIRMED OFF")
    now.told(SwitchOn())
    assert switch_line(now.switches("charge", ()), "CC").startswith("supply ON CC"), "on once more within the same step"
    assert switch_line(now.switches("discharge", ("load",)), "") == "supply off · load ON (by hand) · actuator ON"
    now.told(End(early=True, safe=False, reason="stopped"))
    states = now.switches("", ("load",))
    assert {each.role: each.on for each in states} == {"supply": None, "load": None, "actuator": None}
    assert in_large(now.to_do) == "SWITCH OFF BY HAND"


def test_a_charger_is_switched_by_a_person_on_every_bench():
    now = Now((Role.CHARGER, Role.CLAMP), (Role.CHARGER, Role.CLAMP), by_machine=False)
    assert now.switches("charge", ("charger",)) == (SwitchState("charger", True, by_hand=True),)
    assert set(SWITCHED_OFF.values()) == {"charger", "load", "supply"}, "each has its place in the line"
    now = Now((Role.SUPPLY, Role.PROBE), (), by_machine=False)
    assert now.switches("", ("supply",)) == (SwitchState("supply", None),), "it cannot say that it is off"
