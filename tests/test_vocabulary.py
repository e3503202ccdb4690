"""Nothing is decided by a sentence, and every word that decides is defined once."""

import ast
from pathlib import Path

import pytest

from runner.vocabulary import BudgetSource, Exit, Observed, Outcome, Role, WatchWord

ROOT = Path(__file__).parents[1]
FILES = sorted(path for room in ("runner", "reports") for path in (ROOT / room).rglob("*.py"))
READS_OLD_TEXTS = {"runner/sheets/older.py"}  # what old folders and procedures meant
TEXT_METHODS = {"startswith", "endswith", "partition", "split", "find", "index"}
# names of dimensions
FORMATS = {"temperature difference", "ramp rate"}


def name_of(path):
    return path.relative_to(ROOT).as_posix()


def sentences(node):
    """The constants with a space between words in an expression."""
    for each in ast.walk(node):
        if isinstance(each, ast.Constant) and isinstance(each.value, str) and " " in each.value.strip():
            yield each.value


def decisions(tree):
    """The expressions in which something is compared with, searched for or cut at a text."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare):
            yield from (node.left, *node.comparators)
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in TEXT_METHODS:
            yield from node.args


@pytest.mark.parametrize("path", FILES, ids=name_of)
def test_no_sentence_is_compared_cut_or_searched(path):
    if name_of(path) in READS_OLD_TEXTS:
        return
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = {text for node in decisions(tree) for text in sentences(node)} - FORMATS
    assert not found


ATTRIBUTES = {"outcome": Outcome, "word": WatchWord, "status": Exit, "exit_status": Exit}


@pytest.mark.parametrize("path", FILES, ids=name_of)
def test_outcomes_words_and_statuses_are_compared_with_their_names_only(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.Compare) or not isinstance(node.left, ast.Attribute):
            continue
        of = node.left.value.attr if isinstance(node.left.value, ast.Attribute) else ""
        if node.left.attr in ATTRIBUTES and of != "coach":  # whose words are its own
            plain = [each.value for each in ast.walk(node) if isinstance(each, ast.Constant) and each.value]
            assert not plain, f"line {node.lineno}: {plain} instead of {ATTRIBUTES[node.left.attr].__name__}"


@pytest.mark.parametrize("words", [Exit, Role, WatchWord, Outcome, Observed, BudgetSource])
def test_no_value_is_there_twice(words):
    values = [each.value for each in words.__members__.values()]
    assert len(values) == len(set(values))


def test_every_line_of_a_budget_has_advice_or_needs_none():
    """What a tester can do something about says what; those without advice are parts of a method or too small to matter."""
    without = {source.name for source in BudgetSource if not source.advice}
    assert without == {
        "TRIP_INSTANT",
        "CHARGE_COUNTED",
        "VOLTAGE_SHAPE",
        "VOLTAGE_AFTER",
        "RETURN_INSTANT",
        "RELAXATION",
        "LAST_SEEN",
        "GLANCE",
        "DISPLAY_DIGITS",
        "REFRESH",
        "CURRENT_THERE",
    }
