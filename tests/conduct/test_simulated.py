"""Whether a run was a rehearsal stands in its record's first line, and no change of the bench file afterwards undoes it."""

import json

from runner.evaluation.evaluate import evaluate
from tests.builders import short_rehearsal


def test_a_rehearsal_stays_one_when_its_bench_file_says_otherwise(tmp_path):
    run = short_rehearsal(tmp_path)
    folder = run.result.folder
    first = json.loads((folder.path / "events.jsonl").read_text().splitlines()[0])
    assert (first["event"], first["simulated"]) == ("Started", True)
    assert folder.read_json("inputs/resolved.json")["simulated"] is True
    bench = folder.path / "inputs" / "bench.yaml"
    text = bench.read_text()
    bench.write_text(text.replace("simulated: true", "simulated: false").replace("speed: 1\n", ""))
    assert evaluate(folder).as_json()["simulated"] is True


def test_a_record_from_before_that_line_is_read_as_before(tmp_path):
    from runner.evaluation.run_history import RunHistory

    run = short_rehearsal(tmp_path)
    assert run.result.evaluation.story.simulated is True
    assert RunHistory().simulated is None
