"""Run folders of an earlier method: read, evaluated and certified; what is stated otherwise today is said, and holds what was stated.

The archive holds a run, a run with a thermometer in the hand, and a session of three, as the program of 26 November 2026 left
them (invented packs on the simulated bench).
"""

import json
import zipfile
from pathlib import Path

import pytest

from runner.cli import main
from runner.evaluation.provenance import SIGNIFICANT

ARCHIVE = Path(__file__).parents[1] / "data" / "runs_of_november_2026.zip"
RUNS = ["single", "by-hand", "arrival", "discharge-over-current", "charge-over-temperature-box"]
SAME = ("name", "protection", "sensor", "unit", "lower", "upper", "reason")


@pytest.fixture
def folders(tmp_path):
    with zipfile.ZipFile(ARCHIVE) as archive:
        archive.extractall(tmp_path)
    return tmp_path


def folder_of(place, name):
    (found,) = [path.parent for path in place.rglob("events.jsonl") if path.parent.name.endswith(name)]
    return found


@pytest.mark.parametrize("name", RUNS)
def test_an_old_run_is_evaluated_with_the_method_of_today_and_every_difference_is_said(folders, name, capsys):
    """Since then: a sensor of unknown lag may lag by 45 s, coupling has parts, packs have noise, a delay may be a timer's."""
    folder = folder_of(folders, name)
    before = json.loads((folder / "findings.json").read_text())["findings"]
    assert main(["evaluate", str(folder)]) in (0, 3)
    said = capsys.readouterr().out
    after = json.loads((folder / "findings.json").read_text())["findings"]
    for then, now in zip(before, after, strict=True):
        assert [then[key] for key in SAME] == [now[key] for key in SAME]
        if then["value"] is None:
            continue
        assert abs(then["value"] - now["value"]) <= now["expanded_uncertainty"], "today's interval holds it"
        assert now["expanded_uncertainty"] > 0.99 * then["expanded_uncertainty"]
        name = f"{then['name']} {then['sensor'] or ''}".strip()
        changed = abs(then["value"] - now["value"]) > SIGNIFICANT * now["expanded_uncertainty"]
        assert (f"{name}: {then['value']:g} ± " in said) or not changed
        assert (f"{name}: {then['conformity']} → {now['conformity']}" in said) is (
            then["conformity"] != now["conformity"]
        )


def test_an_old_run_and_an_old_session_are_certified(folders, capsys):
    assert main(["certificate", str(folder_of(folders, "single"))]) == 0
    assert "certificate" in capsys.readouterr().out
    assert main(["certificate", str(folders / "session")]) == 0
    assert (folders / "session" / "certificate.html").is_file()
