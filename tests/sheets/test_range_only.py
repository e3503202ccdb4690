"""A sheet that gives only between which values a protection trips, no delay and no release: what is assumed is said.

The ranges that are assumed for delays are common practice, no source (runner/sheets/parts/protections.py).
"""

import math

import pytest

from runner.errors import SheetError
from runner.evaluation.specification import declare
from runner.sheets.bench import parse_bench
from runner.sheets.pack import not_declared, parse_pack
from runner.sheets.parts.protections import DELAYS
from runner.sheets.procedure import parse_procedure
from runner.workspace.job import find_procedure, load, read_file
from tests.benchmarks.six_packs import PACKS
from tests.builders import rehearsed, user_file

SHEET = next(pack for pack in PACKS if pack.stem == "range-only")
TEXT = SHEET.read_text(encoding="utf-8")
PLACE = "address: 'TCPIP::127.0.0.1::1::SOCKET'"
BENCH = f"""\
kind: bench
name: b
instruments:
  supply: {{{PLACE}, limits: {{voltage: 31 V, current: 60 A}}}}
  load: {{{PLACE}, limits: {{voltage: 31 V, current: 100 A}}}}
  probe: {{{PLACE}, accuracy: {{limit: 0.3 K}}, coupling: 0.2 K}}
"""


def specified(name):
    procedure = find_procedure(name)
    return declare(parse_procedure(procedure.text, name), parse_pack(TEXT, "p"), parse_bench(BENCH, "b"), ("T1",))


def test_the_range_is_the_limits_and_no_trip_is_made_up():
    found = specified("charge-over-temperature")
    assert (found.trip, found.trip_limits) == (None, (60.0, 70.0))
    assert (found.release, found.release_limits) == (None, None)


@pytest.mark.parametrize(
    ("name", "kind"),
    [("charge-over-temperature", "temperature"), ("capacity", "under_voltage"), ("discharge-over-current", "current")],
)
def test_a_delay_that_is_not_declared_counts_with_the_whole_of_its_range(name, kind):
    found, (low, high) = specified(name), DELAYS[kind]
    assert found.delay == (low + high) / 2
    assert found.delay_uncertainty == pytest.approx((high - low) / math.sqrt(12))  # rectangular (JCGM 100:2008, 4.3.7)
    assert found.delay_limits is None
    assert found.about_delay == f"trip delay not declared; {low:g} s to {high:g} s assumed"
    assert found.longest_delay == high


def test_all_of_it_is_said_when_the_sheet_is_checked():
    said = list(not_declared(parse_pack(TEXT, "p")))
    assert "declares no delay of charge over-temperature: 1 s to 5 s assumed" in said
    assert "declares no release of under-voltage: it is looked for and not judged" in said
    without = parse_pack(TEXT.replace("    sensors: all\n", ""), "p")
    assert any(
        "names no sensors of charge over-temperature: it cannot be tested" in each for each in not_declared(without)
    )


def test_the_ramp_looks_in_the_whole_range_and_texts_name_it():
    job = load(find_procedure("charge-over-temperature"), user_file("p", TEXT), user_file("b", BENCH))
    heat = next(step for step in job.program.steps if step.kind == "heat")
    assert (heat.values["approach"], heat.values["give_up"]) == (57.0, 76.0)
    assert "expected near 60.0 °C to 70.0 °C" in heat.say
    cool = next(step for step in job.program.steps if step.kind == "cool")
    assert "(no release declared)" in cool.say


@pytest.mark.parametrize(
    ("old", "new", "part"),
    [
        ("between: [60 degC, 70 degC]", "polling: 1 s", "trip is missing"),
        ("between: [60 degC, 70 degC]", "between: [70 degC, 60 degC]", "the lower limit of between comes first"),
        ("between: [60 degC, 70 degC]", "between: [60 degC, 70 degC]\n    trip: 71 degC", "trip is not between"),
    ],
)
def test_a_range_that_is_none_is_wrong(old, new, part):
    with pytest.raises(SheetError, match=part):
        parse_pack(TEXT.replace(old, new), "p")


def test_a_trip_anywhere_in_the_range_is_found_and_judged_by_it(tmp_path):
    run = rehearsed(tmp_path, seed=4, pack=read_file(SHEET))
    trip, true = run.finding("trip"), run.truth["thresholds"]["charge_over_temperature"]["T1"]["trip"]
    assert abs(trip.value - true) < 1.5 * trip.expanded_uncertainty
    assert trip.expected is None
    assert trip.conformity == "pass"
    assert run.finding("release").value is not None
    assert run.finding("release").conformity is None
