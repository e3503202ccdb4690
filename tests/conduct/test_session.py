"""A whole session on the simulated bench, held against the truth; sessions that break off and go on."""

import json
import math

import pytest

from runner.cli import main
from runner.rehearsal.truth import truth_of
from runner.workspace.job import procedure_names
from runner.workspace.session import state_of_charge_after
from tests.builders import rehearsed
from tests.made_once import made_once


@pytest.fixture(scope="module")
def session(tmp_path_factory):
    """Everything, once: the exit status and the folder."""
    out, status = made_once(
        tmp_path_factory,
        "session",
        lambda out: main(
            ["rehearse", "--all", "--seed", "3", "--sensor", "T1", "--unattended", "--json", "--out", str(out)]
        ),
    )
    (folder,) = out.iterdir()
    return status, folder


def runs(folder):
    return json.loads((folder / "session.json").read_text())["entries"]


def test_the_session_ends_well_with_one_certificate(session):
    status, folder = session
    assert status == 0
    assert (folder / "certificate.html").is_file()
    # measured, and no limit to hold it against, is no pass: a session passes by what is judged
    assert [entry["procedure"] for entry in runs(folder) if (entry["state"], entry["status"]) != ("done", 0)] == []
    assert {entry["procedure"] for entry in runs(folder)} >= set(procedure_names()) - {
        "partial-charge"
    }  # a full pack needs none: below


def test_everything_is_off_after_every_procedure(session):
    _, folder = session
    for entry in runs(folder):
        truth = json.loads((folder / entry["run"] / "truth.json").read_text())
        assert (truth["supply_on"], truth["load_on"]) == (False, False), entry["procedure"]


def test_every_finding_of_the_session_holds_the_truth(session):
    """As often as a coverage of 95 % says: with n findings, no more misses than 1 session in 1000 would have.

    The error of the one probe is in every threshold that was measured with it: one draw, not forty. It is known here and
    taken out; how often its share is held is counted over many packs, in tests/benchmarks/coverage.py.
    """
    _, folder = session
    held, missed = 0, []
    for entry in runs(folder):
        truth = json.loads((folder / entry["run"] / "truth.json").read_text())
        for finding in json.loads((folder / entry["run"] / "findings.json").read_text())["findings"]:
            true = truth_of(finding, truth)
            if true is None or finding["value"] is None:
                continue
            by_probe = "temperature" in finding["protection"] and not entry["procedure"].endswith("-box")
            if by_probe and finding["name"] in ("trip", "release"):
                true += truth["probe_error_K"] + truth["coupling_error_K"]
            inside = abs(finding["value"] - true) <= finding["expanded_uncertainty"]
            held += inside
            if not inside:
                away = abs(finding["value"] - true) / finding["expanded_uncertainty"]
                missed.append((entry["procedure"], finding["name"], finding["sensor"], round(away, 2)))
    assert held > 35
    count = held + len(missed)
    assert len(missed) <= 0.05 * count + 3.1 * math.sqrt(0.05 * 0.95 * count), missed
    assert all(away < 2 for *_, away in missed), missed


def test_the_certificate_says_of_every_protection_and_sensor_whether_it_was_tested(session):
    _, folder = session
    page = (folder / "certificate.html").read_text()
    for words in ("charge over-temperature", "discharge under-temperature", "over-voltage", "charge over-current"):
        assert words in page
    rows = [row for row in page.split("<tr>") if "○ not tested" in row]
    assert len(rows) == 4, "the four temperature protections through the sensor that was not asked for"
    assert all(">T2<" in row for row in rows)
    assert "invented" in page


def test_the_first_page_shows_what_was_found_through_the_sensor_itself_not_with_a_decade_box_in_its_place(session):
    _, folder = session
    first = (folder / "certificate.html").read_text().partition("Details:")[0]
    for entry in runs(folder):
        if entry["procedure"].removesuffix("-box").endswith("-temperature"):
            findings = json.loads((folder / entry["run"] / "findings.json").read_text())["findings"]
            (trip,) = [each["value"] for each in findings if each["name"] == "trip"]
            shown = f"trip {trip:.2f} ±".replace("-", "−")
            assert (shown in first) != entry["procedure"].endswith("-box"), (entry["procedure"], shown)


def test_the_state_of_charge_is_carried_from_one_procedure_to_the_next(tmp_path):
    from runner.workspace.job import find_procedure

    part = rehearsed(tmp_path / "a", procedure=find_procedure("partial-charge"), sensors=(), state_of_charge=0.05)
    assert state_of_charge_after(part.result.evaluation, 0.05) == pytest.approx(0.55, abs=0.01)
    full = rehearsed(tmp_path / "b", procedure=find_procedure("full-charge"), sensors=(), state_of_charge=0.95)
    assert state_of_charge_after(full.result.evaluation, None) == pytest.approx(1.0, abs=0.001)
    empty = rehearsed(tmp_path / "c", procedure=find_procedure("under-voltage"), sensors=(), state_of_charge=0.1)
    assert state_of_charge_after(empty.result.evaluation, 0.1) == pytest.approx(0.0, abs=0.005)


def test_a_plan_is_said_and_nothing_is_done(tmp_path, capsys):
    assert main(["rehearse", "--all", "--plan", "--out", str(tmp_path / "none")]) == 0
    said = capsys.readouterr().out
    assert "PLAN: 17 procedures" in said
    assert not (tmp_path / "none").exists()


def test_a_bench_by_hand_says_what_it_excludes(tmp_path, capsys):
    assert main(["rehearse", "--all", "--plan", "--by-hand", "--out", str(tmp_path)]) == 0
    assert "left out: needs load with an address" in capsys.readouterr().out


def test_several_runs_of_one_pack_make_one_certificate_and_of_two_packs_none(tmp_path, capsys):
    for name in ("arrival", "inspection"):
        assert main(["rehearse", name, "--unattended", "--out", str(tmp_path / "one")]) == 0
    one = sorted((tmp_path / "one").iterdir())
    assert main(["certificate", *map(str, one)]) == 0
    own = (one[0] / "certificate.html").read_text()
    assert "2 procedures on one pack" not in own, "a run keeps its certificate under its own number"
    joint = tmp_path / "one" / f"{one[1].name}-and-1-more"
    page = (joint / "certificate.html").read_text()
    assert "2 procedures on one pack" in page
    assert joint.name in page
    other = tmp_path / "other.yaml"
    from runner.workspace.job import DEMO_PACK

    other.write_text(DEMO_PACK.read_text().replace("serial: TI-0417", "serial: TI-0418"))
    assert main(["rehearse", "arrival", "--unattended", "--pack", str(other), "--out", str(tmp_path / "two")]) == 0
    (two,) = (tmp_path / "two").iterdir()
    assert main(["certificate", str(one[0]), str(two)]) == 2
    assert "different packs" in capsys.readouterr().err


def test_a_session_file_that_is_broken_says_so(tmp_path, capsys):
    (tmp_path / "session.json").write_text('{"schema": 1}')
    assert main(["resume", str(tmp_path)]) == 2
    assert "is not a session" in capsys.readouterr().err


def test_a_procedure_that_is_left_out_on_request_is_named_with_that_reason_and_moves_no_charge(capsys):
    how = ["rehearse", "--all", "--plan", "--nothing-wired"]
    assert main(how) == 0
    assert main([*how, "--without", "capacity", "--without", "charge-over-temperature"]) == 0
    before, after = capsys.readouterr().out.split("PLAN:")[1:]
    begun = {line.split()[1] for line in before.splitlines() if line[:5].strip().isdigit()}
    left = {line.split()[1] for line in after.splitlines() if line[:5].strip().isdigit()}
    assert begun - left >= {"capacity", "charge-over-temperature"}
    assert after.count("left out: on request") == 2


def test_without_is_for_all_alone_and_for_procedures_that_there_are(capsys):
    assert main(["rehearse", "capacity", "--plan", "--without", "meters"]) == 2
    assert "--without only says what --all leaves out" in capsys.readouterr().err
    assert main(["rehearse", "--all", "--plan", "--without", "nothing-like-it"]) == 2
    assert "nothing-like-it" in capsys.readouterr().err


def test_a_procedure_left_out_at_its_cells_lets_the_session_go_on(tmp_path, capsys):
    script = tmp_path / "answers.yaml"
    script.write_text(
        "kind: answers\nby: Ada\nanswers: [go on, go on, not seen]\nthen: go on\nleave_out: no cell meter\n"
    )
    how = ["--as-given", "--speed", "max", "--plain", "--answers", str(script), "--out", str(tmp_path)]
    assert main(["rehearse", "over-voltage", "inspection", *how]) == 3
    (folder,) = tmp_path.glob("*-session")
    left, done = runs(folder)
    assert (left["state"], done["state"]) == ("left out", "done")
    assert left["why"] == "not accepted by Ada: no cell meter (spread of the cells not seen)"
    assert "cells not seen" in (folder / "certificate.html").read_text()
