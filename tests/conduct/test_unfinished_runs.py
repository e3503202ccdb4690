"""Runs that broke off or go on are among the past runs, with the command that goes on with them."""

import json
import random
import shutil

import pytest

from runner.conduct.resume import how_to_go_on
from runner.workspace.archive import NOT_ENDED, RUNNING, past_runs
from runner.workspace.locks import Locks, is_held
from tests.builders import rehearsed
from tests.cut_records import cut


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return rehearsed(tmp_path_factory.mktemp("run")).result.folder.path


def test_a_run_that_was_killed_is_listed_as_not_ended(run, tmp_path):
    broken, _ = cut(run, tmp_path, random.Random(1))
    (found,), unreadable = past_runs(tmp_path)
    assert unreadable == []
    assert (found.standing, found.statement, found.findings) == (NOT_ENDED, NOT_ENDED, ())
    assert (found.serial, found.pack) == ("TI-0417", "TIM-840")
    assert how_to_go_on(broken) == "", "the simulated bench of a rehearsal is gone"


def test_a_run_at_a_bench_that_broke_off_has_a_command_that_goes_on_with_it(run, tmp_path):
    broken, _ = cut(run, tmp_path, random.Random(1))
    resolved = broken / "inputs" / "resolved.json"
    resolved.write_text(json.dumps({**json.loads(resolved.read_text()), "rehearsed": False}))
    assert how_to_go_on(broken) == f"tripwitness resume {broken}"


def test_a_run_that_another_program_has_is_running_and_nothing_is_taken_from_it(run, tmp_path):
    broken, _ = cut(run, tmp_path, random.Random(2))
    with Locks("a run") as locks:
        locks.folder(broken)
        (found,), _ = past_runs(tmp_path)
        assert found.standing == found.statement == RUNNING
        assert is_held(broken), "and it is held still"
    assert not is_held(broken)


def test_one_that_is_damaged_and_has_no_findings_is_named(run, tmp_path):
    broken, _ = cut(run, tmp_path, random.Random(3))
    (broken / "inputs" / "pack.yaml").write_text("kind: pack\n")
    found, (said,) = past_runs(tmp_path)
    assert found == []
    assert "inputs: is damaged" in said


def test_a_run_that_is_whole_has_nothing_to_go_on_with(run, tmp_path):
    whole = shutil.copytree(run, tmp_path / "whole")
    assert how_to_go_on(whole) == ""
    assert how_to_go_on(tmp_path) == ""
