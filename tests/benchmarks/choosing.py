"""Which tests meet a mutant: those that reach its line, the quickest first.

Which test reaches which line is looked at once, a test file at a time, and kept. Where the program has changed since, the lines are
carried over as its text has moved; remove what is kept to have it looked at anew, which takes a quarter of an hour.
"""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Mapping, Sequence
from difflib import SequenceMatcher
from hashlib import sha256
from pathlib import Path
from typing import Any

from tests.benchmarks.mutating import Mutant
from tests.benchmarks.reaching import Child, Copy

FOLDERS = ("tests/measure", "tests/engine", "tests/outside", "tests/sheets", "tests/foreign", "tests/conduct")
SLOW = 20.0  # s: a test that takes longer while its lines are looked at meets no mutant
# whole sessions, locks and processes: slow, and not about the rooms that are changed
LEFT_OUT = ("test_session.py", "test_locks.py", "test_aside.py", "test_attachments.py", "test_resume.py")

Texts = dict[str, list[str]]  # of the files that are changed, by path


class Reached:
    """Which test reaches which line, and how long each takes."""

    def __init__(self, copy: Copy, rooms: Sequence[str], keep: Path) -> None:
        self._kept: dict[str, Any] = {"texts": {}, "files": {}}
        if keep.exists():
            self._kept = json.loads(keep.read_text(encoding="utf-8"))
        self.seconds: dict[str, float] = {}
        self.tests: dict[str, set[str]] = {}
        self.sources: Texts = {
            str(path.relative_to(copy.place)): path.read_text(encoding="utf-8").splitlines()
            for room in rooms
            for path in sorted((copy.place / room).rglob("*.py"))
        }
        now = sha256(json.dumps(self.sources).encode()).hexdigest()
        self._kept["texts"][now] = self.sources
        moved = {then: _moved(texts, self.sources) for then, texts in self._kept["texts"].items()}
        stamps: list[str] = []
        for file in (file for folder in FOLDERS for file in sorted((copy.place / folder).glob("test_*.py"))):
            if file.name in LEFT_OUT:
                continue
            name, stamp = str(file.relative_to(copy.place)), sha256(file.read_bytes()).hexdigest()
            if self._kept["files"].get(name, {}).get("stamp") != stamp:
                self._kept["files"][name] = {"stamp": stamp, "then": now, **_looked_at(copy, name)}
                keep.write_text(json.dumps(self._kept), encoding="utf-8")
            found = self._kept["files"][name]
            stamps.append(stamp)
            self.seconds |= found["seconds"]
            for test, lines in found["lines"].items():
                for line in lines:
                    for here in moved[found["then"]].get(line, ()):
                        self.tests.setdefault(here, set()).add(test)
        self.stamp = sha256("".join(stamps).encode()).hexdigest()[:16]  # of all the tests that there are


def _looked_at(copy: Copy, name: str) -> dict[str, Any]:
    trace = copy.place / "trace.json"
    child = Child(copy, [name], limit=600.0, trace=trace)
    if child.status:
        raise SystemExit(f"{name} fails without a mutant ({child.status}):\n{child.log.read_text()[-3000:]}")
    print(f"{name} looked at in {child.seconds:.0f} s", flush=True)
    found: dict[str, Any] = json.loads(trace.read_text(encoding="utf-8"))
    return found


def _moved(before: Mapping[str, list[str]], after: Mapping[str, list[str]]) -> dict[str, list[str]]:
    """Every line of the text before, as "path:number", with those that stand there now."""
    found: dict[str, list[str]] = {}
    for path in before.keys() & after.keys():
        blocks = SequenceMatcher(None, before[path], after[path], autojunk=False).get_opcodes()
        for how, first, last, begin, end in blocks:
            for line in range(first, last):
                to = [begin + line - first] if how == "equal" else range(max(begin - 1, 0), end)
                found[f"{path}:{line + 1}"] = [f"{path}:{each + 1}" for each in to]
    return found


def _lines(mutant: Mutant, sources: Texts) -> set[str]:
    """The lines a test has to reach to meet a mutant: its statement; for what is worked out on import, where its name is used."""
    tree = ast.parse(mutant.source)
    (first, _), (last, _) = mutant.span
    around = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.stmt) and node.lineno <= first and last <= node.end_lineno
    ]
    decorated = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.ClassDef)
        and any(each.lineno <= first <= each.end_lineno for each in node.decorator_list)
    ]
    inner = decorated[0] if decorated else max(around, key=lambda node: (node.lineno, -node.end_lineno))
    functions = [node for node in around if isinstance(node, ast.FunctionDef)]
    if isinstance(inner, ast.FunctionDef):
        return {f"{mutant.path}:{line}" for line in range(inner.body[0].lineno, inner.end_lineno + 1)}
    if functions and not isinstance(inner, ast.ClassDef):
        body = getattr(inner, "body", None)
        end = body[0].lineno - 1 if body else inner.end_lineno
        return {f"{mutant.path}:{line}" for line in range(inner.lineno, max(end, last) + 1)}
    named = (
        inner.name
        if isinstance(inner, ast.ClassDef)
        else ast.unparse(getattr(inner, "target", None) or inner.targets[0])
    )
    word = re.compile(rf"\b{re.escape(named)}\b")
    return {
        f"{path}:{line}" for path, text in sources.items() for line, each in enumerate(text, 1) if word.search(each)
    }


def chosen(mutant: Mutant, reached: Reached, budget: float) -> list[str]:
    """The tests that reach a mutant, the quickest first, as many as the budget allows."""
    lines = _lines(mutant, reached.sources)
    tests = set().union(*(reached.tests.get(line, set()) for line in lines)) or set(reached.seconds)
    found: list[str] = []
    for test in sorted(tests, key=lambda test: reached.seconds[test]):
        budget -= reached.seconds[test]
        if reached.seconds[test] > SLOW or budget < 0:
            break
        found.append(test)
    return found
