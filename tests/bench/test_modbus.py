"""Modbus over TCP and over a serial line, against units written from the specification; registers of a dialect; off."""

import contextlib
import dataclasses
import itertools
import statistics
import subprocess
import sys
import time

import pytest

from runner.bench.dialect import Driver
from runner.bench.framing import Framing
from runner.bench.link import Link
from runner.bench.off import attempt
from runner.bench.transports.choose import Wiring
from runner.bench.wired import wiring
from runner.errors import BenchError, LinkError, SheetError
from runner.sheets.bench import parse_bench
from runner.sheets.dialect import parse_dialect
from runner.workspace.job import load_bench
from tests.instruments.modbus import OverSerial, OverTcp, Unit, crc
from tests.instruments.patience import ANSWERED, QUIET, SILENT, Patient, silence, watched

DIALECT = """\
kind: dialect
name: made-up registers
role: supply
commands:
  set_voltage: {holding: 0, type: u32, scale: 0.001}
  set_current: {holding: 2, scale: 0.01}
  output_on: {coil: 0, value: 1}
  output_off: {coil: 0, value: 0}
queries:
  voltage_setting: {holding: 0, type: u32, scale: 0.001}
  current_setting: {holding: 2, scale: 0.01}
  voltage: {input: 10, type: f32, order: low}
  current: {input: 12, type: s16, scale: 0.01}
  output: {holding: 7, bit: 3}
mode: {holding: 7, constant_voltage_bit: 0, constant_current_bit: 1}
"""
BENCH = """\
kind: bench
name: one
instruments:
  supply: {{address: "{address}", dialect: {dialect}, limits: {{voltage: 30 V, current: 10 A}}}}
"""


def test_the_check_sum_is_that_of_the_specification():
    """MODBUS over Serial Line Specification V1.02, appendix B (from memory): device 2, function 7: 0x41 0x12."""
    assert crc(bytes([0x02, 0x07])) == bytes([0x41, 0x12])


class Supply(Unit):
    """A supply as its registers: two of 32 bits, a float with its low half first, a signed one, bits of a state."""

    def __init__(self, number=1):
        super().__init__(number)
        self.kept = {0: 0, 1: 0, 2: 0}
        self.on = False
        self.volts, self.amperes = (0x0000, 0x41D3), 0xFF38  # 26.375 V; -2.00 A
        for place in self.kept:
            self.read["holding", place] = lambda place=place: self.kept[place]
            self.write["holding", place] = lambda value, place=place: self.kept.__setitem__(place, value)
        self.write["coil", 0] = lambda value: setattr(self, "on", bool(value))
        self.read["holding", 7] = lambda: (8 if self.on else 0) | 1
        self.read["input", 10] = lambda: self.volts[0]
        self.read["input", 11] = lambda: self.volts[1]
        self.read["input", 12] = lambda: self.amperes


@pytest.fixture(autouse=True)
def _an_opening_may_take_its_time(monkeypatch):
    Wiring("MODBUS::192.0.2.1::502").load()  # not within the first opening
    monkeypatch.setattr("runner.bench.link.OPEN_TIMEOUT", ANSWERED)


@pytest.fixture(params=[OverTcp, OverSerial])
def spoken(request):
    made = []

    def make(unit, number=None, before=lambda *_: None):
        """``before`` as for ``watched``."""
        line = request.param(unit)
        made.append(line)
        text = BENCH.format(address=line.address, dialect="own.yaml")
        supply = parse_bench(text, "b").instruments.supply.model_copy(update={"unit": number or unit.number})
        wired = wiring(supply, "@py")
        framing = Patient(**dataclasses.asdict(wired.framing) | {"quiet": QUIET if wired.framing.quiet else 0.0})
        connect = watched(lambda: dataclasses.replace(wired, timeout=link.timeout).transport(), before)
        link = Link(connect, wired.address, "supply", timeout=ANSWERED, framing=framing)
        made.append(link)
        return Driver(link, parse_dialect(DIALECT, "own.yaml")), line

    yield make
    for each in reversed(made):
        each.close()


def test_values_of_every_type_and_order_are_read(spoken):
    driver, _ = spoken(Supply())
    assert driver.numbers("voltage", "current", "output") == [26.375, pytest.approx(-2.0), 0.0]
    assert driver.mode() == "CV"


def test_settings_are_written_to_their_registers_and_read_back(spoken):
    unit = Supply()
    driver, _ = spoken(unit)
    assert driver.set("voltage", 70.123, 1e-3) == pytest.approx(70.123)  # 70123 mV needs both registers
    assert driver.set("current", 4.0, 1e-2) == pytest.approx(4.0)
    assert unit.kept == {0: 1, 1: 70123 - 65536, 2: 400}
    driver.switch("output", True)
    assert unit.on


def test_nothing_is_written_that_no_word_says(spoken):
    unit = Supply()
    driver, _ = spoken(unit)
    driver.try_out(driver.dialect.queries)
    assert unit.written == []


def test_off_is_written_and_read_back_from_ready_made_words(spoken):
    unit = Supply()
    driver, _ = spoken(unit)
    unit.on = True
    words = driver.off_words("output_off", "output", below=0.05)
    assert not attempt(driver.link, words), "it reads back off, and -2 A flow"
    unit.amperes = 0xFFFB  # -0.05 A
    assert attempt(driver.link, words)
    assert not unit.on


def test_a_unit_that_is_not_there_is_silent(spoken):
    driver, _ = spoken(Supply(3), number=4)
    with silence(driver.link):
        driver.number("voltage")


def test_a_refusal_is_said_in_the_words_of_the_specification(spoken):
    unit = Supply()
    del unit.read["input", 10]
    driver, _ = spoken(unit)
    with pytest.raises(LinkError, match=r"illegal data address \(exception 2\)"):
        driver.number("voltage")
    assert driver.number("current") == pytest.approx(-2.0)


@pytest.mark.parametrize("look", [1, 2, 5])
def test_a_late_reply_never_answers_the_next_question(spoken, look):
    """Sent into the new connection: before the first look of it at the line, and so on."""
    unit, late, looks = Supply(), [], []

    def before(opening, what, _):
        if (opening, what) == (2, "read") and isinstance(line, OverSerial):
            looks.append(opening)
            if len(looks) == look:
                line.send(late[0])

    driver, line = spoken(unit, before=before)
    assert driver.number("current") == pytest.approx(-2.0)
    unit.spoil = lambda frame: late.append(frame) or b""
    with silence(driver.link):
        driver.number("current")
    assert late
    unit.spoil = lambda frame: frame
    unit.amperes = 500
    for _ in range(3):
        assert driver.number("current_setting") == 0.0
        assert driver.number("current") == pytest.approx(5.0)
    assert len(looks) >= look or isinstance(line, OverTcp)


@pytest.mark.parametrize("kind", ["truncated", "flipped", "longer", "noise before"])
def test_a_spoilt_reply_is_no_reading(spoken, kind):
    unit = Supply()
    driver, line = spoken(unit)
    assert driver.number("voltage") == 26.375
    serial = isinstance(line, OverSerial)
    spoils = {
        "truncated": lambda frame: frame[:-2],
        "flipped": lambda frame: frame[:-3] + bytes([frame[-3] ^ 0x55]) + frame[-2:] if serial else frame[:1] + bytes([frame[1] ^ 1]) + frame[2:],
        "longer": lambda frame: frame[:2] + bytes([frame[2] + 4]) + frame[3:] if serial else frame[:5] + bytes([frame[5] + 4]) + frame[6:],
        "noise before": lambda frame: b"\x55\xaa\x55" + frame,
    }  # fmt: skip
    unit.spoil = spoils[kind]
    driver.link.timeout = SILENT
    with contextlib.suppress(BenchError):
        assert driver.number("voltage") == 26.375  # a library may find a whole frame behind noise
    unit.spoil, driver.link.timeout = lambda frame: frame, ANSWERED
    driver.link.hurry()
    assert driver.number("current") == pytest.approx(-2.0)


def test_two_units_on_one_line_each_answer_for_themselves():
    one, two = Supply(1), Supply(2)
    two.volts = (0x0000, 0x4150)  # 13.0
    from runner.bench.sessions.session import Session

    with OverSerial(one, two) as line:
        wired, session = Wiring(line.address, timeout=ANSWERED), Session()
        links = [
            Link(
                wired.transport,
                wired.address,
                "supply",
                timeout=ANSWERED,
                framing=Framing(prefix=f"{n} "),
                session=session,
            )
            for n in (1, 2)
        ]
        drivers = [Driver(link, parse_dialect(DIALECT, "d")) for link in links]
        for _ in range(5):
            assert [driver.number("voltage") for driver in drivers] == [26.375, 13.0]
        links[0].close()
        assert links[0].openings == 1


def test_a_value_that_does_not_fit_its_register_is_not_written(spoken):
    unit = Supply()
    driver, _ = spoken(unit)
    with pytest.raises(LinkError, match="does not fit into u16"):
        driver.command("set_current", 700.0)
    assert unit.written == []


@pytest.mark.parametrize(
    ("old", "new", "part"),
    [
        ("{holding: 2, scale: 0.01}\n  output_on", "{input: 2, scale: 0.01}\n  output_on", "cannot be written"),
        ("output_on: {coil: 0, value: 1}", "output_on: {coil: 0, value: 2}", "a coil is written 0 or 1"),
        ("output_on: {coil: 0, value: 1}", 'output_on: "OUTP ON"', "registers and texts are mixed"),
        ("{input: 10, type: f32, order: low}", "{input: 10, holding: 3}", "in one register"),
        ("{input: 10, type: f32, order: low}", "{input: 65535, type: f32}", "needs two registers"),
        ("{input: 10, type: f32, order: low}", "{input: 10, type: u17}", "is not one of"),
        ("role: supply\n", "role: supply\nidentity: '*IDN?'\n", "registers have no"),
        ("set_current: {holding: 2, scale: 0.01}", "set_current: {holding: 2, scale: 0}", "a scale of 0"),
        ("set_current: {holding: 2, scale: 0.01}", "set_current: {holding: 2, value: 5}", "carries no value"),
        ("{holding: 7, constant_voltage_bit: 0, constant_current_bit: 1}", "{holding: 7}", "from bits or from words"),
    ],
)  # fmt: skip
def test_what_is_wrong_in_registers_is_said(old, new, part):
    assert DIALECT.count(old) == 1
    with pytest.raises(SheetError) as caught:
        parse_dialect(DIALECT.replace(old, new), "own.yaml")
    assert part in str(caught.value)


@pytest.mark.parametrize(
    ("address", "dialect", "part"),
    [
        ("MODBUS::192.0.2.1::502", "scpi", "needs a dialect with its registers"),
        ("TCPIP::192.0.2.1::5025::SOCKET", "own.yaml", "cannot be spoken to in"),
    ],
)
def test_address_and_dialect_have_to_fit(tmp_path, address, dialect, part):
    (tmp_path / "own.yaml").write_text(DIALECT)
    (tmp_path / "bench.yaml").write_text(BENCH.format(address=address, dialect=dialect))
    with pytest.raises(SheetError, match=part):
        load_bench(tmp_path / "bench.yaml")


def test_the_library_is_an_extra_that_is_named_where_it_is_missing():
    code = """
import importlib.util
real = importlib.util.find_spec
importlib.util.find_spec = lambda name, *more: None if name == "pymodbus" else real(name, *more)
from runner.bench.transports.choose import Wiring
from runner.bench.link import Link
wired = Wiring("MODBUS::192.0.2.1::502")
try:
    Link(wired.transport, wired.address, "supply", timeout=0.2).ask("1 read coil 0")
except Exception as error:
    print(error)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "pip install 'tripwitness[modbus]'" in done.stdout


def test_nothing_is_loaded_before_it_is_used():
    code = """
import sys, runner.bench.assembly, runner.guard.act
print(sorted({name.split(".")[0] for name in sys.modules} & {"pymodbus", "serial", "usb", "pyvisa"}))
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_question_takes_milliseconds(spoken):
    driver, _ = spoken(Supply())
    times = [time.monotonic()]
    for _ in range(20):
        driver.number("current")
        times.append(time.monotonic())
    assert statistics.median(after - before for before, after in itertools.pairwise(times)) < 0.1
