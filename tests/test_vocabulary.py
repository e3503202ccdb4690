"""Nothing is decided by a sentence, every word that decides is defined once, and sentences stand among the texts of their room."""

import ast
import re
from pathlib import Path

import pytest

from runner.evaluation.provenance import DECIDES
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


# ---- where the sentences of the engine, of a run's conduct and of the screens stand ---------------------------------

ROOMS = ("runner/engine/", "runner/conduct/", "runner/screen/")
LINES = "runner/conduct/log_lines.py"  # words orders and events, so it is a place of texts, and not of values alone
TEXTS = tuple(f"{room}texts/" for room in ROOMS)
# these keep theirs: they are part of the method, whose digest is over their code (runner/evaluation/provenance.py)
METHOD = tuple(f"runner/{each}" for each in DECIDES if each.startswith("engine/"))
SPEAKING = [path for path in FILES if name_of(path).startswith(ROOMS) and not name_of(path).startswith((*TEXTS, LINES))]
# names with a space in them: of dimensions, of what journals have or the code compares, of looks; what is typed or read as a value
NAMES = FORMATS | {"bring back", "limits by hand", "making safe", "no steady current", "waiting for the operator"}
NAMES |= {"workshop night", "workshop day", "strong contrast", "bold reverse", "go on", "{} degC"}
WORD = re.compile(r"[^\W\d_]{2}")


def excepted(tree):
    """The nodes whose texts stand where they are: docstrings, what a defect is called, styles, and the tables of keys."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            yield node.value
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Name)
            and node.func.id in ("AssertionError", "Binding")
        ):
            yield from ast.walk(node)
        if isinstance(node, ast.Assign) and any(
            isinstance(to, ast.Name) and to.id.endswith("CSS") for to in node.targets
        ):
            yield from ast.walk(node.value)


def said_in(source):
    """Every text with a space in it and a word, what is filled in shown as {}: line and text."""
    tree = ast.parse(source)
    formatted = [node for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)]
    inside = {id(part) for node in formatted for part in node.values} | {id(node) for node in excepted(tree)}
    for node in ast.walk(tree):
        if id(node) in inside:
            continue
        if isinstance(node, ast.JoinedStr):
            text = "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        else:
            continue
        if " " in text.strip() and WORD.search(text) and text not in NAMES:
            yield node.lineno, text


@pytest.mark.parametrize("path", SPEAKING, ids=name_of)
def test_what_these_rooms_say_stands_among_their_texts(path):
    if not name_of(path).startswith(METHOD):
        assert list(said_in(path.read_text(encoding="utf-8"))) == []


def test_a_sentence_in_a_step_or_on_a_screen_would_be_seen():
    source = '"""Of a module."""\ndef f(x, y):\n    """Of a function."""\n    g(f"{x} is {y:.2f} V", "ramp rate", "stopped")\n'
    assert list(said_in(source)) == [(4, "{} is {} V")]
    assert list(said_in(source.replace('"stopped"', '"it has stopped"'))) == [(4, "{} is {} V"), (4, "it has stopped")]
    assert list(said_in('raise AssertionError(f"{x} goes on while it is off")')) == []
    assert list(said_in("say = f\"{before} {x if x else 'no reading'}\"")) == [(1, "no reading")]
    keys = 'CSS = "Label { height: 1; }" + "#said { height: 2; }"\nBINDINGS = [Binding("plus", "nearer", "Zoom in")]\n'
    assert list(said_in(keys)) == []
    assert list(said_in(f'{keys}self.say("Zoom in")')) == [(3, "Zoom in")]


def test_only_the_method_is_excepted_and_it_does_say_something():
    assert METHOD == ("runner/engine/watch",)
    assert any(list(said_in(path.read_text(encoding="utf-8"))) for path in SPEAKING if name_of(path).startswith(METHOD))


def test_texts_are_made_from_values_and_know_no_step_no_sheet_and_no_event():
    known = (
        "runner.notation.quantity",
        "runner.scale",
        "runner.vocabulary",
        *(f"{room}texts".replace("/", ".") for room in ROOMS),
    )
    for path in (path for path in FILES if name_of(path).startswith(TEXTS)):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            assert not isinstance(node, ast.Import), name_of(path)
            if isinstance(node, ast.ImportFrom) and str(node.module).split(".")[0] in ("runner", "reports"):
                assert node.module in known, f"{name_of(path)}: {node.module}"


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
