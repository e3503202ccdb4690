"""What a cell of a chemistry cannot be, and what contradicts itself, is wrong before anything is switched on.

The bounds are common practice, no source (runner/sheets/chemistry.py).
"""

import pytest

from runner.errors import SheetError
from runner.sheets.chemistry import CHEMISTRIES
from runner.sheets.pack import parse_pack
from runner.workspace.job import DEMO_PACK, find_procedure, load, read_file
from tests.builders import BENCH, PACK, SHORT_PROCEDURE, user_file

DEMO = DEMO_PACK.read_text(encoding="utf-8")

# (what it is, what is replaced, by what, where, part of the message)
SLIPS = [
    ("39.2 V for 29.2 V", PACK, "29.2 V", "39.2 V", "full_charge_voltage", "4.9 V per cell (8 in series)"),
    ("4S charged to 16.8 V", PACK.replace("cells_in_series: 8", "cells_in_series: 4").replace("25.6", "12.8").replace("20 V", "10 V"),
     "29.2 V", "16.8 V", "full_charge_voltage", "4.2 V per cell (4 in series)"),
    ("16 cells at 12.8 V", PACK.replace("cells_in_series: 8", "cells_in_series: 16").replace("29.2 V", "58.4 V").replace("20 V", "10 V"),
     "25.6 V", "12.8 V", "nominal_voltage", "0.8 V per cell (16 in series)"),
    ("a trip of 155 °C", PACK, "trip: 55 degC", "trip: 155 degC", "trip", "155 °C is outside the allowed sensor range"),
    ("a release beyond its trip", PACK, "release: 45 degC", "release: 65 degC", "release", "must be below its trip"),
    ("a minimum of 970 Ah of 100", PACK, "rated_capacity: 40 Ah", "rated_capacity: 100 Ah\nminimum_capacity: 970 Ah", "minimum_capacity", "more than the rated capacity"),
    ("an under-voltage trip above full", DEMO, "trip: 20.4 V", "trip: 30.4 V", "trip", "must be below the nominal"),
    ("an over-voltage trip beyond any cell", DEMO, "trip: 29.8 V", "trip: 32 V", "trip", "4 V per cell"),
    ("a chemistry called cheese", PACK, "chemistry: LFP", "chemistry: cheese", "chemistry", "choose one of LFP, NMC"),
    ("other without its voltages", PACK, "chemistry: LFP", "chemistry: other", "chemistry", "other needs its own voltages"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "old", "new", "key", "part"), [each[1:] for each in SLIPS], ids=[each[0] for each in SLIPS]
)
def test_a_slip_on_a_sheet_is_wrong_where_it_stands(text, old, new, key, part):
    assert old in text
    with pytest.raises(SheetError) as caught:
        parse_pack(text.replace(old, new, 1), "pack.yaml")
    said = [each for each in caught.value.problems if part in each.what or part in each.remedy]
    assert said, [str(each) for each in caught.value.problems]
    line = text.replace(old, new, 1).splitlines()[said[0].line - 1]
    assert key in line


@pytest.mark.parametrize("name", ["lfp", "LFP", "nmc-hv", "Na ion", "NA-ION"])
def test_a_name_is_known_whatever_its_capitals_and_hyphens(name):
    found = next(each for each in CHEMISTRIES if each.name.lower().replace("-", " ") == name.lower().replace("-", " "))
    cells = 8
    text = PACK.replace("chemistry: LFP", f"chemistry: {name}")
    for old, value in (("25.6 V", found.nominal[0]), ("29.2 V", found.highest[1]), ("20 V", found.lowest[0])):
        text = text.replace(old, f"{value * cells:.4g} V")
    assert parse_pack(text, "p").chemistry == found.name


def test_another_chemistry_states_its_own_voltages():
    text = PACK.replace(
        "chemistry: LFP", "chemistry: other\ncell: {never_below: 2 V, nominal: 3.2 V, never_above: 3.7 V}"
    )
    assert parse_pack(text, "p").never() == (16.0, 29.6)


def test_a_sheet_that_was_run_before_it_would_have_been_refused_is_still_read():
    text = (
        PACK.replace("29.2 V", "39.2 V")
        .replace("chemistry: LFP", "chemistry: cheese")
        .replace("tolerance: 2 K", "tolerance: -2 K")
    )
    assert parse_pack(text, "p", as_it_was=True).full_charge_voltage == 39.2


BENCH_TEXT = BENCH.format(port=1).replace("voltage: 30 V", "voltage: 45 V")

# (what it is, procedure, what is replaced, by what, part of the message)
REFUSED = [
    ("31 V on a sheet of 29.2 V", "voltage: full charge voltage, current", "voltage: 31 V, current", "charges to 31 V, the pack sheet allows 29.2 V (pack.yaml:7)"),
    ("24 A on a sheet of 20 A", "current: 0.1 C, steady", "current: 24 A, steady", "sets 24 A, the pack sheet allows 20 A (pack.yaml:10)"),
    ("a ceiling beyond any cell", "voltage: full charge voltage + 0.4 V", "voltage: 33 V", "above 31.2 V, 3.9 V per cell, the limit for a cell of LFP"),
    ("heated to 163 °C", "give_up: trip + 8 K", "give_up: trip + 108 K", "163 °C is outside the allowed sensor range"),
    ("heat with no charge before it", "        - charge: {voltage: full charge voltage, current: 0.1 C, steady: 10 s}\n", "", "heat comes while everything is off"),
    ("heat after off", "        - heat", "        - off\n        - heat", "heat comes while everything is off"),
    ("a mark in a procedure for something else", "voltage: full charge voltage, current: 0.1 C", "voltage: 31 V, beyond: voltage, current: 0.1 C", "charges to 31 V, the pack sheet allows"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "part"), [each[1:] for each in REFUSED], ids=[each[0] for each in REFUSED])
def test_what_the_sheet_forbids_is_refused_at_planning_with_both_lines(old, new, part):
    assert old in SHORT_PROCEDURE
    procedure = SHORT_PROCEDURE.replace(old, new, 1).replace("current: 0.15 C", "current: 0.7 C")
    files = user_file("short.yaml", procedure), user_file("pack.yaml", PACK), user_file("bench.yaml", BENCH_TEXT)
    with pytest.raises(SheetError) as caught:
        load(*files)
    said = [each for each in caught.value.problems if part in each.what]
    assert said, [str(each) for each in caught.value.problems]
    assert said[0].file == "short.yaml"
    assert said[0].line > 1


def test_heat_without_a_thermometer_is_wrong():
    from runner.sheets.procedure import parse_procedure

    with pytest.raises(SheetError, match="whoever heats or cools something needs a thermometer"):
        parse_procedure(SHORT_PROCEDURE.replace("needs: [supply, probe]", "needs: [supply]"), "p")


def test_a_floor_that_no_cell_is_taken_below_is_refused():
    procedure = find_procedure("under-voltage")
    text = procedure.text.replace("floor: cut-off voltage - 125 mV * cells in series", "floor: 0.1 V")
    bench = (
        BENCH_TEXT
        + "  meter: {address: 'TCPIP::127.0.0.1::1::SOCKET'}\n  load: {address: 'TCPIP::127.0.0.1::1::SOCKET', limits: {voltage: 31 V, current: 60 A}}\n"
    )
    with pytest.raises(SheetError, match=r"a floor of 0\.1 V is below 16 V, 2 V per cell"):
        load(
            user_file("u.yaml", text),
            read_file(DEMO_PACK),
            user_file("bench.yaml", bench.replace("current: 10 A", "current: 18 A")),
        )


@pytest.mark.parametrize(("over", "fits"), [("trip + 2 A", True), ("trip + 6 A", False)])
def test_a_marked_stage_goes_a_quarter_beyond_the_upper_limit_of_the_trip_and_no_further(over, fits):
    text = find_procedure("charge-over-current").text.replace("highest trip + trip / 15", over)
    text = text.replace("current: highest trip + trip / 10", "current: 30 A")
    bench = BENCH_TEXT + "  meter: {address: 'TCPIP::127.0.0.1::1::SOCKET'}\n"
    files = (
        user_file("c.yaml", text),
        read_file(DEMO_PACK),
        user_file("bench.yaml", bench.replace("current: 10 A", "current: 30 A")),
    )
    if fits:
        assert load(*files).program.steps
    else:
        with pytest.raises(SheetError, match="at most 20 A is allowed"):
            load(*files)
