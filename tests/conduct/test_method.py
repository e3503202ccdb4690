"""Evaluating again says what has changed, and why."""

import json

from runner.cli import main
from runner.evaluation.provenance import DECIDES, changes, digest, without_comments
from tests.builders import short_rehearsal


def test_evaluating_again_says_that_nothing_has_changed(tmp_path, capsys):
    folder = short_rehearsal(tmp_path).result.folder.path
    assert main(["evaluate", str(folder)]) == 0
    assert "no change since the last evaluation" in capsys.readouterr().out


def test_findings_of_another_measurement_are_told_from_todays(tmp_path, capsys):
    folder = short_rehearsal(tmp_path).result.folder.path
    content = json.loads((folder / "findings.json").read_text())
    assert content["method"] == digest()
    content["method"], content["version"] = "0" * 64, "0.0.9"
    content["findings"][0]["value"] += 1.0
    content["findings"][1]["conformity"] = "fail"
    (folder / "findings.json").write_text(json.dumps(content))
    main(["evaluate", str(folder)])
    said = capsys.readouterr().out
    assert "the measurement has changed: 000000000000 then" in said
    assert "version 0.0.9 then" in said
    assert "trip T1: " in said
    assert "release T1: fail → pass" in said


def test_a_change_far_below_the_uncertainty_is_none(tmp_path):
    run = short_rehearsal(tmp_path)
    now = run.result.evaluation.as_json()
    then = json.loads(json.dumps(now))
    then["findings"][0]["value"] += 0.01 * then["findings"][0]["expanded_uncertainty"]
    assert changes(then, now) == []


def test_other_evidence_under_the_same_measurement_is_said_to_be_that(tmp_path):
    run = short_rehearsal(tmp_path)
    now = run.result.evaluation.as_json()
    then = json.loads(json.dumps(now))
    then["findings"] = then["findings"][:1]
    assert changes(then, now)[0] == "the measurement is the same: the evidence or the inputs have changed"
    assert changes(then, now)[1] == "release T1: new"


def test_evaluating_again_without_a_difference_writes_nothing(tmp_path):
    folder = short_rehearsal(tmp_path).result.folder.path
    path = folder / "findings.json"
    content = json.loads(path.read_text())
    content["method"], content["version"] = "0" * 64, "0.0.9"
    path.write_text(json.dumps(content))
    before = path.read_bytes(), path.stat().st_mtime_ns
    main(["evaluate", str(folder)])
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


SOURCE = '''"""What it is."""

LIMIT = 2.0  # s: how long

def double(x):
    """Twice."""

    return x * LIMIT
'''


def test_a_changed_comment_is_no_new_method_and_a_changed_number_is():
    said_better = (
        SOURCE.replace("how long", "how long it takes")
        .replace("Twice.", "Two times x.")
        .replace("\n\n    return", "\n    return")
    )
    assert without_comments(said_better) == without_comments(SOURCE)
    assert without_comments(SOURCE.replace("2.0", "3.0")) != without_comments(SOURCE)
    assert without_comments(SOURCE.replace("x * LIMIT", "x + LIMIT")) != without_comments(SOURCE)


def test_the_method_holds_what_decides_a_finding():
    """What is imported between record and findings is in the digest, or decides nothing."""
    from pathlib import Path

    import runner

    for name in DECIDES:
        assert (Path(runner.__file__).parent / name).exists(), name
    assert {"evaluation", "measure", "sheets", "vocabulary.py", "engine/watch"} <= set(DECIDES)
