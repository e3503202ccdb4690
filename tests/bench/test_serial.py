"""A serial line through PyVISA and pyserial, on pseudo terminals: every manner of speaking, and never a swapped reading."""

import dataclasses
import itertools
import json
import subprocess
import sys
import threading
import time

import pytest

from runner.bench.framing import Conversation, Framing
from runner.bench.link import Link
from runner.bench.off import Asked, OffWords, attempt
from runner.bench.replies import Reading
from runner.bench.transports.choose import Wiring
from runner.bench.wired import wiring
from runner.errors import LinkError, SheetError
from runner.sheets.bench import parse_bench
from tests.instruments.patience import ANSWERED, QUIET, SILENT, Patient, silence, watched
from tests.instruments.terminal import OnATerminal


@pytest.fixture(autouse=True)
def _an_opening_may_take_its_time(monkeypatch):
    Wiring("ASRL/dev/ttyS0::INSTR").load()  # not within the first opening
    monkeypatch.setattr("runner.bench.link.OPEN_TIMEOUT", ANSWERED)


def linked(instrument, timeout=ANSWERED, before=None, **framing):
    """``before`` as for ``watched``."""
    wanted = {"write_end": "\r", "read_end": "\r", "quiet": QUIET, **framing}
    wired = Wiring(instrument.address, "@py", timeout, Patient(**wanted))
    connect = watched(wired.transport, before) if before else wired.transport
    return Link(connect, wired.address, "supply", timeout=timeout, framing=wired.framing)


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


def test_a_gap_is_kept_between_commands(on_a_terminal, monkeypatch):
    """Between the end of an exchange and the next command."""
    wrote, ended, rest = [], [], Conversation._rest

    def rests(talk):
        ended.append(time.monotonic())
        rest(talk)

    monkeypatch.setattr(Conversation, "_rest", rests)
    link = linked(
        on_a_terminal(volts), gap=0.08, before=lambda _, what, __: what == "write" and wrote.append(time.monotonic())
    )
    for _ in range(3):
        link.tell("SET 5")
        assert link.ask("V?") == ["26.37"]
    assert len(wrote) == len(ended) == 6
    assert all(after - before >= 0.08 for before, after in zip(ended, wrote[1:], strict=False))


def test_a_second_reply_that_comes_in_the_gap_is_no_answer_to_the_next_question(on_a_terminal, monkeypatch):
    """The gap comes before the look at what is waiting: the second reply comes as the gap begins."""
    instrument = on_a_terminal(lambda text: f"{text}\r".encode())
    link = linked(instrument, gap=0.15)
    assert link.ask("A?") == ["A?"]
    whole = Conversation._wait

    def wait(talk):
        instrument.send(b"26.37\r")
        whole(talk)

    monkeypatch.setattr(Conversation, "_wait", wait)
    with pytest.raises(LinkError, match="old"):
        link.ask("B?")


def test_an_instrument_that_needs_a_gap_misses_what_comes_sooner(on_a_terminal):
    instrument = on_a_terminal(volts, gap=1e9)
    link = linked(instrument)
    link.tell("SET 5")
    with silence(link):
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
    with silence(link):
        link.ask("V?")


def sent_late(instrument, content, look):
    """Sends ``content`` at the second opening: with ``look`` 1 before its first reading of the line, and so on."""
    looks = []

    def before(opening, what, _):
        if (opening, what) == (2, "read"):
            looks.append(opening)
            if len(looks) == look:
                instrument.send(content)

    return before


@pytest.mark.parametrize("look", [1, 2, 5])
def test_a_late_reply_is_thrown_away_and_never_swaps_readings(on_a_terminal, look):
    asked = []

    def answer(text):
        asked.append(text)
        return None if len(asked) == 1 else volts(text)

    instrument = on_a_terminal(answer)
    link = linked(instrument, before=sent_late(instrument, b"99.99\r", look))
    with silence(link):
        link.ask("V?")
    for _ in range(5):
        assert link.ask("I?") == ["4.210"]
        assert link.ask("V?") == ["26.37"]


def test_the_tail_of_half_a_reply_is_no_reading(on_a_terminal):
    asked = []

    def answer(text):
        asked.append(text)
        return b"26." if len(asked) == 1 else volts(text)

    instrument = on_a_terminal(answer)
    link = linked(instrument, before=sent_late(instrument, b"37\r", 2))
    with silence(link):
        link.ask("V?")
    assert link.ask("V?") == ["26.37"]


def test_a_program_that_was_held_up_looks_once_more_before_it_calls_the_line_silent():
    class HeldUp:
        """Stands still in its first look; what came meanwhile is there at the next."""

        looks = 0

        def read(self, limit, seconds):
            self.looks += 1
            if self.looks == 1:
                time.sleep(0.1)
            if self.looks == 2:
                return b"99.99\r"
            raise TimeoutError

    transport = HeldUp()
    Conversation(transport, Framing(quiet=0.05)).settle("supply")
    assert transport.looks > 2


def test_nothing_is_asked_before_the_line_has_been_silent(on_a_terminal):
    instrument = on_a_terminal(volts)
    link = linked(instrument)
    began = time.monotonic()
    link.ask("V?")
    assert time.monotonic() - began >= QUIET
    times = [time.monotonic()]
    for _ in range(5):
        link.ask("V?")
        times.append(time.monotonic())
    assert min(after - before for before, after in itertools.pairwise(times)) < QUIET


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
    link = linked(instrument, before=lambda _, what, __: what == "read" and instrument.send(b"23.4\r"))
    with pytest.raises(LinkError, match="did not fall silent"):
        link.ask("V?")


OFF = OffWords("OUT0", None, Asked("OUT?", Reading("([01])")))


def test_off_goes_out_at_once_though_nothing_may_be_asked_yet(on_a_terminal):
    """Somebody else's reply may be on its way; the command does not wait for it, the question does."""
    did = []
    link = linked(
        on_a_terminal(lambda text: b"0\r" if text == "OUT?" else None),
        before=lambda _, what, content: did.append((content, time.monotonic())),
    )
    began = time.monotonic()
    assert attempt(link, OFF)
    said, at = zip(*did, strict=True)
    assert said[0] == b"OUT0\r", "nothing was waited for"
    assert at[said.index(b"OUT?\r")] - began >= QUIET


def test_off_waits_for_nobody_who_waits_for_silence(on_a_terminal):
    """A poll of another thread holds the line and waits until it is silent; off must not wait for that."""
    heard, waits, said = threading.Event(), threading.Event(), []
    instrument = on_a_terminal(lambda text: heard.set() if text == "OUT0" else None)
    link = linked(instrument, quiet=20.0, before=lambda _, what, __: what == "read" and waits.set())

    def poll():
        try:
            link.ask("V?")
        except LinkError as fault:
            said.append(fault.what)

    threads = [threading.Thread(target=poll), threading.Thread(target=attempt, args=(link, OFF))]
    threads[0].start()
    assert waits.wait(ANSWERED)
    threads[1].start()
    assert heard.wait(ANSWERED), "half of what the other waits for"
    threads[0].join()
    assert "something has to be switched off" in said[0]
    link.hurry()
    threads[1].join()


def test_a_port_that_is_not_there_is_said_so(tmp_path):
    wired = Wiring(f"ASRL{tmp_path}/nothing::INSTR")
    with pytest.raises(LinkError, match="no connection"):
        Link(wired.transport, wired.address, "supply", timeout=SILENT).ask("V?")


def test_what_is_not_installed_is_named_with_the_command_that_installs_it():
    code = """
import sys
sys.modules["serial"] = None
import importlib.util
real = importlib.util.find_spec
importlib.util.find_spec = lambda name, *more: None if name == "serial" else real(name, *more)
from runner.bench.transports.choose import Wiring
from runner.bench.link import Link
import pyvisa
pyvisa.ResourceManager("@py")
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
    between = []

    def answer(text):
        began = time.monotonic()
        instrument.send(b"26.37")
        time.sleep(0.001)
        instrument.send(b"26.37")
        between.append(time.monotonic() - began)

    instrument = on_a_terminal(answer)
    wired = wiring(supply("{write_end: CR, read_end: none, length: 5, quiet: 50 ms}", instrument.address), "@py")
    framing = Patient(**dataclasses.asdict(wired.framing))
    for _ in range(10):
        link = Link(wired.transport, wired.address, "supply", timeout=ANSWERED, framing=framing)
        assert link.ask("V?") == ["26.37"]
        try:
            link.ask("I?")
        except LinkError as fault:
            assert "old" in fault.what
            return
        assert between[0] > framing.gap / 2, "in good time, and not noticed"
        link.close()
        between.clear()
    pytest.fail("the machine stood still ten times")


@pytest.mark.parametrize(
    ("serial", "address", "what"),
    [
        ("{baud: 1}", "ASRL3::INSTR", "1 does not fit; write at least 50"),
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
