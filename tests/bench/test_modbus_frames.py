"""Modbus on a serial line when more than one frame comes for a question: glued, after the silence that ends a frame, with noise between.

MODBUS over Serial Line Specification V1.02, 2.5.1.1: frames are apart by at least 3.5 characters of silence, and what comes without
it is one frame, whose check sum is wrong. A reply has no number, so that a second frame is nobody's or the next question's.
"""

import contextlib
import dataclasses
import threading
import time

import pytest

from runner.bench.dialect import Driver
from runner.bench.link import Link
from runner.bench.off import Asked, OffWords, attempt
from runner.bench.replies import Reading
from runner.bench.transports.choose import Wiring
from runner.bench.wired import wiring
from runner.errors import LinkError
from runner.sheets.bench import parse_bench
from runner.sheets.dialect import parse_dialect
from tests.bench.test_modbus import BENCH, DIALECT, Supply
from tests.instruments.modbus import OverSerial, crc
from tests.instruments.patience import ANSWERED, QUIET, SILENT, Patient, silence, watched

SETTING = bytes([1, 3, 2, 0x12, 0x34])  # as a reply to a question for one holding register: 4660
OTHER = SETTING + crc(SETTING)
CURRENT = bytes([1, 4, 2, 0x12, 0x34])  # the same, for an input register
TWO = bytes([2, 3, 2, 0x12, 0x34])
REFUSED = bytes([1, 0x83, 2])
SILENCE = 4.0 * 10 / 9600  # s: a little more than 3.5 characters at the rate that the bench file is taken to have
NOISE = b"\x55\xaa\x00\xff\x55"
OFF = OffWords("write coil 0 0", None, Asked("read holding 7 u16 high", Reading(r"(\d+)", bit=3)))


def framed(content):
    return content + crc(content)


@pytest.fixture(autouse=True)
def _an_opening_may_take_its_time(monkeypatch):
    Wiring("MODBUS::/dev/ttyS0").load()
    monkeypatch.setattr("runner.bench.link.OPEN_TIMEOUT", ANSWERED)


@pytest.fixture
def linked():
    made = []

    def make(unit, before=lambda *_: None, **framing):
        line = OverSerial(unit)
        made.append(line)
        supply = parse_bench(BENCH.format(address=line.address, dialect="own.yaml"), "b").instruments.supply
        wired = wiring(supply.model_copy(update={"unit": unit.number}), "@py")
        framed = Patient(**dataclasses.asdict(wired.framing) | {"quiet": QUIET} | framing)
        connect = watched(lambda: dataclasses.replace(wired, timeout=link.timeout).transport(), before)
        link = Link(connect, wired.address, "supply", timeout=ANSWERED, framing=framed)
        made.append(link)
        return link, line

    yield make
    for each in reversed(made):
        each.close()


def setting(link):
    return int(link.ask("read holding 2 u16 high")[0])


GLUED = {
    "that of another question before it": lambda frame: OTHER + frame,
    "that of another question behind it": lambda frame: frame + OTHER,
    "noise between them, the other one first": lambda frame: OTHER + NOISE + frame,
    "noise between them": lambda frame: frame + NOISE + OTHER,
    "a refusal behind it": lambda frame: frame + framed(REFUSED),
    "a refusal before it": lambda frame: framed(REFUSED) + frame,
    "that of another function before it": lambda frame: framed(CURRENT) + frame,
    "that of another unit before it": lambda frame: framed(TWO) + frame,
    "twice the same": lambda frame: frame + frame,
}


@pytest.mark.parametrize("glued", GLUED.values(), ids=GLUED)
def test_two_frames_without_silence_between_them_are_no_reading(linked, glued):
    unit = Supply()
    link, _ = linked(unit)
    assert setting(link) == 0
    unit.spoil = glued
    link.timeout = SILENT  # the library waits for more behind a frame that is not meant for it
    with pytest.raises(LinkError):
        setting(link)
    unit.spoil, link.timeout, unit.kept[2] = lambda frame: frame, ANSWERED, 400
    link.hurry()
    assert [setting(link) for _ in range(3)] == [400] * 3


@pytest.mark.parametrize("stray", [b"\x00", b"\xff\x00", b"\x55\xaa\x00"])
def test_a_stray_byte_behind_a_reply_is_passed_over(linked, stray):
    """As of a driver that is switched over. One to three bytes cannot be a frame: unit, function and check sum are four (2.5.1)."""
    unit = Supply()
    link, _ = linked(unit)
    unit.kept[2] = 400
    unit.spoil = lambda frame: frame + stray
    assert [setting(link) for _ in range(3)] == [400] * 3


def after_silence(line, between, first, second, noise=b""):
    """What a unit sends in place of a reply: a frame, silence, another frame. ``between`` gets what the silence was, in s."""

    def spoil(frame):
        line.send(first or frame)
        began = time.monotonic()
        time.sleep(SILENCE)
        line.send(noise)
        line.send(second or frame)
        between.append(time.monotonic() - began)
        return b""

    return spoil


@pytest.mark.parametrize("noise", [b"", NOISE], ids=["silence", "noise in it"])
def test_a_second_frame_after_silence_never_answers_the_next_question(linked, noise):
    unit, between = Supply(), []
    link, line = linked(unit)
    for _ in range(10):
        assert setting(link) == 0
        unit.spoil = after_silence(line, between, b"", OTHER, noise)
        try:
            assert setting(link) == 0
            unit.spoil = lambda frame: frame
            with pytest.raises(LinkError, match="old reply"):
                setting(link)
        except LinkError as fault:  # the library may have seen both at once
            assert "more came than one reply" in fault.what
        except BaseException:
            if between[-1] < link.framing.gap / 2:
                raise
            link.close()  # the machine stood still between the two, and no line can be protected from that
            unit.spoil = lambda frame: frame
            continue
        unit.spoil = lambda frame: frame
        link.hurry()
        assert [setting(link) for _ in range(3)] == [0] * 3
        return
    pytest.fail("the machine stood still ten times")


@pytest.mark.parametrize(
    "first", [framed(TWO), framed(CURRENT), framed(REFUSED), NOISE], ids=["unit", "function", "refusal", "noise"]
)
def test_one_that_is_not_meant_and_then_after_silence_the_reply(linked, first):
    """The right one is a reading, a fault is not; that of the other unit, or the other function, never is."""
    unit = Supply()
    link, line = linked(unit)
    unit.kept[2] = 400
    unit.spoil = after_silence(line, [], first, b"")
    link.timeout = 5 * SILENT
    with contextlib.suppress(LinkError):
        assert setting(link) == 400
    unit.spoil, link.timeout = lambda frame: frame, ANSWERED
    link.hurry()
    assert [setting(link) for _ in range(3)] == [400] * 3


def test_off_goes_out_on_a_line_that_is_never_silent(linked):
    """Something else talks on the line all the time, and what was opened waits before it speaks: the supply still hears off."""
    unit = Supply()

    def talks(_, what, content):
        if what == "write":
            line.send(NOISE)
            time.sleep(0.02)

    link, line = linked(unit, wake=0.05, before=talks)
    unit.on = True
    link.timeout = SILENT
    attempt(link, OFF)
    assert not unit.on


def test_off_goes_out_on_an_open_line_though_something_is_waiting_there(linked):
    unit = Supply()
    link, line = linked(unit)
    assert setting(link) == 0
    unit.on = True
    heard = threading.Event()
    unit.write["coil", 0] = lambda value: heard.set()
    line.send(NOISE)
    link.tell("write coil 0 0")
    assert heard.wait(ANSWERED)
    assert link.openings == 1


@pytest.mark.parametrize("lost", ["replies", "the first reply"])
def test_a_message_whose_confirmation_is_lost_does_not_keep_the_next_from_going_out(linked, lost):
    """The last resort sends what chooses an output and what switches it off; nothing is waited for longer than a time-out."""
    unit = Supply()
    link, _ = linked(unit)
    assert setting(link) == 0
    unit.on, link.timeout = True, SILENT
    unit.spoil = lambda frame: b"" if lost == "replies" or len(unit.written) == 1 else frame
    assert not link.shout("write holding 0 u16 high 5", "write coil 0 0")
    assert not unit.on
    assert unit.kept[0] == 5


@pytest.mark.parametrize(
    ("serial", "gap"), [("", 4.5 * 10 / 9600), (", serial: {baud: 115200, parity: even}", 0.00175 + 11 / 115200)]
)
def test_the_first_character_of_a_second_frame_has_time_to_be_noticed(serial, gap):
    """It comes after 3.5 characters, at least 1.75 ms (2.5.1.1), and an adapter may keep it for 16 ms (from memory)."""
    text = BENCH.format(address="MODBUS::/dev/ttyUSB0", dialect=f"own.yaml{serial}")
    assert wiring(parse_bench(text, "b").instruments.supply, "@py").framing.gap == pytest.approx(gap + 0.016)


def test_a_write_that_is_confirmed_twice_was_made_and_is_a_fault(linked):
    unit = Supply()
    link, _ = linked(unit)
    unit.on = True
    unit.spoil = lambda frame: frame + frame
    with pytest.raises(LinkError, match="more came than one reply"):
        link.tell("write coil 0 0")
    assert not unit.on
    unit.spoil = lambda frame: frame
    assert attempt(link, OFF)


def test_silence_where_a_frame_has_a_wrong_check_sum(linked):
    unit = Supply()
    link, _ = linked(unit)
    assert setting(link) == 0
    unit.spoil = lambda frame: frame[:-1] + bytes([frame[-1] ^ 1])
    with silence(link):
        setting(link)
    unit.spoil = lambda frame: frame
    assert Driver(link, parse_dialect(DIALECT, "own.yaml")).number("current_setting") == 0.0
