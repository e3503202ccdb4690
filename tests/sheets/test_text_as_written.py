"""Text is what the file has, to the character, also where YAML would make a number of it.

What YAML makes of such texts is outside: YAML 1.2.2, 10.3.2 (core schema) says which plain texts are numbers.
"""

import copy
import json
import pickle

import pytest

from runner.errors import SheetError
from runner.notation.source import read, writer
from runner.rehearsal.own_bench import _plain
from runner.sheets.answers import parse_answers
from runner.sheets.bench import parse_bench
from runner.sheets.pack import parse_pack
from runner.workspace.pack_form import copied, pack_text, usual_of
from tests.builders import BENCH, PACK, rehearsed, user_file

WRITTEN = ["12E4", "0417.10", "1_000", "23.50", "1e5", "1e999", "+7", "-0", ".5", "0x1F", "0042", "5.", "9" * 40, "0b1"]


@pytest.mark.parametrize("written", WRITTEN)
def test_every_text_of_a_file_is_what_was_written(written):
    sheet = PACK.replace("serial: TI-0001", f"serial: {written}\nmaker: {written}\nnote: {written}").replace(
        "{name: T1, place: cell 2}", f"{{name: {written}, place: {written}}}"
    )
    pack = parse_pack(sheet.replace("sensors: all", f"sensors: [{written}]"), "pack.yaml")
    (sensor,) = pack.sensors
    assert {pack.serial, pack.maker, pack.note, sensor.name, sensor.place} == {written}
    keys = ("identity", "channel", "model", "serial", "serial_number", "certificate")
    named = BENCH.format(port=1).replace(
        "  probe:\n", "  probe:\n" + "".join(f"    {key}: {written}\n" for key in keys)
    )
    bench = parse_bench(named.replace("name: test bench", f"name: {written}\noperator: {written}"), "bench.yaml")
    assert {bench.name, bench.operator, *(getattr(bench.instruments.probe, key) for key in keys)} == {written}
    answers = parse_answers(f"kind: answers\nby: {written}\nanswers: [{written}, go on]\n", "answers.yaml")
    assert (answers.by, answers.answers) == (written, (written, "go on"))


def test_dates_words_of_yaml_and_quoted_text_are_what_they_were():
    pack = parse_pack(PACK.replace("TI-0001", '"12E4"\nreceived: 2026-03-31\nmaker: no'), "pack.yaml")
    assert (pack.serial, pack.received.isoformat(), pack.maker) == ("12E4", "2026-03-31", "no")
    for word in ("true", "null", "~"):
        with pytest.raises(SheetError, match=r"serial.* is not text"):
            parse_pack(PACK.replace("TI-0001", word), "pack.yaml")


def test_numbers_are_numbers_whatever_they_look_like_as_text():
    values = read("a: 1_000\nb: 5e-1\nc: +8\n", "f.yaml").values
    assert values == {"a": 1000, "b": 0.5, "c": 8}
    assert json.loads(json.dumps(values)) == values
    for again in (copy.deepcopy(values), pickle.loads(pickle.dumps(values))):
        assert [str(each) for each in again.values()] == ["1_000", "5e-1", "+8"]
    pack = parse_pack(PACK.replace("cells_in_series: 8", "cells_in_series: +8"), "pack.yaml")
    assert (pack.cells_in_series, type(pack.cells_in_series)) == (8, int)


def test_a_number_that_is_no_quantity_is_told_as_the_file_has_it():
    with pytest.raises(SheetError, match=r"4e1 has no unit"):
        parse_pack(PACK.replace("40 Ah", "4e1"), "pack.yaml")


def test_two_sensors_of_equal_numbers_have_two_names():
    sheet = PACK.replace("  - {name: T1, place: cell 2}", "  - {name: 1e1, place: a}\n  - {name: 10, place: b}")
    assert [each.name for each in parse_pack(sheet, "pack.yaml").sensors] == ["1e1", "10"]


def test_what_is_written_from_a_file_has_its_texts(tmp_path):
    """A simulated bench after somebody's own, and a sheet that copies another in the form."""
    import io

    out = io.StringIO()
    writer(plain=True).dump(_plain(read("a: {b: 12E4, c: [1_000, x]}\n", "f").values), out)
    assert parse_like(out.getvalue()) == {"a": {"b": "12E4", "c": ["1_000", "x"]}}
    values, base = copied(PACK.replace("TI-0001", "1\nmaker: 12E4\ncustomer: 0417.10\nnote: 1_0"), "pack.yaml")
    text = pack_text({**values, "serial": "1e5"}, usual_of(base), base)
    pack = parse_pack(text, "pack.yaml")
    assert (pack.serial, pack.maker, pack.customer, pack.note) == ("1e5", "12E4", "0417.10", "1_0")


def parse_like(text):
    """Values with every number as its text."""

    def plain(value):
        if isinstance(value, dict):
            return {key: plain(each) for key, each in value.items()}
        return [plain(each) for each in value] if isinstance(value, list) else str(value)

    return plain(read(text, "f").values)


def test_the_serial_number_of_a_run_is_that_of_its_sheet(tmp_path):
    from runner.workspace.job import DEMO_PACK
    from tests.builders import SHORT_PROCEDURE

    sheet = DEMO_PACK.read_text(encoding="utf-8")
    (line,) = (line for line in sheet.splitlines() if line.startswith("serial:"))
    pack = user_file("pack.yaml", sheet.replace(line, "serial: 12E4"))
    result = rehearsed(tmp_path, pack=pack, procedure=user_file("short.yaml", SHORT_PROCEDURE)).result
    assert "-12E4-" in result.folder.path.name
    assert json.loads((result.folder.path / "findings.json").read_text())["pack"]["serial"] == "12E4"
    instruments = parse_bench((result.folder.path / "inputs" / "bench.yaml").read_text(), "bench.yaml").instruments
    assert instruments.supply.serial_number
    assert instruments.supply.serial == "", "serial: is how a line is set"
