"""What is too uncertain for its limits: no value and no statement in the record, and what was found in its reason."""

import json

from runner.evaluation.evaluate import evaluate
from runner.record.folder import FINDINGS
from runner.vocabulary import Exit
from tests.builders import PACK, short_rehearsal, user_file


def test_a_threshold_of_limits_that_are_closer_than_it_can_be_measured_is_not_measured(tmp_path):
    """One ramp, and a lag that nobody declared: about ±1.5 K, by limits 0.1 K apart."""
    run = short_rehearsal(tmp_path, pack=user_file("pack.yaml", PACK.replace("tolerance: 2 K", "tolerance: 0.05 K")))
    (trip,) = [each for each in run.result.evaluation.findings if each.name == "trip"]
    assert (trip.value, trip.expanded_uncertainty, trip.conformity, trip.budget) == (None, None, "not measured", ())
    assert trip.reason.startswith("found 5")
    assert "°C, too uncertain to be judged by limits that are 0.1 K apart" in trip.reason
    assert run.result.evaluation.exit_status == Exit.NOT_ALL_JUDGED
    folder = run.result.folder
    kept = json.loads((folder.path / FINDINGS).read_text())
    assert json.loads(json.dumps(evaluate(folder).as_json())) == kept, "and the same when it is worked out again"
