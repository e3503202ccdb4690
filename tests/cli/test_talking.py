"""Trying a dialect line by line: bytes, times, what was understood; and what was switched on is off at the end."""

import io
import os
import re
import signal
import socket
import subprocess

import pytest

from runner.cli import main
from runner.errors import Busy
from runner.sheets.bench import parse_bench
from runner.trying.finding import find
from runner.trying.talking import talk
from runner.workspace.locks import Locks, resolved
from tests.instruments.bench import FEW_WORDS, World
from tests.instruments.terminal import OnATerminal
from tests.processes import PROGRAM, until

DIALECT = FEW_WORDS + '  output: {ask: "O?", on_word: "ON", off_word: "OFF"}\n'
BENCH = """\
kind: bench
name: one
instruments:
  supply:
    address: "{address}"
    dialect: few.yaml
    timeout: 0.3 s
    serial: {{write_end: CR, read_end: CR, echo: true, quiet: 0.2 s}}
    limits: {{voltage: 30 V, current: 10 A}}
"""


PLATE = """\
kind: bench
name: plate
instruments:
  actuator:
    address: "{address}"
    limits: {{lowest: -40 degC, highest: 90 degC}}
    fastest: 10 K/min
"""


class Supply(OnATerminal):
    def __init__(self):
        self.on, self.volts = False, 0.0
        super().__init__(self.hear, echo=True)

    def hear(self, text):
        if text in ("O0", "O1"):
            self.on = text == "O1"
        elif text == "O?":
            return b"ON\r" if self.on else b"OFF\r"
        elif text == "R":
            return f"V={self.volts:.2f} I=0.00\r".encode()
        elif text[:1] == "V":
            self.volts = float(text[1:])
        return None


@pytest.fixture
def bench(tmp_path):
    with Supply() as supply:
        (tmp_path / "few.yaml").write_text(DIALECT)
        path = tmp_path / "bench.yaml"
        path.write_text(BENCH.format(address=supply.address))
        yield supply, path


def talked(path, *lines):
    out = io.StringIO()
    status = talk(path, "supply", io.StringIO("\n".join(lines) + "\n"), out)
    return status, out.getvalue()


def test_bytes_times_and_what_was_understood_are_shown(bench):
    supply, path = bench
    status, said = talked(path, "set_voltage 12.5", "voltage", "? R", "words", "what", "end")
    assert status == 0
    assert supply.volts == 12.5
    assert re.search(r"\d+\.\d ms  sent      'V12.50\\r'", said)
    assert re.search(r"\d+\.\d ms  received  '.*V=12.50 I=0.00\\r'", said)
    assert "voltage = 12.5 V" in said
    assert "reply: 'V=12.50 I=0.00'" in said
    assert "set_voltage, set_current, output_on, output_off, voltage, current, output" in said
    assert "'what' is no word of this dialect" in said


def test_the_answer_to_a_text_that_was_only_sent_is_in_nobodys_way(bench):
    _, path = bench
    status, said = talked(path, "! R", "output_off", "voltage", "end")
    assert status == 0
    assert "failed" not in said, said
    assert "voltage = 0 V" in said


@pytest.mark.parametrize("on", ["output_on", "! O1"])
def test_what_was_switched_on_is_off_and_read_back_at_the_end(bench, on):
    supply, path = bench
    status, said = talked(path, on, "output")
    assert "output = 1" in said
    assert said.rstrip().endswith("off, read back")
    assert not supply.on
    assert status == 0


def test_a_word_that_sets_keeps_to_the_limits_of_the_bench_file(bench):
    supply, path = bench
    _, said = talked(path, "set_voltage 31", "set_voltage -1", "set_voltage nan", "set_voltage much")
    assert "not sent: 31 is more than the 30 that the bench file allows" in said
    assert "not sent: -1 is no voltage that is set here" in said
    assert "not sent: nan is no voltage that is set here" in said
    assert "needs a number" in said
    assert not any(text.startswith("V") for text in supply.heard)


def test_what_heats_keeps_to_the_limits_of_the_bench_file_and_is_not_switched_on_beyond_them(tmp_path):
    """Set at its front to more than it may get here, as a person might have left it."""
    with World() as world:
        path = tmp_path / "plate.yaml"
        path.write_text(PLATE.format(address=world.servers.address("actuator")))
        out = io.StringIO()
        typed = (
            "! TEMP:SPO 120",
            "output_on",
            "set_temperature 300",
            "set_temperature -41",
            "set_rate 11",
            "set_limit 91",
            "output",
        )
        talk(path, "actuator", io.StringIO("\n".join(typed) + "\n"), out)
    said = out.getvalue()
    assert "not sent: its temperature is set to 120, outside -40 to 90" in said
    assert "not sent: 300 is more than the 90 that the bench file allows" in said
    assert "not sent: -41 is no temperature that is set here; it has to be -40 or more" in said
    assert "not sent: 11 is more than the 10 that the bench file allows" in said
    assert "not sent: 91 is more than the 90 that the bench file allows" in said
    assert "output = 0" in said


@pytest.mark.parametrize(
    ("role", "limits", "beyond", "on", "what"),
    [
        ("supply", "voltage: 30 V, current: 10 A", "! VOLT 34", "output_on", "voltage is set to 34, outside 0 to 30"),
        ("supply", "voltage: 30 V, current: 2 A", "! CURR 12", "output_on", "current is set to 12, outside 0 to 2"),
        ("load", "voltage: 60 V, current: 2 A", "! CURR 12", "input_on", "current is set to 12, outside 0 to 2"),
    ],
)
def test_supply_and_load_are_not_switched_on_while_they_are_set_beyond_the_bench_file(
    tmp_path, role, limits, beyond, on, what
):
    with World() as world:
        path = tmp_path / "bench.yaml"
        address = world.servers.address(role)
        path.write_text(
            f"kind: bench\nname: b\ninstruments:\n  {role}: {{address: '{address}', limits: {{{limits}}}}}\n"
        )
        out = io.StringIO()
        state = on.removesuffix("_on")
        within = ("! VOLT 26", "set_current 1") if role == "supply" else ("set_current 1",)
        talk(path, role, io.StringIO("\n".join((beyond, on, state, *within, on, state)) + "\n"), out)
    said = out.getvalue()
    assert f"not sent: its {what} of the bench file" in said
    assert said.index(f"{state} = 0") < said.index(f"{state} = 1")


def test_its_instrument_is_locked_by_whatever_name_it_is_called(bench):
    supply, path = bench
    with Locks("another") as locks:
        locks.instrument("supply", f"MODBUS::{supply.path}")
        with pytest.raises(Busy):
            talked(path, "voltage")
    assert resolved(supply.address) == resolved(f"MODBUS::{supply.path}")


def test_a_role_that_is_not_there_is_said_with_those_that_are(bench, capsys):
    _, path = bench
    assert main(["bench", str(path), "--talk", "load"]) == 2
    assert "choose one of: supply" in capsys.readouterr().err


def test_a_killed_talk_leaves_it_off(bench):
    supply, path = bench
    pipes = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.PIPE)
    process = subprocess.Popen([*PROGRAM, "bench", str(path), "--talk", "supply"], **pipes, text=True)
    process.stdin.write("output_on\n")
    process.stdin.flush()
    until(lambda: supply.on, 20, "the output to be on")
    os.kill(process.pid, signal.SIGKILL)
    until(lambda: not supply.on, 10, "the guard to switch it off")
    _, said = process.communicate(timeout=30)  # the guard holds this pipe too: it is done when the pipe ends
    assert "supply switched off and read back" in said


def test_that_nothing_was_reached_is_said_with_nothing_to_resume_or_to_switch(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as server:
        address = f"TCPIP::127.0.0.1::{server.getsockname()[1]}::SOCKET"
    path = tmp_path / "bench.yaml"
    path.write_text(
        f'kind: bench\nname: one\ninstruments:\n  supply: {{address: "{address}", limits: {{voltage: 30 V, current: 10 A}}}}\n'
    )
    status, said = talked(path, "voltage")
    assert status == 4
    assert f"not connected: supply: no connection to {address}" in said
    assert "no connection was ever made: nothing was sent" in said
    assert "BY HAND" not in said


# ---- finding -----------------------------------------------------------------------------------------------------


def test_what_is_found_is_listed_and_written_as_a_bench_file(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("runner.trying.finding.SERIAL", (f"{tmp_path}/tty*",))
    (tmp_path / "ttyUSB7").touch()
    path = tmp_path / "new.yaml"
    assert main(["bench", str(path), "--find"]) == 0
    said = capsys.readouterr().out
    assert f"ASRL{tmp_path}/ttyUSB7::INSTR" in said
    text = path.read_text()
    assert f'#    address: "ASRL{tmp_path}/ttyUSB7::INSTR"' in text
    assert parse_bench(text, "new.yaml").wired() == {}


def test_a_file_that_is_there_and_a_range_of_no_use_are_said_before_anything_is_looked_for(
    tmp_path, capsys, monkeypatch
):
    monkeypatch.delattr("runner.trying.finding._serial")
    path = tmp_path / "mine.yaml"
    path.write_text("mine")
    assert main(["bench", str(path), "--find", "--network", "192.0.2.0/16"]) == 2
    said = capsys.readouterr().err
    assert "mine.yaml: is there already" in said
    assert "more than 256" in said
    assert path.read_text() == "mine"
    assert main(["bench", str(tmp_path / "no" / "new.yaml"), "--find"]) == 2
    assert "there is no folder" in capsys.readouterr().err


def test_a_network_is_looked_through_only_when_it_is_asked_for(monkeypatch, capsys):
    knocked = []
    monkeypatch.setattr(
        "runner.trying.finding._knocked", lambda host, port: knocked.append((host, port)) or port == 502
    )
    find("", None)
    assert knocked == []
    find("192.0.2.0/30", None)
    assert {host for host, _ in knocked} == {"192.0.2.1", "192.0.2.2"}
    assert "MODBUS::192.0.2.1::502" in capsys.readouterr().out


@pytest.mark.parametrize(("network", "part"), [("192.0.2.0/16", "more than 256"), ("here", "does not appear")])
def test_a_range_of_no_use_is_refused(network, part, capsys):
    assert main(["bench", "--find", "--network", network]) == 2
    assert part in capsys.readouterr().err


def test_without_a_file_there_is_nothing_to_check(capsys):
    assert main(["bench"]) == 2
    assert "no bench file given" in capsys.readouterr().err
