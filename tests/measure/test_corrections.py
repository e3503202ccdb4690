"""Readings are corrected by their calibration certificate, and what it does not know is in the budget.

A worked certificate: errors of +0.10, +0.30, −0.10 K at 0, 50, 100 °C, each known to U = 0.06 K (k = 2); invented figures, interpolated
by hand.
"""

import numpy as np
import pytest

from runner.errors import SheetError
from runner.evaluation.specification import corrections, declare
from runner.measure.readings import Corrections
from runner.measure.recording import Series
from runner.sheets.bench import parse_bench
from runner.sheets.pack import parse_pack
from runner.sheets.procedure import parse_procedure
from tests.builders import BENCH, PACK, SHORT_PROCEDURE, short_rehearsal

POINTS = "{reads: 0 degC, error: 0.10 K, expanded_uncertainty: 0.06 K}, {reads: 50 degC, error: 0.30 K, expanded_uncertainty: 0.06 K}"
POINTS += ", {reads: 100 degC, error: -0.10 K, expanded_uncertainty: 0.08 K}"


def bench(accuracy):
    before = "accuracy: {expanded_uncertainty: 0.2 K, resolution: 0.01 K}"
    text = BENCH.format(port=1)
    assert before in text
    return text.replace(before, f"accuracy: {accuracy}")


def declared(accuracy, pack=PACK):
    sheet = parse_bench(bench(accuracy), "bench.yaml")
    return declare(parse_procedure(SHORT_PROCEDURE, "p.yaml"), parse_pack(pack, "pack.yaml"), sheet, ("T1",))


def test_errors_are_taken_off_between_the_points_and_that_of_the_last_beyond_them():
    certified = Corrections(((0.0, 0.1, 0.03), (50.0, 0.3, 0.03), (100.0, -0.1, 0.04)))
    readings = np.array([-10.0, 0.0, 25.0, 50.0, 75.0, 120.0])
    corrected = certified.corrected(Series(np.arange(6.0), readings)).value
    assert corrected == pytest.approx([-10.1, -0.1, 24.8, 49.7, 74.9, 120.1])
    assert certified.uncertainty(75.0) == pytest.approx(0.035)
    assert certified.reaches(-9.99)
    assert not certified.reaches(-10.1)
    assert not certified.reaches(110.1)


def test_the_budget_has_what_the_certificate_says_near_the_trip_and_the_drift_since():
    """At 55 °C a tenth of the way from 0.06 to 0.08 K, k = 2; ± 0.05 K of drift are rectangular."""
    u, _ = declared(f"{{corrections: [{POINTS}], drift: 0.05 K, resolution: 0.01 K}}").calibration
    assert u == pytest.approx(np.hypot(0.031, 0.05 / 3**0.5))
    assert declared(f"{{corrections: [{POINTS}]}}").assumed == ""


def test_a_threshold_where_the_certificate_says_nothing_is_said():
    low = POINTS.split(", {reads: 100")[0].replace("50 degC", "40 degC")
    assert declared(f"{{corrections: [{low}]}}").assumed == "thermometer calibrated from 0 to 40 °C only"


@pytest.mark.parametrize(
    ("accuracy", "what"),
    [
        (f"{{corrections: [{POINTS}], limit: 1 K}}", "give either expanded_uncertainty, limit or corrections"),
        ("{corrections: [{reads: 50 degC, error: 0 K, expanded_uncertainty: 0.1 K}, {reads: 5 degC, error: 0 K, "
         "expanded_uncertainty: 0.1 K}]}", "not in the order"),
        ("{resolution: 0.1 K}", "give either"),
    ],
)  # fmt: skip
def test_what_contradicts_itself_is_refused(accuracy, what):
    with pytest.raises(SheetError) as error:
        parse_bench(bench(accuracy), "bench.yaml")
    assert what in str(error.value)


def test_a_current_or_a_voltage_has_its_certificate_too():
    text = BENCH.format(port=1).replace(
        "limits: {voltage: 30 V, current: 10 A}",
        "limits: {voltage: 30 V, current: 10 A}\n    current_accuracy: "
        "{corrections: [{reads: 0 A, error: -2 mA, expanded_uncertainty: 4 mA}, {reads: 10 A, error: 10 mA, "
        "expanded_uncertainty: 8 mA}], resolution: 1 mA}",
    )
    sheet = parse_bench(text, "bench.yaml")
    found = corrections(sheet.instruments)["supply_current_A"]
    assert found.corrected(Series(np.zeros(1), np.array([5.0]))).value == pytest.approx([4.996])
    known = declare(parse_procedure(SHORT_PROCEDURE, "p.yaml"), parse_pack(PACK, "pack.yaml"), sheet, ("T1",)).accuracy
    assert known["supply_current_A"].offset == pytest.approx(0.004 * 3**0.5), (
        "the worst point, as a rectangle of its deviation"
    )
    both = text.replace("resolution: 1 mA}", "gain: 1 %}")
    with pytest.raises(SheetError, match="not corrected"):
        parse_bench(both, "bench.yaml")


def test_a_run_is_evaluated_with_what_its_bench_file_corrects(tmp_path):
    """The thermometer of the simulated bench is declared to read 1 K too much everywhere: trip and release are 1 K lower."""
    from runner.evaluation.evaluate import evaluate

    evaluation = short_rehearsal(tmp_path).result.evaluation
    folder = evaluation.folder
    (path,) = folder.path.rglob("bench.yaml")
    text = path.read_text(encoding="utf-8")
    start = text.index("accuracy: {expanded_uncertainty")
    line = text[start : text.index("\n", start)]
    point = "{reads: 50 degC, error: 1 K, expanded_uncertainty: 0.2 K}"
    path.write_text(text.replace(line, f"accuracy: {{corrections: [{point}], resolution: 0.01 K}}"), encoding="utf-8")
    before = {each.name: each.value for each in evaluation.findings}
    after = {each.name: each.value for each in evaluate(folder).findings}
    assert {name: before[name] - after[name] for name in before} == pytest.approx(dict.fromkeys(before, 1.0), abs=1e-6)
