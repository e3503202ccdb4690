"""A run folder as data frames, for a person in a notebook; the evaluation reads through the same door."""

import pandas as pd
import pytest

from runner.errors import RecordError
from runner.evaluation import open_run
from tests.builders import short_rehearsal


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return short_rehearsal(tmp_path_factory.mktemp("run"))


def test_samples_have_units_utc_and_the_step_that_was_on(run):
    samples = open_run(run.result.folder.path).samples
    assert list(samples.columns[:2]) == ["t_s", "utc"]
    assert {"supply_current_A", "probe_temperature_degC", "supply_mode", "step", "step_title"} <= set(samples.columns)
    passed = (samples["utc"].iloc[-1] - samples["utc"].iloc[0]) / pd.Timedelta(1, "s")
    assert passed == pytest.approx(samples["t_s"].iloc[-1] - samples["t_s"].iloc[0], abs=1e-3)
    assert samples["step"].is_monotonic_increasing
    heated = samples[samples["step_title"].str.startswith("Heat")]
    assert heated["probe_temperature_degC"].max() > 50


def test_the_current_of_a_step_is_a_line(run):
    samples = open_run(str(run.result.folder.path)).samples
    assert samples.groupby("step")["supply_current_A"].median().max() == pytest.approx(4.0, rel=0.01)


def test_events_and_findings(run):
    opened = open_run(run.result.folder.path)
    assert set(opened.events["kind"]) == {"event", "order"}
    concluded = opened.events[opened.events["name"] == "Conclude"]
    assert [each["outcome"] for each in concluded["says"]] == ["stopped", "returned"]
    findings = opened.findings.set_index("name")
    assert findings.loc["trip", "value"] == run.finding("trip").value
    assert findings.loc["trip", "unit"] == "°C"


def test_what_is_no_run_is_said(tmp_path):
    with pytest.raises(RecordError, match=r"events\.jsonl"):
        open_run(tmp_path)
