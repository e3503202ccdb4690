"""YAML with the place of everything."""

import pytest

from runner.errors import SheetError
from runner.notation.source import read
from runner.sheets.pack import parse_pack
from tests.builders import PACK


def test_every_key_and_value_has_its_line_and_column():
    source = read("one: 1\ntwo words:\n  - a\n  - deep: 0042\n", "f.yaml")
    assert source.values == {"one": 1, "two_words": ["a", {"deep": "0042"}]}
    assert source.place_of(("two_words", 1, "deep")) == (4, 11)
    assert source.place_of(("two_words", 1, "deep"), key=True) == (4, 5)
    assert source.place_of(("two_words", 7, "nothing")) == (3, 3)


@pytest.mark.parametrize(
    ("text", "place", "part"),
    [
        ("a: 1\na: 2\n", (2, 1), "written twice"),
        ("a: !!python/object:os.system x\n", (1, 4), "tag"),
        ("a: [1, 2\nb: 3\n", (2, 2), "is not YAML"),
        ("a: &x [*x]\n", None, ""),
        ("", (1, 1), "is empty"),
        ("a:\n\t- b\n", (2, 1), "is not YAML"),
    ],
)
def test_what_is_wrong_with_the_yaml_is_said_with_its_place(text, place, part):
    (problem, *_) = read(text, "f.yaml").problems
    assert part in problem.what
    if place:
        assert (problem.line, problem.column) == place


def test_all_mistakes_of_a_file_are_said_at_once_in_the_order_of_their_lines():
    text = (
        PACK.replace("29.2 V", "29.2 A")
        .replace("cells_in_series: 8", "cells_in_serie: 8")
        .replace("delay: 1 s", "delay: 1 V")
    )
    with pytest.raises(SheetError) as caught:
        parse_pack(text, "p.yaml")
    lines = [(problem.line, problem.what) for problem in caught.value.problems]
    assert lines == [
        (5, "unknown key 'cells_in_serie'"),
        (7, "29.2 A is a current; a voltage is needed"),
        (18, "1 V is a voltage; a time is needed"),
    ]
    assert caught.value.problems[0].remedy == "did you mean cells_in_series?"
