"""Packs that deserve to fail, and those that do not, through the whole program; the simulated bench knows the truth."""

import json

import pytest

from runner.conduct.interfaces import StopFlag
from runner.evaluation.evaluate import evaluate
from runner.events import PROBE_TEMPERATURE
from runner.orders import Conclude
from runner.record.journal import read_journal
from runner.record.samples import as_events, read_samples
from tests.builders import rehearsed, short_rehearsal

KIND = "charge_over_temperature"


def outcomes(run):
    return [
        entry.what.outcome
        for entry in read_journal(run.result.folder.path / "events.jsonl")
        if isinstance(entry.what, Conclude)
    ]


def test_a_sound_pack_passes_and_its_true_thresholds_lie_near(tmp_path):
    run = rehearsed(tmp_path, seed=3)
    for name in ("trip", "release"):
        finding, true = run.finding(name), run.truth["thresholds"][KIND]["T1"][name]
        assert finding.conformity == "pass"
        # 1.5 U: this is a test of the program; how often U itself holds is counted in tests/benchmarks
        assert abs(finding.value - true) < 1.5 * finding.expanded_uncertainty
    lag = run.truth["sensor_lag_s"]["T1"] - run.truth["probe_lag_s"]
    protection = run.truth["protections"][KIND]
    # the pack looks every polling second and acts at the first look after its delay has gone by
    delay = protection["polling"] * -(-protection["delay"] // protection["polling"]) + protection["polling"] / 2
    slope = run.finding("delay and lag")
    assert abs(slope.value - lag - delay) < 2 * slope.expanded_uncertainty
    assert run.result.evaluation.exit_status == 0
    assert outcomes(run) == ["stopped", "returned"] * 3


def test_a_threshold_six_kelvin_too_high_fails(tmp_path):
    run = rehearsed(tmp_path, "trips-late")
    assert run.finding("trip").conformity == "fail"
    assert run.finding("trip").value == pytest.approx(run.truth["thresholds"][KIND]["T1"]["trip"], abs=0.6)
    assert run.finding("release").conformity == "pass"
    assert run.result.evaluation.exit_status == 1


def test_a_pack_without_protection_is_stopped_by_the_give_up_limit_and_fails(tmp_path):
    run = rehearsed(tmp_path, "no-protection")
    trip = run.finding("trip")
    assert (trip.conformity, trip.value, trip.reason) == ("fail", None, "did not trip by 63.0 °C")
    assert run.result.evaluation.exit_status == 1
    assert outcomes(run) == ["gave up"]
    assert run.result.evaluation.recording.of(PROBE_TEMPERATURE).value.max() < 64.0


def test_a_full_pack_that_tapers_is_not_measured_and_never_a_trip(tmp_path):
    run = rehearsed(tmp_path, "nearly-full")
    assert run.finding("trip").conformity == "not measured"
    assert run.finding("release").conformity == "not measured"
    assert "stopped" not in outcomes(run)
    assert run.result.evaluation.exit_status == 3


def test_a_pack_that_latches_fails_its_release_and_keeps_its_trip(tmp_path):
    run = rehearsed(tmp_path, "no-release")
    assert run.finding("release").conformity == "fail"
    assert run.finding("release").reason == "did not release by 35.0 °C"
    assert run.finding("trip").value is not None


@pytest.mark.long
def test_one_bad_sensor_of_two_fails_the_pack(tmp_path):
    run = rehearsed(tmp_path, "one-bad-sensor", sensors=())
    assert run.finding("trip", "T1").conformity == "pass"
    assert run.finding("trip", "T2").conformity == "fail"
    assert run.result.evaluation.conformity == "fail"


def test_a_lead_that_comes_off_is_no_trip(tmp_path):
    run = rehearsed(tmp_path, "lead-off")
    assert run.finding("trip").conformity == "not measured"
    assert "a lead is off" in run.finding("trip").reason
    assert not [change for change in run.truth["changes"] if change["kind"] == KIND]


def test_lone_bad_readings_change_nothing(tmp_path):
    run = rehearsed(tmp_path, "probe-dropouts")
    assert run.result.evaluation.exit_status == 0
    assert any(
        "supply_current_A" in each.lost for each in as_events(read_samples(run.result.folder.path / "samples.csv"))
    )


def test_the_same_seed_gives_the_same_run(tmp_path):
    one, two = short_rehearsal(tmp_path / "a"), short_rehearsal(tmp_path / "b")
    assert (one.result.folder.path / "samples.csv").read_bytes() == (
        two.result.folder.path / "samples.csv"
    ).read_bytes()
    assert one.truth == two.truth


def test_an_evaluation_of_the_folder_gives_the_same_findings_again(tmp_path):
    run = short_rehearsal(tmp_path)
    first = (run.result.folder.path / "findings.json").read_text()
    again = evaluate(run.result.folder)
    assert [finding.as_json() for finding in again.findings] == [
        finding.as_json() for finding in run.result.evaluation.findings
    ]
    assert (run.result.folder.path / "findings.json").read_text() == first


def test_findings_json_is_what_other_programs_rely_on(tmp_path):
    run = short_rehearsal(tmp_path)
    content = json.loads((run.result.folder.path / "findings.json").read_text())
    assert content["schema"] == 1
    assert content["run"] == run.result.folder.path.name
    assert content["simulated"] is True
    finding = content["findings"][0]
    contract = {
        "name", "protection", "sensor", "value", "unit", "expanded_uncertainty", "coverage_factor", "coverage", "dof", "expected",
        "lower", "upper", "conformity", "probability", "rule", "repeats", "budget", "caveats",
    }  # fmt: skip
    assert contract <= set(finding)
    assert {"source", "value", "distribution", "sensitivity", "contribution", "dof"} <= set(finding["budget"][0])


def test_the_truth_is_written_beside_the_evidence_of_a_rehearsal(tmp_path):
    run = short_rehearsal(tmp_path, stop=StopFlag())
    truth = json.loads((run.result.folder.path / "truth.json").read_text())
    assert truth["thresholds"][KIND]["T1"]["trip"] == run.truth["thresholds"][KIND]["T1"]["trip"]
