"""Small everywhere, not on average: the limits that keep every file readable in one sitting."""

import ast
import statistics
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
FILES = sorted(path for room in ("runner", "reports") for path in (ROOT / room).rglob("*.py"))
LONGEST_FILE, LONGEST_FUNCTION = 400, 60
# the places that may catch everything, because they record it, hand it over or make the bench safe; and adapters to
# libraries that raise bare exceptions, which turn them into errors of ours at once
BROAD = {
    "runner/cli.py",
    "runner/conduct/loop.py",
    "runner/conduct/run_thread.py",
    "runner/bench/assembly.py",
    "runner/bench/line.py",
    "runner/bench/link.py",
    "runner/bench/off.py",
    "runner/notation/quantity.py",
    "runner/seal/pdf.py",  # a broken PDF breaks its reader in many ways
}


def name(path):
    return str(path.relative_to(ROOT))


@pytest.mark.parametrize("path", FILES, ids=name)
def test_a_file_is_one_idea_and_says_which(path):
    text = path.read_text()
    tree = ast.parse(text)
    assert text.count("\n") <= LONGEST_FILE
    assert ast.get_docstring(tree), "the first line of a file says what it is"
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            assert node.end_lineno - node.lineno < LONGEST_FUNCTION, node.name
        if isinstance(node, ast.ExceptHandler) and name(path) not in BROAD:
            caught = ast.unparse(node.type) if node.type else "everything"
            assert caught not in ("everything", "Exception", "BaseException"), f"line {node.lineno} catches {caught}"


def test_the_median_function_is_short():
    lengths = [
        node.end_lineno - node.lineno + 1
        for path in FILES
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]
    assert statistics.median(lengths) <= 10


def test_public_functions_and_classes_have_docstrings():
    """Those a neighbouring room may call. Classes and functions with a leading underscore are their file's own business."""
    without = [
        f"{name(path)}:{node.lineno} {node.name}"
        for path in FILES
        for node in ast.parse(path.read_text()).body
        if isinstance(node, ast.FunctionDef | ast.ClassDef)
        and not node.name.startswith("_")
        and not ast.get_docstring(node)
    ]
    assert without == []
