"""What is needed at once is there at once: nothing heavy is imported for help, a check or the first screen."""

import subprocess
import sys

import pytest

HEAVY = ("pandas", "matplotlib", "weasyprint", "GTC", "pyvisa", "scipy.stats", "scipy.optimize", "jinja2")
HELP = "from runner.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass"
CHECK = "from runner.cli import main\nmain(['check', 'procedures/capacity.yaml'])"


@pytest.mark.parametrize(
    ("code", "unwanted"),
    [
        (HELP, (*HEAVY, "textual", "pydantic", "ruamel", "numpy")),
        (CHECK, (*HEAVY, "textual")),
        ("import runner.start_menu", (*HEAVY, "pydantic", "ruamel", "numpy")),
    ],
    ids=["--help", "check", "first screen"],
)
def test_nothing_heavy_is_imported(code, unwanted):
    asked = f"{code}\nimport sys\nprint('FOUND', *(name for name in {unwanted!r} if name in sys.modules))"
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "FOUND"
