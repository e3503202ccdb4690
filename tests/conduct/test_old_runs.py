"""Run folders made before the rooms were divided: read, evaluated and certified, and every printed figure is what it was.

The archive holds a run, a run with a thermometer in the hand, and a session of three, as the program of 26 November 2026 left
them (invented packs on the simulated bench).
"""

import json
import zipfile
from pathlib import Path

import pytest

from runner.cli import main
from runner.evaluation.evaluate import evaluate
from runner.record.folder import RunFolder

ARCHIVE = Path(__file__).parents[1] / "data" / "runs_of_november_2026.zip"
RUNS = ["single", "by-hand", "arrival", "discharge-over-current", "charge-over-temperature-box"]
COMPARED = (
    "name",
    "protection",
    "sensor",
    "value",
    "unit",
    "expanded_uncertainty",
    "lower",
    "upper",
    "conformity",
    "reason",
)


@pytest.fixture
def folders(tmp_path):
    with zipfile.ZipFile(ARCHIVE) as archive:
        archive.extractall(tmp_path)
    return tmp_path


def folder_of(place, name):
    (found,) = [path.parent for path in place.rglob("events.jsonl") if path.parent.name.endswith(name)]
    return found


def compared(findings):
    return [{key: each[key] for key in COMPARED if key != "expanded_uncertainty"} for each in findings]


def intervals(findings):
    return [each["expanded_uncertainty"] for each in findings if each["value"] is not None]


@pytest.mark.parametrize("name", RUNS)
def test_an_old_run_is_evaluated_to_the_same_findings(folders, name):
    folder = folder_of(folders, name)
    before = json.loads((folder / "findings.json").read_text())
    evaluation = evaluate(RunFolder(folder))
    after = json.loads((folder / "findings.json").read_text())
    assert compared(after["findings"]) == compared(before["findings"])
    # then, few degrees of freedom widened the normal parts by a factor; now they have Student's distribution: 0.3 % at most here
    assert intervals(after["findings"]) == pytest.approx(intervals(before["findings"]), rel=0.004)
    assert after["conformity"] == before["conformity"] == evaluation.conformity


def test_an_old_run_and_an_old_session_are_certified(folders, capsys):
    assert main(["certificate", str(folder_of(folders, "single"))]) == 0
    assert "certificate" in capsys.readouterr().out
    assert main(["certificate", str(folders / "session")]) == 0
    assert (folders / "session" / "certificate.html").is_file()
