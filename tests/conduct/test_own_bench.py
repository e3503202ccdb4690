"""A rehearsal of a bench file of one's own: its limits, accuracies and hands; and that neither kind of run is taken for the other."""

import json

import pytest

from reports.certificate import render
from runner.cli import main
from runner.conduct import execute as carrying_out
from runner.conduct.clock import VirtualClock
from runner.conduct.interfaces import StopFlag
from runner.conduct.resume import Resumption
from runner.conduct.site import Site
from runner.errors import RecordError, SheetError
from runner.evaluation.evaluate import evaluate
from runner.record.folder import RunFolder
from runner.rehearsal.own_bench import declared_bench
from runner.rehearsal.scripted import UNATTENDED, ScriptedOperator
from runner.rehearsal.simulated_bench import Rehearsal, declared_for_twin
from runner.sheets.bench import parse_bench
from runner.sheets.pack import parse_pack
from runner.twin.parameters import draw
from runner.workspace.job import DEMO_PACK, UserFile, load, read_file
from tests.builders import SHORT_PROCEDURE, user_file

MINE = """\
kind: bench
name: bench 3
laboratory: a real one
backend: "@py"
instruments:
  supply:
    address: TCPIP::192.0.2.10::5025::SOCKET
    identity: A MAKER,PSU
    serial: "987"
    dialect: scpi
    limits: {voltage: 30 V, current: 10 A}
    current_accuracy: {gain: 0.5 %, offset: 20 mA, resolution: 10 mA}
    voltage_accuracy: {gain: 0.1 %, offset: 20 mV, resolution: 10 mV}
    averages: 0.4 s
  probe:
    address: TCPIP::192.0.2.11::5025::SOCKET
    accuracy: {corrections: [{reads: 0 degC, error: 0.5 K, expanded_uncertainty: 0.1 K}, {reads: 80 degC, error: 0.9 K, expanded_uncertainty: 0.1 K}]}
    coupling: 0.1 K
    lag: 2 s
    lag_uncertainty: 0.3 s
  load: {by_hand: true, draws: 8 A, limits: {voltage: 40 V, current: 20 A}}
  display: {by_hand: true}
"""
FOLDER = ["--unattended", "--plain", "--scenario", "sound", "--seed", "5", "--sensor", "T1"]


def page(evaluation):
    """Its certificate."""
    return render([evaluation], "1", "2026-11-26")


@pytest.fixture(scope="module")
def rehearsed_on_mine(tmp_path_factory):
    """The folder of a rehearsal of that bench file."""
    out = tmp_path_factory.mktemp("own")
    (out / "mine.yaml").write_text(MINE)
    status = main(
        ["rehearse", "charge-over-temperature", "--bench", str(out / "mine.yaml"), "--out", str(out / "runs"), *FOLDER]
    )
    (folder,) = (out / "runs").iterdir()
    return status, folder


def test_the_run_has_the_limits_and_hands_of_the_file_and_the_addresses_of_the_simulation(rehearsed_on_mine):
    _, folder = rehearsed_on_mine
    text = (folder / "inputs" / "bench.yaml").read_text()
    bench = parse_bench(text, "bench.yaml")
    assert (bench.instruments.supply.limits.voltage, bench.instruments.supply.limits.current) == (30.0, 10.0)
    assert set(bench.roles()) == {"supply", "probe", "load", "display"}
    assert bench.by_hand("load")
    assert bench.simulated
    assert "192.0.2" not in text
    assert "A MAKER" not in text
    assert "987" not in text


def test_what_is_known_of_its_readings_is_taken_off_and_the_truth_is_found(rehearsed_on_mine):
    """The thermometer reads 0.5 K to 0.9 K too much: uncorrected, the trip would be off by twice its U."""
    status, folder = rehearsed_on_mine
    truth = json.loads((folder / "truth.json").read_text())["thresholds"]["charge_over_temperature"]["T1"]
    findings = {each["name"]: each for each in json.loads((folder / "findings.json").read_text())["findings"]}
    assert status == 0
    for name in ("trip", "release"):
        assert abs(findings[name]["value"] - truth[name]) < findings[name]["expanded_uncertainty"] < 0.7


def test_errors_are_drawn_within_what_the_file_declares():
    declared = declared_bench(parse_bench(MINE, "mine"))
    pack = parse_pack(DEMO_PACK.read_text(encoding="utf-8"), "pack")
    currents, probes = [], []
    for seed in range(40):
        truth = draw(declared_for_twin(pack, declared), "sound", seed).bench
        currents.append(truth.errors["supply current"](4.0))
        probes.append(truth.errors["probe"](40.0))
        assert truth.aperture == 0.4
        assert truth.errors["load current"](4.0) == 0.0
    assert max(map(abs, currents)) <= 0.005 * 4.0 + 0.020
    assert max(map(abs, currents)) > 0.015
    assert all(abs(each - 0.7) < 0.25 for each in probes)  # 0.05 K standard uncertainty about the line


def test_by_hand_is_said_in_the_file_and_not_beside_it(tmp_path, capsys):
    (tmp_path / "mine.yaml").write_text(MINE)
    assert main(["rehearse", "--bench", str(tmp_path / "mine.yaml"), "--by-hand", "--unattended"]) == 2
    assert "--bench says itself what is by hand" in capsys.readouterr().err


# ---- neither can be taken for the other --------------------------------------------------------------------------


def test_a_rehearsal_of_a_real_bench_file_says_so_everywhere(rehearsed_on_mine):
    _, folder = rehearsed_on_mine
    first = json.loads((folder / "events.jsonl").read_text().splitlines()[0])
    assert first["simulated"] is True
    assert json.loads((folder / "inputs" / "resolved.json").read_text())["simulated"] is True
    assert json.loads((folder / "findings.json").read_text())["simulated"] is True
    assert "REHEARSAL ON A SIMULATED BENCH" in page(evaluate(RunFolder(folder)))


def test_its_kept_bench_file_edited_to_be_real_changes_nothing(rehearsed_on_mine):
    _, folder = rehearsed_on_mine
    path = folder / "inputs" / "bench.yaml"
    text = path.read_text()
    try:
        path.write_text(text.replace("simulated: true", "simulated: false"))
        assert evaluate(RunFolder(folder)).simulated is True
    finally:
        path.write_text(text)


class Bench:
    """Instruments in this process, and a bench file for them; ``run`` is a real run as the command makes one."""

    def __init__(self):
        self.clock = VirtualClock()
        self.rehearsal = Rehearsal(read_file(DEMO_PACK), "sound", 1, self.clock, sockets=False)
        self.text = self.rehearsal.bench.text

    def run(self, out, text, folder=None, resumption=None):
        job = load(user_file("short.yaml", SHORT_PROCEDURE), self.rehearsal.pack, UserFile("bench.yaml", text), ("T1",))
        operator = ScriptedOperator(UNATTENDED, lambda *_: None, lambda *_: None, self.rehearsal.eyes)
        site = Site(self.clock, self.rehearsal.connect)
        return carrying_out.execute(job, operator, site, out, StopFlag(), folder=folder, resumption=resumption)


@pytest.fixture
def bench():
    return Bench()


@pytest.fixture
def of_some_maker(monkeypatch):
    """The instruments do not say that they are simulated: to the program they are real ones."""
    monkeypatch.setattr(carrying_out, "is_simulated", lambda identity: False)


def test_simulated_instruments_behind_a_file_that_calls_them_real_make_a_rehearsal(tmp_path, bench):
    """The bench file of a simulated bench with ``simulated:`` edited or taken out."""
    for text in (
        bench.text.replace("simulated: true", "simulated: false"),
        bench.text.replace("simulated: true\n", ""),
    ):
        result = bench.run(tmp_path, text)
        assert result.evaluation.simulated is True
        assert "REHEARSAL ON A SIMULATED BENCH" in page(result.evaluation)


def test_real_instruments_behind_a_file_that_calls_them_simulated_are_refused_before_anything_is_on(
    tmp_path, bench, of_some_maker
):
    with pytest.raises(SheetError, match="simulated: true, but no instrument of this bench says that it is simulated"):
        bench.run(tmp_path, bench.text)
    assert not list(tmp_path.iterdir())
    assert bench.rehearsal.world.switched == []


def test_a_real_run_stays_one_when_its_kept_bench_file_is_edited(tmp_path, bench, of_some_maker):
    result = bench.run(tmp_path, bench.text.replace("simulated: true\n", ""))
    path = result.folder.path / "inputs" / "bench.yaml"
    path.write_text("simulated: true\n" + path.read_text())
    again = evaluate(result.folder)
    assert again.simulated is False
    assert again.as_json()["simulated"] is False
    assert "REHEARSAL" not in page(again)


def test_a_run_that_was_begun_on_one_kind_of_bench_does_not_go_on_at_the_other(tmp_path, bench, monkeypatch):
    text = bench.text.replace("simulated: true\n", "")
    begun = bench.run(tmp_path, text).folder
    monkeypatch.setattr(carrying_out, "is_simulated", lambda identity: False)
    with pytest.raises(RecordError, match="begun on a simulated bench and this is a real bench"):
        bench.run(tmp_path, text, begun, Resumption(1, "2026-11-26T00:00:00+00:00", 10.0, "stopped"))
