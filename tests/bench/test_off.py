"""Off: each instrument by itself, side by side, on its own deadline; never an exception; who did not confirm is named."""

import threading
import time

import pytest

from runner.bench.assembly import OFF_IS_TOLD_AFTER, Bench
from runner.conduct.clock import ScaledClock
from runner.sheets.bench import parse_bench

BENCH = """\
kind: bench
name: two that switch
instruments:
  supply: {address: "TCPIP::192.0.2.1::1::SOCKET", timeout: 0.2 s, limits: {voltage: 30 V, current: 10 A}}
  load: {address: "TCPIP::192.0.2.2::1::SOCKET", timeout: 0.2 s, limits: {voltage: 30 V, current: 40 A}}
"""


class Switch:
    """An instrument that knows whether it is on, and what flows. ``bad`` is what its transport does, and where.

    ``current`` is its reply about the current; ``stuck``: its output stays on, whatever it says.
    """

    def __init__(self):
        self.on, self.heard, self.bad, self.stuck = True, [], None, False

    def current(self):
        return "3.0" if self.on or self.stuck else "0.02"


class Wire:
    blocks, sees_unread = True, False

    def __init__(self, switch):
        self.switch, self.reply = switch, b""

    def _perhaps(self, where):
        if self.switch.bad is None or self.switch.bad[0] != where:
            return
        if self.switch.bad[1] == "hang":
            time.sleep(20)
        raise self.switch.bad[1]

    def open(self, seconds):
        self._perhaps("open")

    def write(self, message):
        self._perhaps("write")
        text = message.decode().strip()
        self.switch.heard.append(text)
        if "OFF" in text:
            self.switch.on = False
        if "?" in text:
            known = {
                "*IDN?": "A,B,C,D",
                "SYST:ERR?": '0,"No error"',
                "OUTP?": str(int(self.switch.on)),
                "INP?": str(int(self.switch.on)),
                "MEAS:CURR?": self.switch.current(),
            }
            self.reply = known.get(text, "1").encode() + b"\n"

    def read(self, limit, seconds):
        self._perhaps("read")
        return self.reply

    def close(self):
        self._perhaps("close")


@pytest.fixture
def switches():
    return {"supply": Switch(), "load": Switch()}


@pytest.fixture
def bench(switches):
    made = Bench(parse_bench(BENCH, "b"), {}, ScaledClock(), lambda role, sheet: Wire(switches[role]))
    yield made
    made.close()


def test_off_is_read_back_from_both(bench, switches):
    assert bench.off() == (True, "")
    assert not switches["supply"].on
    assert not switches["load"].on


@pytest.mark.parametrize(
    "error",
    [RuntimeError("x"), AssertionError(), MemoryError(), KeyError("chan"), SystemExit(), OSError(5, "x")],
    ids=lambda e: type(e).__name__,
)
@pytest.mark.parametrize("where", ["open", "write", "read"])
def test_one_that_raises_anything_anywhere_never_keeps_the_other_on(bench, switches, monkeypatch, where, error):
    monkeypatch.setattr("runner.bench.off.PAUSES", (0.0, 0.1))
    switches["supply"].bad = (where, error)
    confirmed, remark = bench.off()
    assert not confirmed
    assert remark == "SWITCH SUPPLY OFF BY HAND: not confirmed off, may still be on."
    assert not switches["load"].on
    assert switches["supply"].on == (where != "read"), "the command went out where anything could"


def test_one_that_hangs_is_told_within_five_seconds_and_the_other_is_off_at_once(bench, switches):
    switches["supply"].bad = ("read", "hang")
    off_at = []
    watch = threading.Thread(target=lambda: off_at.append(_when(lambda: not switches["load"].on)), daemon=True)
    began = time.monotonic()
    watch.start()
    confirmed, remark = bench.off()
    assert not confirmed
    assert "SWITCH SUPPLY OFF BY HAND" in remark
    assert time.monotonic() - began < OFF_IS_TOLD_AFTER + 0.5
    watch.join(5)
    assert off_at[0] - began < 1.0


def test_both_that_do_not_answer_are_named(bench, switches, monkeypatch):
    monkeypatch.setattr("runner.bench.off.PAUSES", (0.0,))
    for switch in switches.values():
        switch.bad = ("open", OSError(111, "Connection refused"))
    assert bench.off() == (False, "SWITCH SUPPLY AND LOAD OFF BY HAND: not confirmed off, may still be on.")


def test_off_works_where_no_thread_can_be_made(bench, switches, monkeypatch):
    def none(self):
        raise RuntimeError("can't start new thread")

    assert bench.off() == (True, "")  # the lines have their threads
    switches["supply"].on = switches["load"].on = True
    monkeypatch.setattr(threading.Thread, "start", none)
    assert bench.off() == (True, "")
    assert not switches["supply"].on
    assert not switches["load"].on


def test_an_instrument_that_comes_back_is_switched_off_before_anybody_is_told(bench, switches):
    switches["supply"].bad = ("open", OSError(111, "Connection refused"))
    threading.Timer(1.0, lambda: setattr(switches["supply"], "bad", None)).start()
    assert bench.off() == (True, "")
    assert not switches["supply"].on


def _when(condition):
    while not condition():
        time.sleep(0.01)
    return time.monotonic()
