"""What a kill leaves of a record has no seal, is whole up to its last line, and is whole and sealed when the run was resumed.

Real kills: tests/faults/test_kills.py. Fifty cuts: tests/benchmarks/cut_short.py.
"""

import random
from dataclasses import replace

import pytest

from runner.cli import main
from runner.seal.sealing import seal_session
from runner.seal.signers import known
from runner.seal.verify import verify
from runner.vocabulary import Exit
from runner.workspace.job import DEMO_PACK
from runner.workspace.session import Session
from tests.builders import BENCH, a_file
from tests.cut_records import cut, finished
from tests.tampering import sealed_session


@pytest.mark.parametrize("place", ["in a line", "later in a line", "after the end"])
def test_a_record_cut_anywhere_is_whole_up_to_a_line_and_after_the_resume(sealed, tmp_path, place):
    dice = random.Random(place)
    at = (sealed / "events.jsonl").stat().st_size if place == "after the end" else None
    folder, lines = cut(sealed, tmp_path, dice, at)
    found = verify(folder, known())
    assert (found.status, found.differences) == (Exit.NOT_ALL_JUDGED, [])
    assert found.unknown == ["there is no seal: the record is protected against accident only"]
    assert f"events.jsonl: whole up to line {lines}" in found.said
    finished(folder)
    found = verify(folder, known())
    assert (found.status, found.differences, found.unknown) == (Exit.PASS, [], [])


def test_resume_evaluates_and_seals_what_was_over_when_the_program_was_killed(sealed, tmp_path, capsys, no_pdf):
    folder, _ = cut(sealed, tmp_path, random.Random(1), (sealed / "events.jsonl").stat().st_size)
    assert main(["resume", str(folder), "--plain"]) == Exit.PASS
    said = capsys.readouterr().out
    assert "trip T1" in said
    assert "not sealed" not in said
    assert verify(folder, known()).status == Exit.PASS
    assert main(["resume", str(folder), "--plain"]) == Exit.WRONG_INPUT
    assert "the run is complete" in capsys.readouterr().err


def test_a_session_goes_past_a_run_that_was_over_when_the_program_was_killed(tmp_path, capsys, no_pdf):
    folder = sealed_session(tmp_path)
    session = Session.of(folder)
    session.entries[1] = replace(session.entries[1], state="begun", status=None)
    session.pack_file, session.bench_file = str(DEMO_PACK), str(a_file(tmp_path / "b.yaml", BENCH.format(port=1)))
    session.write()
    assert seal_session(folder) == ""
    assert main(["resume", str(folder), "--plain"]) == Exit.PASS
    assert [entry.state for entry in Session.of(folder).entries] == ["done", "done"]
    assert verify(folder, known()).status == Exit.PASS
