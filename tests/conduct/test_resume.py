"""A run that breaks off at any instant goes on in its own folder, and ends with the same findings within their uncertainty.

Breaking off is played as the worst there is: what is on disk at that instant is all there is, the last line perhaps torn, and
somebody has switched supply and load off. The benchmark tests/benchmarks/resume_anywhere.py does the same 50 times.
"""

import shutil

import pytest

from runner.cli import main
from tests.broken_off import Broken, broken_run, gone_on
from tests.builders import SHORT_PROCEDURE, quick_capacity, short_rehearsal, user_file


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A run that nothing broke off."""
    return short_rehearsal(tmp_path_factory.mktemp("whole"))


@pytest.mark.parametrize("instant", [3.0, 75.0, 140.0, 200.0, 290.0])
def test_a_ramp_that_breaks_off_is_done_again_from_its_sensors_beginning(tmp_path, whole, instant):
    broken = broken_run(tmp_path / "broken", user_file("short.yaml", SHORT_PROCEDURE), instant)
    evaluation = gone_on(broken).evaluation
    for name in ("trip", "release"):
        one, other = whole.finding(name), next(each for each in evaluation.findings if each.name == name)
        assert other.conformity == "pass"
        assert (
            abs(one.value - other.value) <= 1.5 * (one.expanded_uncertainty**2 + other.expanded_uncertainty**2) ** 0.5
        )
    assert not broken.world.supply_on


@pytest.mark.parametrize("instant", [200.0, 3600.0])
def test_a_discharge_that_breaks_off_goes_on_and_its_charge_is_whole(tmp_path, instant):
    broken = broken_run(tmp_path, quick_capacity(), instant, state_of_charge=0.98, sensors=())
    taken = broken.world.charge_total
    result = gone_on(broken)
    found = {each.name: each for each in result.evaluation.findings}
    capacity = found["capacity"]
    assert capacity.value is not None, capacity.reason
    drawn = broken.world.charge_total
    assert abs(capacity.value - drawn) <= 1.5 * capacity.expanded_uncertainty + 40.0, "a second at 40 A may be missing"
    assert drawn < 1.1 * broken.world.truth.pack.capacity, "no second full discharge"
    assert taken <= drawn
    assert found["trip"].conformity == "pass"


def test_what_was_torn_is_cut_off_and_the_chain_of_the_journal_goes_on(tmp_path):
    from runner.record.journal import read_journal

    broken = broken_run(tmp_path, user_file("short.yaml", SHORT_PROCEDURE), 100.0)
    journal = broken.folder.path / "events.jsonl"
    journal.write_bytes(journal.read_bytes()[:-7])
    samples = broken.folder.path / "samples.csv"
    samples.write_bytes(samples.read_bytes()[:-3])
    result = gone_on(broken)
    kinds = [type(entry.what).__name__ for entry in read_journal(journal)]
    assert kinds.count("Started") == 1
    assert kinds.count("Resumed") == 1
    assert not result.outcome.early
    assert any("continued after a break" in say for _, say in result.evaluation.story.remarks)


def test_a_run_that_reached_its_end_is_not_gone_on_with(tmp_path, capsys):
    run = short_rehearsal(tmp_path)
    assert main(["resume", str(run.result.folder.path)]) == 2
    assert "the run is complete" in capsys.readouterr().err


def test_a_folder_that_holds_no_run_says_so(tmp_path, capsys):
    assert main(["resume", str(tmp_path)]) == 2
    assert "events.jsonl" in capsys.readouterr().err


def test_a_break_does_not_count_against_the_time_of_a_run(tmp_path):
    broken = broken_run(tmp_path, user_file("short.yaml", SHORT_PROCEDURE), 100.0)
    result = gone_on(broken, after=6 * 3600.0)
    assert not result.outcome.early, result.outcome.reason


def test_the_folder_of_a_broken_run_can_be_evaluated_as_it_is(tmp_path):
    from runner.evaluation.evaluate import evaluate
    from runner.vocabulary import Exit

    broken = broken_run(tmp_path, user_file("short.yaml", SHORT_PROCEDURE), 100.0)
    evaluation = evaluate(broken.folder)
    assert evaluation.exit_status == Exit.ENDED_EARLY
    assert evaluation.as_json()["ended_early"] == "the record is incomplete (no end entry)"


def test_a_session_goes_on_where_it_stood(tmp_path):
    """The second procedure of a session broke off: the first is left as it is."""
    assert Broken is not None
    assert main(["rehearse", "arrival", "inspection", "--unattended", "--out", str(tmp_path)]) == 0
    (session,) = tmp_path.iterdir()
    shutil.copytree(session, tmp_path / "copy")
    assert main(["resume", str(session)]) == 2  # its simulated bench went with it; the files say so
