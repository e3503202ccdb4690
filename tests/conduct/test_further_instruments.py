"""More than one thermometer and voltmeter: each by its name in sheets, procedures, samples, findings and on the certificate."""

import json

import pytest

from runner.cli import main
from runner.engine.ceilings import Ceilings
from runner.engine.fitting.further import referred
from runner.engine.program import CeilingValues
from runner.errors import SheetError
from runner.events import CHARGE, Sampled
from runner.orders import Ask, Note
from runner.record.journal import read_journal
from runner.record.samples import read_samples
from runner.sheets.bench import parse_bench
from runner.workspace.job import DEMO_PACK, load, read_file
from tests.builders import SHORT_PROCEDURE, user_file

BENCH = """\
kind: bench
name: bench of many
instruments:
  supply: {address: "TCPIP::192.0.2.10::5025::SOCKET", limits: {voltage: 30 V, current: 10 A}}
  probe: {address: "TCPIP::192.0.2.11::5025::SOCKET", accuracy: {limit: 0.3 K}, coupling: 0.1 K, lag: 2 s, lag_uncertainty: 0.3 s}
  probes:
    by T2:
      place: taped to T2
      sensors: [T2]
      address: TCPIP::192.0.2.12::5025::SOCKET
      accuracy: {corrections: [{reads: 0 degC, error: 3.5 K, expanded_uncertainty: 0.1 K}, {reads: 80 degC, error: 3.9 K, expanded_uncertainty: 0.1 K}]}
      coupling: 0.1 K
      lag: 2 s
      lag_uncertainty: 0.3 s
    room: {place: on the wall, address: "TCPIP::192.0.2.13::5025::SOCKET", accuracy: {corrections: [{reads: 20 degC, error: 4 K, expanded_uncertainty: 0.1 K}]}}
  meters:
    cell 3: {place: at cell 3, cell: 3, address: "TCPIP::192.0.2.14::5025::SOCKET"}
    cell 5: {place: at cell 5, cell: 5, address: "TCPIP::192.0.2.15::5025::SOCKET"}
"""
READS = """\
  - read: {say: Read the room., record: ambient, as: ambient temperature, unit: degC, from: room, lowest: 0 degC, highest: 40 degC}
  - read: {say: Read the lowest cell., record: lowest cell, as: lowest cell voltage, unit: V, from: cells}
  - repeat:
"""
PROCEDURE = SHORT_PROCEDURE.replace("  - repeat:\n", READS)


SECOND = """\
    room:
      place: on the other side of T2
      beside: [T2]
      address: TCPIP::192.0.2.13::5025::SOCKET
      accuracy: {limit: 0.2 K}
      coupling: 0.1 K
      lag: 2 s
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("many")
    (out / "many.yaml").write_text(BENCH)
    (out / "p.yaml").write_text(PROCEDURE)
    arguments = ["--bench", str(out / "many.yaml"), "--sensor", "T2", "--unattended", "--plain", "--scenario", "sound"]
    status = main(["rehearse", str(out / "p.yaml"), *arguments, "--seed", "5", "--out", str(out / "runs")])
    (folder,) = (out / "runs").iterdir()
    assert status == 0
    return folder


def test_a_finding_is_through_the_probe_of_its_sensor_with_its_certificate(folder):
    """That probe reads 3.5 K to 3.9 K too much, the first one does not: through any other, the trip is ten times its U off."""
    truth = json.loads((folder / "truth.json").read_text())["thresholds"]["charge_over_temperature"]["T2"]
    found = {each["name"]: each for each in json.loads((folder / "findings.json").read_text())["findings"]}
    for name in ("trip", "release"):
        assert abs(found[name]["value"] - truth[name]) < found[name]["expanded_uncertainty"] < 0.7
    assert "normal" in {
        line["distribution"] for line in found["trip"]["budget"] if "probe calibration" in line["source"]
    }


def test_every_instrument_has_its_column_and_the_reference_is_the_one_of_the_sensor(folder):
    table = read_samples(folder / "samples.csv").set_index("t_s")
    own, first = table["probe_by_T2_temperature_degC"].dropna(), table["probe_main_temperature_degC"].dropna()
    reference = table["probe_temperature_degC"].dropna()
    assert (reference[own.index].iloc[-20:] == own.iloc[-20:]).all()
    assert (own.iloc[-20:] - first.reindex(own.index).iloc[-20:]).min() > 3.0
    assert table["probe_room_temperature_degC"].mean() == pytest.approx(28.0, abs=3.0)
    assert 3.0 < table["meter_cell_3_voltage_V"].mean() < 3.7


def test_a_procedure_reads_them_by_name_and_nobody_is_asked(folder):
    journal = [entry.what for entry in read_journal(folder / "events.jsonl")]
    notes = {each.name: each for each in journal if isinstance(each, Note)}
    assert notes["ambient"].text.endswith(" (read by probe room, less its error by the certificate)")
    assert not notes["ambient"].why, "nothing about it is doubtful"
    room = read_samples(folder / "samples.csv")["probe_room_temperature_degC"].dropna()
    assert notes["ambient"].quantity == pytest.approx(room.iloc[0] - 4.0, abs=0.2), "4 K too much, by its certificate"
    cells = read_samples(folder / "samples.csv")[["meter_cell_3_voltage_V", "meter_cell_5_voltage_V"]].dropna()
    assert notes["lowest cell"].quantity == pytest.approx(cells.iloc[0].min(), abs=0.02)
    assert not {"ambient", "lowest cell"} & {each.record for each in journal if isinstance(each, Ask)}


def test_the_certificate_names_each_with_its_place(folder):
    page = (folder / "certificate.html").read_text()
    assert "probe by_T2 (taped to T2; reference of T2)" in page
    assert "probe room (on the wall)" in page
    assert "meter cell_3 (at cell 3)" in page


def test_a_second_probe_on_a_sensor_is_asked_for_and_both_make_the_finding(tmp_path):
    """Its accuracy is ±0.2 K and the contact of both 0.1 K: the mean of both holds the truth that the simulation has."""
    first, after = BENCH.index("    room:"), BENCH.index("  meters:")
    (tmp_path / "two.yaml").write_text(BENCH[:first] + SECOND + BENCH[after:])
    (tmp_path / "p.yaml").write_text(SHORT_PROCEDURE)
    arguments = [
        "--bench",
        str(tmp_path / "two.yaml"),
        "--sensor",
        "T2",
        "--unattended",
        "--plain",
        "--scenario",
        "sound",
    ]
    assert main(["rehearse", str(tmp_path / "p.yaml"), *arguments, "--seed", "6", "--out", str(tmp_path / "runs")]) == 0
    (out,) = (tmp_path / "runs").iterdir()
    truth = json.loads((out / "truth.json").read_text())["thresholds"]["charge_over_temperature"]["T2"]
    found = {each["name"]: each for each in json.loads((out / "findings.json").read_text())["findings"]}
    for name in ("trip", "release"):
        assert abs(found[name]["value"] - truth[name]) < found[name]["expanded_uncertainty"]
        sources = {line["source"] for line in found[name]["budget"]}
        assert {"probe calibration (second probe)", "difference of the two probes"} <= sources
    page = (out / "certificate.html").read_text()
    assert "probe room (on the other side of T2; second probe on T2)" in page
    assert "mean of two probes on this sensor" in page


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("sensors: [T2]", "sensors: [T9]"), "reference of T9, which the pack does not have"),
        (
            ("place: on the wall", "place: x, beside: [T7], coupling: 0.1 K"),
            "room is at T7, which the pack does not have",
        ),
        (("cell: 3,", "cell: 30,"), "the meter cell_3 is at cell 30; the pack has 8 cells"),
        (("from: room", "from: cell 3"), "cell 3 gives a voltage, the reading is a temperature"),
    ],
)
def test_what_pack_procedure_and_bench_do_not_agree_on_is_said_at_its_place(change, said):
    files = [user_file(name, text.replace(*change)) for name, text in (("p.yaml", PROCEDURE), ("b.yaml", BENCH))]
    with pytest.raises(SheetError) as caught:
        load(files[0], read_file(DEMO_PACK), files[1])
    (problem,) = caught.value.problems
    assert said in str(problem)
    assert problem.line > 1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("room:", "main:"), "'main' cannot be the name"),
        (("cell 5:", "room:"), "'room' cannot be the name"),
        (("place: on the wall", "place: on the wall, sensors: [T2], coupling: 0.1 K"), "two probes are the reference"),
        (("place: on the wall", "place: on the wall, sensors: [T1]"), "the reference of a sensor needs coupling"),
        (("place: on the wall", "place: on the wall, beside: [T1]"), "a second probe at a sensor needs coupling"),
        (("sensors: [T2]", "sensors: [T2]\n      beside: [T2]"), "cannot be the second one beside itself at T2"),
        (("place: on the wall, ", ""), "place"),
        (('"TCPIP::192.0.2.11::5025::SOCKET"', '""'), "address or by_hand"),
        (('place: on the wall, address: "TCPIP::192.0.2.13::5025::SOCKET"', "place: here, by_hand: true"), "by hand"),
        (
            ('cell: 5, address: "TCPIP::192.0.2.15::5025::SOCKET"', "cell: 5, by_hand: true"),
            "meter is not read by hand",
        ),
    ],
)
def test_a_further_instrument_that_cannot_be_one_is_refused(change, said):
    with pytest.raises(SheetError) as caught:
        parse_bench(BENCH.replace(*change), "bench.yaml")
    assert said in str(caught.value)


def test_a_bench_file_without_further_instruments_is_as_it_was():
    text = BENCH[: BENCH.index("  probes:")]
    assert list(parse_bench(text, "b.yaml").roles()) == ["supply", "probe"]
    program = load(user_file("p.yaml", PROCEDURE), read_file(DEMO_PACK), user_file("b.yaml", text)).program
    assert program.further == ()
    assert next(each for each in program.steps if each.record == "ambient").words["reads"] == ()


def test_a_reading_that_was_lost_is_lost_as_the_reference_s():
    sample = Sampled(1.0, {"probe_temperature_degC": 20.0}, {"probe_x_temperature_degC": "no reply"})
    found = referred(sample, "probe_x_temperature_degC")
    assert found.readings == {"probe_main_temperature_degC": 20.0}
    assert found.lost["probe_temperature_degC"] == "no reply"


def test_a_reading_of_another_thermometer_stays_its_own():
    """Neither the reference nor the first probe is in it: nothing moves."""
    sample = Sampled(1.0, {"load_voltage_V": 25.0})
    assert referred(sample, "probe_x_temperature_degC") is sample
    alone = referred(Sampled(1.0, {"probe_temperature_degC": 20.0}), "probe_x_temperature_degC")
    assert alone.readings == {"probe_main_temperature_degC": 20.0}


def test_a_ceiling_holds_at_every_thermometer():
    ceilings = Ceilings(CeilingValues(60.0, 30.0, 10.0, 1e4))
    reads = {"probe_temperature_degC": 30.0, "probe_by_T2_temperature_degC": 61.0}
    assert ceilings.passed(Sampled(0.5, reads)) is None  # everything is off: what is warm may cool
    ceilings.armed(1.0, CHARGE)
    assert "(probe by_T2) is over its ceiling of 60 °C" in ceilings.passed(Sampled(1.0, reads))
