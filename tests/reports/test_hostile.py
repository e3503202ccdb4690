"""Names and notes that would steer a terminal, close a tag, run a script or turn the writing: shown as what they are, everywhere.

Thousands of them: tests/benchmarks/hostile_names.py.
"""

import random
import sys

import pytest

from runner.conduct.answer_parsing import understood
from runner.errors import SheetError
from runner.notation.visible import plainly, visible
from runner.orders import Ask
from runner.sheets.pack import parse_pack
from runner.vocabulary import Wants
from tests.builders import PACK, short_rehearsal
from tests.hostile import CONTROL, name, named, pages_of, wrong_with


@pytest.fixture(scope="module")
def evaluation(tmp_path_factory):
    return short_rehearsal(tmp_path_factory.mktemp("hostile")).result.evaluation


@pytest.mark.parametrize("number", range(12))
def test_certificate_summary_and_label_show_them_and_do_nothing_they_say(evaluation, number):
    dice = random.Random(number)
    hostile = [named(evaluation, dice, plots=number < 4) for _ in range(1 + number % 2)]
    for kind, html in pages_of(hostile, name(dice)).items():
        assert wrong_with(html) == [], kind


def test_a_sheet_with_characters_that_are_not_seen_is_refused_with_its_place():
    with pytest.raises(SheetError, match=r"p:3:9: .*not seen: TI-⟨U\+202E⟩7140"):
        parse_pack(PACK.replace("serial: TI-0001", 'serial: "TI-\\u202E7140"'), "p")


def test_a_note_is_kept_as_what_it_is():
    ask = Ask("q", "Good?", "good", Wants.GO_ON)
    assert understood(ask, "; \x1b[2Jfine \u202e").note == "⟨U+001B⟩[2Jfine ⟨U+202E⟩"


def test_what_is_printed_steers_no_terminal(capsys):
    with plainly():
        sys.stdout.write("T1 \x1b]0;title\x07\u2066\n")
    assert capsys.readouterr().out == "T1 ⟨U+001B⟩]0;title⟨U+0007⟩⟨U+2066⟩\n"


def test_two_thousand_names_have_nothing_hidden_left():
    dice = random.Random(16)
    for _ in range(2000):
        text = name(dice)
        assert not CONTROL.search(visible(text))
        assert visible(visible(text)) == visible(text)
