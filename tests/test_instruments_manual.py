"""The manual of instruments: every word there is stands in it, and its examples are the ones that the tests run."""

import re
from pathlib import Path

import pytest

from runner.bench.dialect import BUILT_IN
from runner.sheets.bench import parse_bench
from runner.sheets.dialect import Command, Dialect, ErrorQueue, Mode, Query, parse_dialect
from runner.sheets.instruments import ON_A_CABLE, ROLE_FACTS
from runner.sheets.reach.line import ADDRESSES, SerialLine, address_problem
from tests.instruments.bench import MANUAL

HIDDEN = {"kind", "input", "discrete"}  # of every file; of a command, which writes neither
LEFT_OUT = {"PXI", "VXI", "PRLGX"}  # addresses that the backend may know


def keys(section, text=MANUAL):
    """The keys in the tables of a section."""
    begin = text.index(f"\n{section}\n") if section else 0
    end = re.search(r"\n##+ ", text[begin + len(section) + 2 :])
    part = text[begin : begin + len(section) + 2 + end.start()] if end else text[begin:]
    return set(re.findall(r"`([a-z_]+)`", part))


@pytest.mark.parametrize(
    ("section", "sheet"),
    [
        ("### A serial line", SerialLine),
        ("## Every word", Dialect),
        ("### A command", Command),
        ("### A query", Query),
        ("### Constant voltage or constant current", Mode),
    ],
)
def test_every_key_is_in_its_table(section, sheet):
    own = set(sheet.model_fields) - HIDDEN - (set(Query.model_fields) if sheet is Mode else set())
    assert own <= keys(section), own - keys(section)
    assert set(ErrorQueue.model_fields) <= {"ask", "none"}


def test_every_command_and_query_of_every_role_is_in_the_table():
    known = keys("### Commands and queries of each role")
    for role in ON_A_CABLE:
        facts = ROLE_FACTS[role]
        words = {*facts.commands, *facts.queries, *facts.choices, *facts.optional, *facts.optional_queries}
        assert words <= known, f"no row of procedures/INSTRUMENTS.md has {words - known}"
        assert set(BUILT_IN[role].commands) <= known


def test_every_kind_of_address_has_an_example_that_is_one():
    (table,) = re.findall(r"\| address \| what it is \|\n\| --- \| --- \|\n((?:\|.*\n)+)", MANUAL)
    examples = re.findall(r"`([A-Z][^`]+)`", table)
    assert {kind for kind in ADDRESSES if any(each.startswith(kind) for each in examples)} == set(ADDRESSES) - LEFT_OUT
    assert [address_problem(each) for each in examples] == [None] * len(examples)


@pytest.mark.parametrize("text", re.findall(r"<!-- example.*-->\n```yaml\n(.*?)```", MANUAL, re.DOTALL))
def test_every_example_is_a_valid_file(text):
    (parse_bench if text.startswith("kind: bench") else parse_dialect)(text, "manual.yaml")


def test_the_manual_is_named_where_people_look():
    root = Path(__file__).parent.parent
    for name in ("README.md", "DEVELOPERS.md", "procedures/README.md"):
        assert "INSTRUMENTS.md" in (root / name).read_text(), name
