"""What the import contracts cannot see: what is really loaded, and what a pure room really touches."""

import ast
import importlib.util
import json
import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

HEAVY = {
    "pandas",
    "scipy",
    "matplotlib",
    "weasyprint",
    "pint",
    "GTC",
    "pyvisa",
    "textual",
    "numpy",
    "pydantic",
    "jinja2",
    "ruamel",
}

OURS = ("tests", "runner", "reports")


def fresh(code):
    """What a fresh interpreter prints as JSON."""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    return json.loads(done.stdout.splitlines()[-1])


def loaded_after(code):
    return set(fresh(f"{code}\nimport sys, json; print(json.dumps(sorted({{m.split('.')[0] for m in sys.modules}})))"))


def test_help_loads_nothing_heavy():
    assert not HEAVY & loaded_after("import runner.cli as c\ntry: c.main(['--help'])\nexcept SystemExit: pass")


def test_the_engine_loads_no_terminal_instrument_or_number_library():
    assert not {"textual", "pyvisa", "numpy", "pandas", "scipy"} & loaded_after(
        "import runner.engine.run, runner.engine.view"
    )


def test_the_simulated_bench_loads_nothing_of_what_it_tests():
    loaded = fresh(
        "import runner.twin.server, sys, json; print(json.dumps([m for m in sys.modules if m.startswith('runner.')]))"
    )
    assert {each.split(".")[1] for each in loaded} == {"twin"}


def test_the_pure_rooms_open_no_file_and_no_socket():
    code = """
import json, sys
import runner.engine.run, runner.measure.findings, runner.sheets.procedure, GTC, scipy.stats
sys.path.insert(0, '.')
from tests.builders import PACK, BENCH, SHORT_PROCEDURE, sample
from tests.measure.test_threshold import ramps, declared, findings
from runner.sheets.bench import parse_bench
from runner.sheets.pack import parse_pack
from runner.sheets.procedure import parse_procedure
from runner.notation.source import read
from runner.engine.planner import plan
from runner.engine.run import Run
from runner.events import Answered, Started
parse_pack(PACK, 'p')  # warm: the unit library reads its own definitions once
findings(ramps([1, 2, 3]), declared())
seen = []
sys.addaudithook(lambda event, args: seen.append((event, str(args[0]))) if event in ('open', 'socket.connect', 'os.listdir', 'subprocess.Popen') else None)
texts = (SHORT_PROCEDURE, PACK, BENCH.format(port=1))
sheets = (parse_procedure(texts[0], 'f'), parse_pack(texts[1], 'p'), parse_bench(texts[2], 'b'))
run = Run(plan(*sheets, tuple(read(text, 'x') for text in texts), as_it_was=False))
run.receive(Started(0.0, ''))
run.receive(Answered(1.0, 'cautions', 'go on', 'me'))
for index in range(100): run.receive(sample(2.0 + index, temperature=25.0))
findings(ramps([1, 2, 3]), declared())
print(json.dumps(seen))
"""
    assert fresh(code) == []


@pytest.mark.parametrize(
    "module",
    [
        "runner.cli",
        "runner.launcher",
        "runner.screen.app",
        "reports.certificate",
        "runner.bench.checks.self_check",
        "runner.rehearsal.serve",
    ],
)
def test_every_room_can_be_imported_by_itself(module):
    assert fresh(f"import {module}, json; print(json.dumps(1))") == 1


def test_no_module_comes_round_to_itself():
    """Imports inside functions count too: two files that know each other are one idea in two places."""
    root = Path(__file__).parents[1]
    files = {
        ".".join(path.relative_to(root).with_suffix("").parts).removesuffix(".__init__"): path
        for room in ("runner", "reports")
        for path in (root / room).rglob("*.py")
    }
    imports = {name: imported(path) & set(files) - {name} for name, path in files.items()}
    assert list(TopologicalSorter(imports).static_order())


def imported(path):
    """The modules that a file imports, but for those it needs for types only."""
    found, only_types = set(), set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            only_types |= {id(each) for each in ast.walk(node)}
    for node in ast.walk(tree):
        if id(node) in only_types:
            continue
        if isinstance(node, ast.Import):
            found |= {each.name for each in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{each.name}" for each in node.names)}
    return found


def test_no_folder_holds_more_than_sixteen_modules():
    root = Path(__file__).parents[1]
    folders = {path.parent for room in ("runner", "reports") for path in (root / room).rglob("*.py")}
    assert {folder.name: n for folder in folders if (n := len(list(folder.glob("*.py")))) > 16} == {}


def test_what_the_benchmarks_import_inside_their_functions_is_there():
    """They run on demand; a name that has moved would be found out only then."""
    missing = []
    for path in sorted((Path(__file__).parent / "benchmarks").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom) and (node.module or "").partition(".")[0] in (
                "tests",
                "runner",
                "reports",
            ):
                try:
                    module = importlib.import_module(node.module)
                except ModuleNotFoundError as error:
                    assert (error.name or "").partition(".")[0] not in OURS, path.name
                    continue  # a library that is installed for this benchmark only
                names = [each.name for each in node.names]
                missing += [
                    f"{path.name}:{node.lineno}: {node.module}.{name}"
                    for name in names
                    if not hasattr(module, name) and importlib.util.find_spec(f"{node.module}.{name}") is None
                ]
    assert missing == []
