"""What a reading is of is said with a checked key; a ``record:`` that used to decide is said with the line to write."""

import pytest

from runner.cli import main
from runner.errors import SheetError
from runner.sheets.older import observed_before
from runner.sheets.procedure import parse_procedure
from runner.vocabulary import Observed
from tests.builders import SHORT_PROCEDURE, a_file, rehearsed, user_file


def with_step(step):
    return SHORT_PROCEDURE.replace("  - confirm: {say: Ready?}\n", f"  - confirm: {{say: Ready?}}\n{step}")


@pytest.mark.parametrize(
    ("step", "part"),
    [
        (
            "  - read: {say: R., record: r, unit: V, as: ambient temperature}\n",
            "as: ambient temperature is a temperature",
        ),
        ("  - read: {say: R., record: r, unit: V, as: alarm}\n", "a choice, so it needs choices"),
        ("  - read: {say: R., record: r, unit: V, as: cheese}\n", "'cheese' is not one of"),
        ("  - confirm: {say: R., box: under}\n", "'under' is not one of"),
    ],
)
def test_a_key_that_does_not_fit_is_wrong_where_it_stands(step, part):
    with pytest.raises(SheetError) as caught:
        parse_procedure(with_step(step), "p")
    (problem,) = caught.value.problems
    assert part in problem.what
    assert problem.line == 11


@pytest.mark.parametrize(
    ("record", "dimension", "of"),
    [
        ("ambient temperature in the hall", "temperature", Observed.AMBIENT_TEMPERATURE),
        ("lowest cell voltage", "voltage", Observed.LOWEST_CELL_VOLTAGE),
        ("temperature of the lowest cell", "temperature", None),
        ("ambient humidity", "ratio", None),
        ("the whole voltage", "voltage", None),
    ],
)
def test_an_old_record_is_understood_only_where_its_dimension_fits(record, dimension, of):
    """Seen: a temperature of the lowest cell made a release fail; a humidity of 50 % was printed as 0.5 °C ambient."""
    assert observed_before(record, dimension) == of


def test_check_says_what_to_write_instead(tmp_path, capsys):
    step = "  - read: {say: R., record: ambient temperature, unit: degC}\n  - confirm: {say: In., record: decade box in place}\n"
    path = a_file(tmp_path / "p.yaml", with_step(step))
    assert main(["check", str(path)]) == 0
    said = capsys.readouterr().out
    assert f"doubtful: {path}:11:" in said
    assert "write as: ambient temperature" in said
    assert "write box: in" in said


def test_a_shipped_procedure_says_none_of_it(capsys):
    from runner.workspace.job import PROCEDURES

    assert main(["check", *(str(path) for path in sorted(PROCEDURES.glob("*.yaml")))]) == 0
    assert "doubtful" not in capsys.readouterr().out


def test_what_is_typed_is_of_what_the_procedure_says_whatever_its_record_says(tmp_path):
    step = "  - read: {say: R., record: a note on ambient things, unit: degC, as: pack temperature}\n"
    run = rehearsed(tmp_path, procedure=user_file("p.yaml", with_step(step)))
    (typed,) = run.result.evaluation.story.typed
    assert typed.of is Observed.PACK_TEMPERATURE
