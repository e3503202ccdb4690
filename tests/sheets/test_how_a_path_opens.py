"""How a pack's path opens, as its sheet says it: what it may say, where that is refused, and how it reaches the run."""

import pytest

from runner.engine.derived import declared_path
from runner.engine.watch.declared import SILENT, DeclaredPath
from runner.errors import SheetError
from runner.sheets.pack import parse_pack
from runner.sheets.schema import schema
from runner.workspace.job import load
from tests.builders import BENCH, PACK, SHORT_PROCEDURE, user_file


def planned(pack, procedure=SHORT_PROCEDURE):
    files = user_file("p.yaml", procedure), user_file("pack.yaml", pack), user_file("b.yaml", BENCH.format(port=1))
    return load(*files).program


def says(top="", derates="", pack=PACK):
    text = pack.replace("serial:", f"{top}\nserial:", 1)
    return text.replace("    delay:", f"    derates: {derates}\n    delay:", 1) if derates else text


def test_a_sheet_that_says_nothing_leaves_everything_to_the_watcher():
    assert planned(PACK).declared_path == SILENT


def test_what_the_sheet_says_reaches_the_run_in_amperes_and_seconds():
    found = planned(says("residual_current: 60 mA\nretry_every: 0.5 min", "yes"))
    assert found.declared_path == DeclaredPath(0.06, 30.0, ("charge",))


@pytest.mark.parametrize(
    ("written", "meant"),
    [("yes", ()), ("no", None), ("true", ()), ("50 degC", (50.0,)), ("[50 degC, 53 degC]", (50.0, 53.0))],
)
def test_derating_is_said_with_or_without_where_it_begins(written, meant):
    assert parse_pack(says(derates=written), "p").protection("charge_over_temperature").derates == meant


def test_an_under_temperature_derates_above_its_trip():
    cold = PACK.replace("charge over-temperature:", "charge under-temperature:").replace("trip: 55", "trip: 0")
    cold = cold.replace("release: 45", "release: 5")
    assert parse_pack(says(derates="3 degC", pack=cold), "p").protection("charge_under_temperature").derates == (3.0,)
    with pytest.raises(
        SheetError, match="derates at -3, which is not before the trip of charge under-temperature at 0"
    ):
        parse_pack(says(derates="-3 degC", pack=cold), "p")


def test_a_discharge_protection_derates_the_discharge():
    text = says(derates="yes").replace("charge over-temperature:", "discharge over-temperature:")
    assert declared_path(parse_pack(text, "p")).derates == ("discharge",)


def test_a_current_protection_does_not_derate():
    text = PACK + "  charge over-current: {trip: 25 A, delay: 1 s, derates: yes}\n"
    with pytest.raises(SheetError, match="derates"):
        parse_pack(text, "p")


@pytest.mark.parametrize(("residual", "fits"), [("0.99 A", True), ("1.01 A", False)])
def test_a_current_that_is_hardly_more_than_what_flows_through_an_open_path_is_refused(residual, fits):
    """The procedure charges with a tenth of 40 A; four times what is left is the least."""
    text = says(f"residual_current: {residual}")
    if fits:
        assert planned(text).declared_path.residual == 0.99
        return
    with pytest.raises(SheetError) as caught:
        planned(text)
    (problem,) = caught.value.problems
    assert (problem.file, problem.line) == ("p.yaml", 14)
    assert "sets 4 A, and 1.01 A flow through an open path (pack.yaml:3): a trip could not be seen" in problem.what


def test_editors_are_told_of_the_keys():
    content = schema("pack")
    assert {"residual_current", "retry_every"} <= set(content["properties"])
    said = content["$defs"]["TemperatureProtection"]["properties"]["derates"]
    assert "'type': 'boolean'" in str(said)
    assert "derates" in content["$defs"]["VoltageProtection"]["properties"]
    assert "derates" not in content["$defs"]["CurrentProtection"]["properties"]


def test_a_run_from_before_the_keys_is_read_as_silent():
    assert DeclaredPath.kept({}) == SILENT
    kept = {"residual": 0.06, "retry_every": 30.0, "derates": ["charge"]}
    assert DeclaredPath.kept(kept) == DeclaredPath(0.06, 30.0, ("charge",))
