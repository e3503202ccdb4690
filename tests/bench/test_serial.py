"""A serial line through PyVISA and pyserial, on pseudo terminals: every manner of speaking, and never a swapped reading."""

import contextlib
import dataclasses
import json
import subprocess
import sys
import threading
import time

import pytest

from runner.bench.framing import Framing
from runner.bench.link import Link
from runner.bench.off import OffWords, attempt
from runner.bench.transports.choose import Wiring
from runner.bench.wired import wiring
from runner.errors import LinkError, SheetError
from runner.sheets.bench import parse_bench
from tests.instruments.terminal import OnATerminal

QUIET = 0.3


def linked(instrument, timeout=0.2, **framing):
    wanted = {"write_end": "\r", "read_end": "\r", "quiet": QUIET, **framing}
    wired = Wiring(instrument.address, "@py", timeout, Framing(**wanted))
    return Link(wired.transport, wired.address, "supply", timeout=timeout, framing=wired.framing)


def volts(text):
    """A supply of few words: V? has a reply, everything else is a command."""
    return {"V?": b"26.37\r", "I?": b"4.210\r"}.get(text)


@pytest.fixture
def on_a_terminal():
    made = []

    def make(*args, **more):
        made.append(OnATerminal(*args, **more))
        return made[-1]

    yield make
    for each in made:
        each.close()


def test_a_carriage_return_ends_commands_and_replies(on_a_terminal):
    link = linked(on_a_terminal(volts))
    link.tell("V 26.4")
    assert link.ask("V?") == ["26.37"]
    assert link.ask("I?") == ["4.210"]


def test_one_that_acts_on_a_carriage_return_and_ends_replies_otherwise(on_a_terminal):
    link = linked(on_a_terminal(lambda text: b"1.25\r\n"), read_end="\r\n")
    assert [link.ask("V?") for _ in range(5)] == [["1.25"]] * 5


def test_an_echo_is_taken_off_commands_and_questions(on_a_terminal):
    instrument = on_a_terminal(volts, echo=True)
    link = linked(instrument, echo=True)
    for _ in range(20):
        link.tell("SET 5")
        assert link.ask("V?") == ["26.37"]
    assert instrument.heard.count("SET 5") == 20


def test_an_echo_that_is_not_what_was_sent_is_a_fault(on_a_terminal):
    link = linked(on_a_terminal(lambda text: b"SET 6\r"), echo=True)
    with pytest.raises(LinkError, match="is not what was sent"):
        link.tell("SET 5")


def test_a_gap_is_kept_between_commands(on_a_terminal):
    instrument = on_a_terminal(volts, gap=0.02)
    link = linked(instrument, timeout=2.0, gap=0.08)  # its thread may be late on a busy machine
    for _ in range(3):
        link.tell("SET 5")
        assert link.ask("V?") == ["26.37"]
    assert not instrument.missed


def test_a_second_reply_that_comes_in_the_gap_is_no_answer_to_the_next_question(on_a_terminal):
    instrument = on_a_terminal(lambda text: (f"{text}\r".encode(), 0.02, b"26.37\r"))
    link = linked(instrument, timeout=2.0, gap=0.15)
    assert link.ask("A?") == ["A?"]
    with pytest.raises(LinkError, match="old"):
        link.ask("B?")


def test_without_the_gap_that_instrument_does_miss_commands(on_a_terminal):
    """The test before this one would pass for nothing otherwise."""
    instrument = on_a_terminal(volts, gap=0.05)
    link = linked(instrument)
    link.tell("SET 5")
    with pytest.raises(LinkError, match="no reply"):
        link.ask("V?")
    assert instrument.missed == ["V?"]


def test_a_reply_without_an_end_ends_with_silence(on_a_terminal):
    link = linked(on_a_terminal(lambda text: b"26.37"), read_end="", silence=0.04)
    assert [link.ask("V?") for _ in range(3)] == [["26.37"]] * 3


def test_a_reply_of_a_fixed_length_ends_there_even_if_it_comes_in_pieces(on_a_terminal):
    link = linked(on_a_terminal(lambda text: (b"26", 0.1, b".37")), read_end="", length=5)
    assert [link.ask("V?") for _ in range(2)] == [["26.37"]] * 2


def test_half_a_reply_of_a_fixed_length_is_no_reading(on_a_terminal):
    link = linked(on_a_terminal(lambda text: b"26.3"), read_end="", length=5)
    with pytest.raises(LinkError, match="no reply within"):
        link.ask("V?")


@pytest.mark.parametrize("late", [0.25, 0.35, 0.45])
def test_a_late_reply_is_thrown_away_and_never_swaps_readings(on_a_terminal, late):
    asked = []

    def answer(text):
        asked.append(text)
        return (late, b"99.99\r") if len(asked) == 1 else volts(text)

    link = linked(on_a_terminal(answer))
    with pytest.raises(LinkError, match="no reply within"):
        link.ask("V?")
    link.hurry()
    for _ in range(5):
        assert link.ask("I?") == ["4.210"]
        assert link.ask("V?") == ["26.37"]


def test_the_tail_of_half_a_reply_is_no_reading(on_a_terminal):
    asked = []

    def answer(text):
        asked.append(text)
        return (b"26.", 0.35, b"37\r") if len(asked) == 1 else volts(text)

    link = linked(on_a_terminal(answer))
    with pytest.raises(LinkError, match="no reply within"):
        link.ask("V?")
    link.hurry()
    assert link.ask("V?") == ["26.37"]


def test_nothing_is_asked_before_the_line_has_been_silent(on_a_terminal):
    instrument = on_a_terminal(volts)
    link = linked(instrument)
    began = time.monotonic()
    link.ask("V?")
    assert time.monotonic() - began >= QUIET
    began = time.monotonic()
    link.ask("V?")
    assert time.monotonic() - began < QUIET


def test_noise_before_a_question_is_a_fault_and_not_its_reply(on_a_terminal):
    instrument = on_a_terminal(volts)
    link = linked(instrument)
    link.ask("V?")
    instrument.send(b"\x00\xf3.9\r")
    time.sleep(0.05)
    with pytest.raises(LinkError, match="discarded"):
        link.ask("V?")
    link.hurry()
    assert link.ask("V?") == ["26.37"]


def test_a_line_that_never_falls_silent_is_said_to_be_one(on_a_terminal):
    instrument = on_a_terminal(volts)
    link = linked(instrument)
    over = time.monotonic() + 2.0

    def talk():
        while time.monotonic() < over:
            instrument.send(b"23.4\r")
            time.sleep(0.02)

    thread = threading.Thread(target=talk)
    thread.start()
    with pytest.raises(LinkError, match="did not fall silent"):
        link.ask("V?")
    thread.join()


def test_off_goes_out_at_once_though_nothing_may_be_asked_yet(on_a_terminal):
    """Somebody else's reply may be on its way; the command does not wait for it, the question does."""
    state = {"on": True}
    off_at = []

    def answer(text):
        if text == "OUT0":
            state["on"] = False
            off_at.append(time.monotonic())
        return f"{int(state['on'])}\r".encode() if text == "OUT?" else None

    link = linked(on_a_terminal(answer))
    began = time.monotonic()
    assert attempt(link, OffWords("OUT0", None, "OUT?", "([01])"))
    assert off_at[0] - began < QUIET / 2 < QUIET < time.monotonic() - began


def test_off_waits_for_nobody_who_waits_for_silence(on_a_terminal):
    """A poll of another thread holds the line and waits until it is silent; off must not wait for that."""
    off_at = []

    def answer(text):
        if text == "OUT0":
            off_at.append(time.monotonic())
        return b"0\r" if text == "OUT?" else None

    link = linked(on_a_terminal(answer), quiet=2.0)

    def poll():
        with contextlib.suppress(LinkError):
            link.ask("V?")

    thread = threading.Thread(target=poll)
    thread.start()
    time.sleep(0.2)
    began = time.monotonic()
    while (
        not off_at and time.monotonic() - began < 5.0
    ):  # as the way out goes on trying: a busy machine may lose a reply
        attempt(link, OffWords("OUT0", None, "OUT?", "([01])"))
    assert off_at[0] - began < 1.0, "half of what the other waits for"
    thread.join()


def test_a_port_that_is_not_there_is_said_so(tmp_path):
    wired = Wiring(f"ASRL{tmp_path}/nothing::INSTR")
    with pytest.raises(LinkError, match="no connection"):
        Link(wired.transport, wired.address, "supply", timeout=0.2).ask("V?")


def test_what_is_not_installed_is_named_with_the_command_that_installs_it():
    code = """
import sys
sys.modules["serial"] = None
import importlib.util
real = importlib.util.find_spec
importlib.util.find_spec = lambda name, *more: None if name == "serial" else real(name, *more)
from runner.bench.transports.choose import Wiring
from runner.bench.link import Link
wired = Wiring("ASRL/dev/ttyS0::INSTR")
try:
    Link(wired.transport, wired.address, "supply", timeout=0.2).ask("V?")
except Exception as error:
    print(error)
"""
    done = subprocess.run([sys.executable, "-W", "ignore", "-c", code], capture_output=True, text=True, check=True)
    assert "pip install 'tripwitness[serial]'" in done.stdout


BENCH = """\
kind: bench
name: one
instruments:
  supply:
    address: "{address}"
    serial: {serial}
    limits: {{voltage: 30 V, current: 10 A}}
"""


def supply(serial, address="ASRL/dev/ttyUSB0::INSTR"):
    return parse_bench(BENCH.format(serial=serial, address=address), "b.yaml").instruments.supply


def test_the_block_in_a_bench_file_is_what_the_line_is_set_to():
    block = "{baud: 19200, data_bits: 7, parity: even, stop_bits: 2, flow: xon_xoff, write_end: CR, read_end: CR LF, gap: 50 ms, echo: true, wake: 2 s}"
    wired = wiring(supply(block), "@py")
    assert (wired.port.baud, wired.port.data_bits) == (19200, 7)
    assert (wired.port.parity, wired.port.stop_bits, wired.port.flow) == ("even", 2, "xon_xoff")
    assert (wired.framing.write_end, wired.framing.read_end) == ("\r", "\r\n")
    assert (wired.framing.gap, wired.framing.echo, wired.framing.wake) == (0.05, True, 2.0)
    assert wired.framing.quiet == 2.0  # twice the time-out of 1 s
    assert Wiring.of(json.loads(json.dumps(dataclasses.asdict(wired)))) == wired


@pytest.mark.parametrize(
    ("serial", "gap"),
    [
        ("{length: 6, read_end: none}", 3.5 * 10 / 9600 + 0.016),
        ("{read_end: CR, baud: 1200, parity: even, stop_bits: 2}", 3.5 * 12 / 1200 + 0.016),
        ("{read_end: CR, baud: 115200}", 0.00175 + 0.016),
        ("{read_end: CR, gap: 0 s}", 0.0),
        ("{read_end: CR, echo: true}", 0.0),
        ("{read_end: none}", 0.0),
    ],
)
def test_a_second_answer_has_time_to_be_noticed_where_nothing_else_gives_it_away(serial, gap):
    """3.5 characters, at least 1.75 ms: MODBUS over Serial Line Specification V1.02, 2.5.1.1; 16 ms of an adapter from memory."""
    assert wiring(supply(serial), "@py").framing.gap == pytest.approx(gap)


def test_one_that_answers_twice_in_replies_of_a_fixed_length_is_found_out(on_a_terminal):
    instrument = on_a_terminal(lambda text: (b"26.37", 0.001, b"26.37"))
    wired = wiring(supply("{write_end: CR, read_end: none, length: 5, quiet: 50 ms}", instrument.address), "@py")
    link = Link(wired.transport, wired.address, "supply", timeout=2.0, framing=wired.framing)
    assert link.ask("V?") == ["26.37"]
    with pytest.raises(LinkError, match="old"):
        link.ask("I?")


@pytest.mark.parametrize(
    ("serial", "address", "what"),
    [
        ("{baud: 1}", "ASRL3::INSTR", "baud"),
        ("{parity: some}", "ASRL3::INSTR", "not one of"),
        ("{stop_bits: 3}", "ASRL3::INSTR", "stop bits"),
        ("{read_end: never ends}", "ASRL3::INSTR", "line end"),
        ("{read_end: none, silence: 0 s}", "ASRL3::INSTR", "silence"),
        ("{baud: 9600}", "TCPIP::192.0.2.1::5025::SOCKET", "cannot be set"),
        ("{gap: 1 s}", "TCPIP::192.0.2.1::INSTR", "no serial line"),
        ("{gap: 20 s}", "ASRL3::INSTR", "10"),
        ("{}", "SERIAL9", "not an address"),
        ("{}", "MODBUS", "Modbus address"),
        ("{}", "ASRL", "serial line"),
    ],
)
def test_what_cannot_be_set_is_refused(serial, address, what):
    with pytest.raises(SheetError, match=what):
        supply(serial, address)


def test_a_serial_number_is_still_a_serial_number():
    assert supply("A-0417").line is None
    assert supply("A-0417").serial == "A-0417"
