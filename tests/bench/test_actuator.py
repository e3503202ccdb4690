"""An actuator is told with everything read back, stays within its limits, and goes off with supply and load, by guard too."""

import contextlib
import json

import pytest

from runner.bench.actuator import Actuator
from runner.bench.assembly import Bench
from runner.bench.dialect import BUILT_IN, Driver
from runner.cli import main
from runner.conduct.clock import VirtualClock
from runner.errors import BenchError, SettingError
from runner.rehearsal.simulated_bench import Rehearsal
from runner.sheets.bench import parse_bench
from runner.sheets.instruments import ActuatorSheet
from runner.workspace.job import DEMO_PACK, read_file
from tests.builders import BENCH, SHORT_PROCEDURE, a_file, short_rehearsal

LIMITS = {"lowest": "-10 degC", "highest": "70 degC"}
SHEET = {"address": "TCPIP::127.0.0.1::9::SOCKET", "limits": LIMITS, "fastest": "5 K/min"}


class Wire:
    """An actuator that keeps what it is set to; ``deaf`` to one of its words."""

    instrument = "actuator"

    def __init__(self, deaf=""):
        self.deaf, self.said = deaf, []
        self.state = {"TEMP:SPO": "0", "TEMP:RATE": "0", "TEMP:PROT:HIGH": "0", "OUTP": "0", "MEAS:TEMP": "41.7"}

    held = contextlib.nullcontext

    def tell(self, text, acknowledge=None):
        self.said.append(text)
        word, _, value = text.partition(" ")
        if word in self.state and word != self.deaf:
            self.state[word] = {"ON": "1", "OFF": "0"}.get(value, value)

    def ask(self, text, replies=1):
        return ["0" if text.startswith("SYST") else self.state[text.rstrip("?")]]


def actuator(wire, **more):
    return Actuator(Driver(wire, BUILT_IN["actuator"]), ActuatorSheet.model_validate({**SHEET, **more}))


def test_its_own_limit_rate_and_set_point_are_there_before_it_is_switched_on():
    wire = Wire()
    assert actuator(wire).guide("heat", "T1", 2 / 60) == (70.0, pytest.approx(2 / 60))
    assert wire.said == ["TEMP:PROT:HIGH 70", "TEMP:RATE 2", "TEMP:SPO 70", "OUTP ON"]


def test_it_is_never_faster_than_its_sheet_and_cools_no_further():
    wire = Wire()
    assert actuator(wire).guide("cool", "T1", 0.0) == (-10.0, pytest.approx(5 / 60))


def test_hold_keeps_the_temperature_that_it_has_and_still_takes_the_heat_away():
    wire = Wire()
    assert actuator(wire).guide("hold", "T1", 0.0)[0] == 41.7
    assert actuator(wire, rest="23 degC").guide("still", "T1", 0.0)[0] == 23.0
    assert wire.state["OUTP"] == "1", "a chamber between two sensors stays on"
    assert actuator(wire).guide("still", "T1", 0.0) is None
    assert wire.state["OUTP"] == "0", "a plate without a temperature of rest goes off"


def test_one_that_has_gone_off_by_itself_is_no_reading():
    wire = Wire()
    plate = actuator(wire)
    assert plate.read() == 41.7, "nobody has told it to be on"
    plate.guide("heat", "T1", 2 / 60)
    assert plate.read() == 41.7
    wire.state["OUTP"] = "0"
    with pytest.raises(BenchError, match="switched off by itself"):
        plate.read()


@pytest.mark.parametrize("word", ["TEMP:PROT:HIGH", "TEMP:RATE", "TEMP:SPO"])
def test_what_does_not_read_back_as_it_was_set_is_an_error_before_it_is_on(word):
    wire = Wire(deaf=word)
    with pytest.raises(SettingError):
        actuator(wire).guide("heat", "T1", 2 / 60)
    assert wire.state["OUTP"] == "0"


def test_the_output_that_is_on_the_sensor_is_chosen_and_another_sensor_is_refused():
    wire = Wire()
    several = actuator(wire, places={"T1": "left", "T2": "right"})
    several.guide("heat", "T2", 2 / 60)
    assert wire.said[0] == 'INST:SEL "right"'
    with pytest.raises(BenchError, match="no output of the actuator is on T3"):
        several.guide("heat", "T3", 2 / 60)


def test_a_run_with_an_actuator_finds_what_a_person_finds_and_ends_with_it_off(tmp_path):
    run = short_rehearsal(tmp_path, actuator=True)
    truth = run.truth["thresholds"]["charge_over_temperature"]["T1"]
    for name in ("trip", "release"):
        found = run.finding(name)
        assert abs(found.value - truth[name]) < 1.5 * found.expanded_uncertainty
    assert run.world.hands.action == "still"
    journal = (run.result.folder.path / "events.jsonl").read_text()
    assert "ActuatorIsSet" in journal
    assert "The actuator heats T1 at 3 K/min." in journal
    assert "actuator_temperature_degC" in (run.result.folder.path / "samples.csv").read_text().splitlines()[0]


def test_off_means_the_actuator_too_but_the_off_between_two_steps_does_not():
    clock = VirtualClock()
    with Rehearsal(read_file(DEMO_PACK), "sound", 1, clock, actuator=True, sockets=False) as rehearsal:
        sheet = parse_bench(rehearsal.bench.text, "bench.yaml")
        bench = Bench(sheet, {}, clock, rehearsal.connect)
        assert set(bench.off_words) >= {"supply", "load", "actuator"}, "the guard has its words as well"
        assert bench.actuator is not None
        bench.actuator.guide("heat", "T1", 2 / 60)
        assert bench.off(everything=False) == (True, "")
        assert rehearsal.world.hands.action == "heat"
        assert bench.off() == (True, "")
        assert rehearsal.world.hands.action == "still"


@pytest.mark.parametrize(
    ("change", "part"),
    [
        ({"by_hand": "true", "address": ""}, "an actuator cannot be by hand"),
        ({"rest": "90 degC"}, "rest is outside the limits"),
        ({"limits": "{lowest: 70 degC, highest: 20 degC}"}, "lowest is not below highest"),
    ],
)
def test_a_sheet_that_makes_no_sense_is_refused(tmp_path, capsys, change, part):
    values = {
        "address": SHEET["address"],
        "limits": "{lowest: -10 degC, highest: 70 degC}",
        "fastest": "5 K/min",
        **change,
    }
    lines = "".join(f"    {key}: {value}\n" for key, value in values.items() if value)
    path = a_file(tmp_path / "bench.yaml", BENCH.format(port=1) + f"  actuator:\n{lines}")
    assert main(["check", str(path)]) == 2
    assert part in capsys.readouterr().err


@pytest.mark.parametrize(
    ("details", "part"),
    [
        ("limits: {lowest: 0 degC, highest: 58 degC}, fastest: 5 K/min", "the limit here is 58.0 °C"),
        ("limits: {lowest: 0 degC, highest: 64 degC}, fastest: 5 K/min", "goes to 63.0 °C and needs 2 K beyond that"),
        ("limits: {lowest: 0 degC, highest: 80 degC}, fastest: 1 K/min", "the actuator can do 1 K/min"),
        ("limits: {lowest: 0 degC, highest: 80 degC}, fastest: 5 K/min, places: {T9: A}", "no output is on T1"),
    ],
)  # fmt: skip
def test_what_it_cannot_do_of_a_procedure_is_said_before_the_run(tmp_path, capsys, details, part):
    text = BENCH.format(port=1) + f"  actuator: {{address: 'TCPIP::127.0.0.1::9::SOCKET', {details}}}\n"
    path = a_file(tmp_path / "bench.yaml", text)
    assert main(["run", "charge-over-temperature", "--pack", str(DEMO_PACK), "--bench", str(path), "--plain"]) == 2
    assert part in capsys.readouterr().err


def test_several_outputs_need_a_word_that_chooses_one(tmp_path, capsys):
    dialect = BUILT_IN["actuator"].model_dump(mode="json", exclude_defaults=True)
    del dialect["commands"]["select"]
    a_file(tmp_path / "own.yaml", json.dumps(dialect))
    details = "dialect: own.yaml, limits: {lowest: 0 degC, highest: 80 degC}, fastest: 5 K/min, places: {T1: A}"
    text = BENCH.format(port=1) + f"  actuator: {{address: 'TCPIP::127.0.0.1::9::SOCKET', {details}}}\n"
    assert main(["check", str(a_file(tmp_path / "bench.yaml", text))]) == 2
    assert "has no word that chooses one of several outputs" in capsys.readouterr().err


WAITING = SHORT_PROCEDURE.replace(
    "        - heat:", "        - wait: {above: 85 degC, give_up: 20 min}\n        - heat:"
)


def test_a_wait_on_a_sensor_is_within_the_limits_too(tmp_path, capsys):
    details = "limits: {lowest: 0 degC, highest: 80 degC}, fastest: 5 K/min"
    bench = BENCH.format(port=1) + f"  actuator: {{address: 'TCPIP::127.0.0.1::9::SOCKET', {details}}}\n"
    files = [a_file(tmp_path / f"{name}.yaml", text) for name, text in {"p": WAITING, "b": bench}.items()]
    assert main(["run", str(files[0]), "--pack", str(DEMO_PACK), "--bench", str(files[1]), "--plain"]) == 2
    assert "goes to 85.0 °C" in capsys.readouterr().err
