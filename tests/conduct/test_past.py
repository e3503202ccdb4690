"""Past runs: listed, compared, followed over time; what cannot be read is named."""

import math

import pytest

from runner.measure.finding import Finding
from runner.workspace.archive import beside, over_time, past_runs
from tests.screen.kept_runs import MISSING, TRIP, three

KEY = ("charge_over_temperature", "trip", "T1")


def test_runs_are_listed_newest_first_those_of_a_session_among_them(tmp_path):
    runs, unreadable = past_runs(three(tmp_path))
    assert [(run.serial, run.day[:10]) for run in runs] == [
        ("TI-0502", "2026-06-02"),
        ("TI-0417", "2026-06-01"),
        ("TI-0417", "2024-06-01"),
    ]
    assert unreadable == []


def test_a_folder_that_cannot_be_read_is_named_and_hides_no_other(tmp_path):
    three(tmp_path)
    broken = tmp_path / "20240601-120000-TI-0417-charge-over-temperature" / "findings.json"
    broken.write_text("{")
    runs, unreadable = past_runs(tmp_path)
    assert len(runs) == 2
    assert len(unreadable) == 1
    assert str(broken) in unreadable[0]


def test_no_directory_is_no_runs(tmp_path):
    assert past_runs(tmp_path / "nothing") == ([], [])


@pytest.mark.parametrize(
    ("words", "count"),
    [("", 3), ("0417", 2), ("TI-0502 fail", 1), ("2026-06", 2), ("over measured", 2), ("capacity", 0)],
)
def test_the_search_wants_every_word(tmp_path, words, count):
    assert sum(run.has(words) for run in past_runs(three(tmp_path))[0]) == count


def test_findings_come_back_from_json_as_they_were():
    for finding in (TRIP, MISSING):
        assert Finding.from_json(finding.as_json()) == finding
    assert math.isinf(Finding.from_json(TRIP.as_json()).budget[0].dof)


def test_two_runs_side_by_side_and_whether_they_differ(tmp_path):
    new, middle, old = past_runs(three(tmp_path))[0]
    pair = beside(old, middle)[0]
    assert pair.difference == pytest.approx(0.80)
    assert pair.differs  # 0.80 against √2 · 0.36 = 0.51
    assert beside(old, old)[0].differs is False
    assert beside(old, new)[1].differs is None  # not measured in either


def test_a_threshold_over_the_years_is_of_one_pack_only(tmp_path):
    runs, _ = past_runs(three(tmp_path))
    found = over_time(runs, "TI-0417", KEY)
    assert [finding.value for _, finding in found] == [54.62, 55.42]
