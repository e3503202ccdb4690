"""A copy of the project to change, tests run in it, and which test reaches which line.

Tests run in a fork that has the heavy libraries loaded already and nothing of the project: a mutant costs what its tests cost.
"""

from __future__ import annotations

import ast
import compileall
import importlib
import json
import os
import re
import shutil
import signal
import sys
import time
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.benchmarks.mutating import Mutant

HEAVY = ("numpy", "scipy.optimize", "scipy.stats", "pandas", "GTC", "pydantic", "ruamel.yaml", "pint", "textual.app")
HEAVY += ("matplotlib.figure", "pyvisa", "jinja2", "pytest", "coverage", "thermocouple_its90")
FOLDERS = ("tests/measure", "tests/engine", "tests/outside", "tests/sheets", "tests/conduct")
SLOW = 12.0  # s: a test that takes longer while its lines are looked at meets no mutant
# whole sessions, locks and processes: slow, and not about the rooms that are changed
LEFT_OUT = ("test_session.py", "test_locks.py", "test_aside.py", "test_attachments.py", "test_resume.py")


class Copy:
    """The project in another place. A mutant is in it only while its tests run."""

    def __init__(self, root: Path, place: Path) -> None:
        self.root, self.place = root, place
        skip = shutil.ignore_patterns("__pycache__", "goldens", "pictures", ".hypothesis")
        for name in ("runner", "reports", "tests", "procedures"):
            shutil.copytree(root / name, place / name, ignore=skip)
        for name in ("pyproject.toml", "README.md"):
            shutil.copy(root / name, place / name)
        compileall.compile_dir(place / "runner", quiet=2)

    @contextmanager
    def changed(self, path: str, text: str) -> Iterator[None]:
        """Another text in a file; what was compiled of it goes, because its age tells the two apart by seconds only."""
        file = self.place / path
        before = file.read_text(encoding="utf-8")
        for compiled in (file.parent / "__pycache__").glob(f"{file.stem}.*"):
            compiled.unlink()
        file.write_text(text, encoding="utf-8")
        try:
            yield
        finally:
            file.write_text(before, encoding="utf-8")


class Child:
    """A run of pytest in a fork: how it ended, which test failed first, how long it took."""

    def __init__(self, copy: Copy, tests: Sequence[str], limit: float, trace: Path | None = None) -> None:
        """``tests`` in their order, or, to ``trace``, a file as a whole."""
        for name in HEAVY:
            importlib.import_module(name)
        self.log, self.note = copy.place / "log.txt", copy.place / "failed.txt"
        self.note.unlink(missing_ok=True)
        began = time.monotonic()
        pid = os.fork()
        if pid == 0:
            try:
                os._exit(self._inside(copy, tests, trace))
            except BaseException:  # noqa: BLE001  whatever it is, this fork must not go on as its parent
                traceback.print_exc()
                os._exit(99)
        self.status = self._wait(pid, began + limit)
        self.seconds = time.monotonic() - began
        self.failed = self.note.read_text(encoding="utf-8") if self.note.exists() else ""
        if self.status == -signal.SIGKILL:
            self.status, self.failed = 1, "the tests take too long"

    def _wait(self, pid: int, until: float) -> int:
        while time.monotonic() < until:
            done, status = os.waitpid(pid, os.WNOHANG)
            if done:
                return os.waitstatus_to_exitcode(status)
            time.sleep(0.02)
        os.killpg(pid, signal.SIGKILL)
        return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])

    def _inside(self, copy: Copy, tests: Sequence[str], trace: Path | None) -> int:
        import pytest

        os.setsid()
        out = os.open(self.log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(out, 1)
        os.dup2(out, 2)
        os.chdir(copy.place)
        sys.path[:] = [str(copy.place), *(each for each in sys.path if each not in ("", str(copy.root)))]
        for name in [name for name in sys.modules if name.split(".")[0] == "tests"]:
            del sys.modules[name]  # the ones of the copy are meant from here on
        sys.dont_write_bytecode = trace is None
        files = list(dict.fromkeys(test.split("::")[0] for test in tests))
        plugin = Traced(copy, trace) if trace else Chosen(tests, self.note)
        options = ["-q", "-p", "no:cacheprovider", f"--basetemp={copy.place / 'temporary'}"]
        status = int(pytest.main([*options, *([] if trace else ["-x"]), *files], plugins=[plugin]))
        strange = [
            name
            for name, module in sys.modules.items()
            if name.split(".")[0] in ("runner", "tests")
            and not str(getattr(module, "__file__", None) or copy.place).startswith(str(copy.place))
        ]
        return 98 if strange else status


class Chosen:
    """These tests in this order, and a note of the first that fails."""

    def __init__(self, tests: Sequence[str], note: Path) -> None:
        self.order = {test: place for place, test in enumerate(tests)}
        self.note = note

    def pytest_collection_modifyitems(self, items) -> None:
        items[:] = sorted(
            (item for item in items if item.nodeid in self.order), key=lambda item: self.order[item.nodeid]
        )

    def pytest_runtest_logreport(self, report) -> None:
        if report.failed and not self.note.exists():
            self.note.write_text(report.nodeid, encoding="utf-8")


class Traced:
    """Every test with its lines and its time."""

    def __init__(self, copy: Copy, trace: Path) -> None:
        import coverage

        self.trace, self.seconds, self.place = trace, {}, copy.place
        rooms = [f"{copy.place}/runner/{room}/*" for room in ("measure", "engine")]
        self.coverage = coverage.Coverage(data_file=None, include=rooms, config_file=False)
        self.coverage.set_option("run:disable_warnings", ["no-data-collected"])
        self.coverage.start()

    def pytest_runtest_logstart(self, nodeid) -> None:
        self.coverage.switch_context(nodeid)

    def pytest_runtest_logreport(self, report) -> None:
        self.seconds[report.nodeid] = self.seconds.get(report.nodeid, 0.0) + report.duration

    def pytest_sessionfinish(self) -> None:
        self.coverage.stop()
        data = self.coverage.get_data()
        lines: dict[str, list[str]] = {}
        for file in data.measured_files():
            path = str(Path(file).relative_to(self.place))
            for line, contexts in data.contexts_by_lineno(file).items():
                for test in contexts:
                    if test:
                        lines.setdefault(test, []).append(f"{path}:{line}")
        self.trace.write_text(json.dumps({"seconds": self.seconds, "lines": lines}), encoding="utf-8")


class Reached:
    """Which test reaches which line, a test file at a time; kept until that file or the program changes."""

    def __init__(self, copy: Copy, rooms: Sequence[str], keep: Path) -> None:
        known = json.loads(keep.read_text(encoding="utf-8")) if keep.exists() else {}
        program = b"".join(path.read_bytes() for path in sorted((copy.root / "runner").rglob("*.py")))
        self.seconds: dict[str, float] = {}
        self.tests: dict[str, set[str]] = {}
        self.sources = {
            str(path.relative_to(copy.root)): path.read_text(encoding="utf-8").splitlines()
            for room in rooms
            for path in (copy.root / room).rglob("*.py")
        }
        for file in (file for folder in FOLDERS for file in sorted((copy.root / folder).glob("test_*.py"))):
            name = str(file.relative_to(copy.root))
            stamp = sha256(program + file.read_bytes()).hexdigest()
            if file.name in LEFT_OUT:
                continue
            if known.get(name, {}).get("stamp") != stamp:
                trace = copy.place / "trace.json"
                child = Child(copy, [name], limit=600.0, trace=trace)
                if child.status:
                    raise SystemExit(
                        f"{name} fails without a mutant ({child.status}):\n{child.log.read_text()[-3000:]}"
                    )
                known[name] = {"stamp": stamp, **json.loads(trace.read_text(encoding="utf-8"))}
                keep.write_text(json.dumps(known), encoding="utf-8")
                print(f"{name} looked at in {child.seconds:.0f} s", flush=True)
            self.seconds |= known[name]["seconds"]
            for test, lines in known[name]["lines"].items():
                for line in lines:
                    self.tests.setdefault(line, set()).add(test)


def _lines(mutant: Mutant, sources: dict[str, list[str]]) -> set[str]:
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
