"""A copy of the project to change, and tests run in it, for their outcome or for the lines that they reach.

Tests run in a fork that has the heavy libraries loaded already and nothing of the project: a mutant costs what its tests cost.
"""

from __future__ import annotations

import compileall
import importlib
import json
import os
import shutil
import signal
import sys
import time
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

HEAVY = ("numpy", "scipy.optimize", "scipy.stats", "pandas", "GTC", "pydantic", "ruamel.yaml", "pint", "textual.app")
HEAVY += ("matplotlib.figure", "pyvisa", "jinja2", "pytest", "coverage", "thermocouple_its90")


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
        # that profile has no deadline: a slow machine or a trace is neither a failure nor a catch
        options = ["--hypothesis-profile=ci", "-q", "-p", "no:cacheprovider", f"--basetemp={copy.place / 'temporary'}"]
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
