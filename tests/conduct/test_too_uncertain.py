"""What is too uncertain for its limits: no value and no statement in the record, and what was found in its reason."""

import json
from dataclasses import replace

import pytest

from runner.evaluation.evaluate import _recorded, evaluate
from runner.measure.conformity import NOT_MEASURED
from runner.record.folder import FINDINGS
from runner.scale import Scale, reading_in
from runner.vocabulary import Exit
from tests.builders import PACK, short_rehearsal, user_file
from tests.screen.kept_runs import TRIP as MEASURED

TRIP = replace(MEASURED, conformity=NOT_MEASURED, reason="too wide")


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


@pytest.mark.parametrize(
    ("value", "uncertainty", "unit", "text"),
    [  # two significant digits of the uncertainty (JCGM 100:2008, 7.2.6); Ah, Wh and mΩ are what people read
        (1234.5 * 3600, 140.0 * 3600, "J", "found 1234 ± 140 Wh, "),
        (40.5 * 3600, 1.26 * 3600, "A·s", "found 40.5 ± 1.3 Ah, "),
        (-0.001, 1000.0, "°C", "found 0 ± 1000 °C, "),
        (-12.34, 0.5, "°C", "found −12.34 ± 0.50 °C, "),
        (0.0, 0.0001, "A", "found 0.00000 ± 0.00010 A, "),
        (0.0123, 0.0014, "Ω", "found 12.3 ± 1.4 mΩ, "),
    ],
)
def test_what_was_found_is_said_in_the_digits_and_units_that_people_read(value, uncertainty, unit, text):
    for scale in Scale:  # the record is the same for every reader
        with reading_in(scale):
            assert (
                _recorded(replace(TRIP, value=value, expanded_uncertainty=uncertainty, unit=unit)).reason
                == f"{text}too wide"
            )
