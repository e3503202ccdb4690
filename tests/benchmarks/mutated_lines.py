"""Mutated exchanges on serial lines, HiSLIP, VXI-11 and Modbus: is a stale, foreign or truncated reading ever given?

    .venv/bin/python tests/benchmarks/mutated_lines.py --count 1000 --seed 1 [--only "a length"]

The pattern of a reply is as precise as the manual asks for (six digits). An instrument on a pseudo terminal or a socket answers the n-th question with n itself; any other number is somebody else's reading
or a piece of one. Every tenth exchange is spoilt: silence, late, in halves, doubled, noise before or behind, a byte changed (where there is a
check sum), the end lost; on Modbus RTU also a frame of another value, glued or after the silence that ends a frame; on VXI-11 also its records.
A late reply comes within time-out and ``quiet``, and a second answer within the ``gap``: that is what a line
without a check can be protected from. On a busy machine the instrument itself may be held up beyond that; a reading that is wrong
because of it is counted apart, by the times at which its bytes went out.
Exits 1 if a wrong reading was given. Kept small enough for a normal test by ``--count``.
"""

import argparse
import collections
import contextlib
import itertools
import random
import re
import sys
import time
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

from runner.bench.framing import Framing
from runner.bench.link import Link
from runner.bench.transports.choose import Wiring
from runner.bench.wired import BETWEEN, default_gap
from runner.errors import BenchError
from runner.sheets.reach.line import SerialLine
from tests.instruments.hislip import HiSlip
from tests.instruments.modbus import OverSerial, OverTcp, Unit, crc
from tests.instruments.terminal import OnATerminal
from tests.instruments.vxi11 import Raw, Vxi11, record

TIMEOUT, QUIET = 0.04, 0.08  # s
SHARE = 0.1  # of exchanges that are spoilt
GAP, CHARACTER = default_gap(SerialLine(), modbus=False), 10 / 9600  # s
TEXT = {
    "an end": Framing(write_end="\r", read_end="\r\n", quiet=QUIET, gap=GAP),
    "an echo": Framing(write_end="\r", read_end="\r\n", echo=True, quiet=QUIET),
    "a length": Framing(write_end="\r", read_end="", length=6, quiet=QUIET, gap=GAP),
    "silence": Framing(write_end="\r", read_end="", silence=0.01, quiet=QUIET),
    "HiSLIP": Framing(),
    "VXI-11": Framing(),
}
DEVICES = {"HiSLIP": HiSlip, "VXI-11": Vxi11}
TWO = ("another before", "another behind", "noise between", "another after silence")  # frames for one question
KINDS = ("silent", "late", "halves", "doubled", "noise before", "noise behind", "no end")


class Out:
    """When the first and the last byte of every answer went out, by the number that was asked for."""

    def __init__(self):
        self.asked, self.first, self.last, self.now = {}, {}, {}, 0

    def heard(self, number):
        self.now, self.asked[number] = number, time.monotonic()

    def went(self):
        self.first.setdefault(self.now, time.monotonic())
        self.last[self.now] = time.monotonic()

    def held_up(self, number, between):
        """Whether the rest of an answer came later than a line without a check can be protected from."""
        if number not in self.last:
            return False
        late = self.last[number] - self.asked[number] >= TIMEOUT + QUIET
        return late or self.last[number] - self.first[number] >= between


class Terminal(OnATerminal):
    """Notes when bytes go out."""

    def __init__(self, answer, out, **more):
        self._out = out
        super().__init__(answer, **more)

    def send(self, content):
        super().send(content)
        self._out.went()


class Records:
    """What a VXI-11 device sends in place of a record of RPC; every tenth is spoilt. A record in two fragments is a good one."""

    def __init__(self, dice, found):
        self._dice, self._found, self._old = dice, found, [b""]

    def __call__(self, reply):
        dice, number = self._dice, int.from_bytes(reply[:4], "big")
        old = dice.choice(self._old) if number > 1 else reply  # the first of its connection
        self._old = [*self._old[-20:], reply] if number > 1 else [reply]
        if dice.random() >= SHARE:
            return (reply,)
        place = dice.randrange(1, len(reply))
        ways = {
            "record in two": (Raw(record(reply[:place], last=False) + record(reply[place:])),),
            "record cut": (Raw(record(reply)[: 4 + place]),),
            "record short": (reply[:place],),
            "record twice": (reply, reply),
            "old record before": (old, reply),
            "number of the call before": (max(0, number - 1).to_bytes(4, "big") + reply[4:],),
            "number of a later call": ((number + 1).to_bytes(4, "big") + reply[4:],),
            "record late": (dice.uniform(TIMEOUT, 2 * TIMEOUT), reply),
            "no record": (),
            "not accepted": (reply[:20] + dice.randrange(1, 5).to_bytes(4, "big"),),
            "denied": (reply[:8] + (1).to_bytes(4, "big") + bytes(12),),
            "an error": (reply[:24] + dice.choice((3, 4, 9, 11, 15, 17, 23)).to_bytes(4, "big") + reply[28:],),
            "length of 2 GB": (Raw(b"\xff" * 4 + reply),),
            "noise": (Raw(dice.randbytes(dice.randint(1, 40))),),
        }
        kind = dice.choice(list(ways))
        self._found[kind] += 1
        return ways[kind]


def spoilt(kind, whole, dice, between):
    """What is sent instead: bytes and pauses in s."""
    cut = dice.randrange(1, len(whole))
    noise = bytes(dice.randrange(128, 256) for _ in range(3))
    return {
        "silent": (),
        "late": (dice.uniform(TIMEOUT, TIMEOUT + 0.6 * QUIET), whole),
        "halves": (whole[:cut], dice.uniform(0.0, TIMEOUT + 0.6 * QUIET), whole[cut:]),
        "doubled": (whole + whole,) if dice.random() < 0.5 else (whole, dice.uniform(0.0, 0.5 * between), whole),
        "noise before": (noise, whole),
        "noise behind": (whole + noise,),
        "no end": (whole.rstrip(b"\r\n") or whole[:-1],),
    }[kind]


def text_line(framing, count, dice, device=None):
    """(wrong readings, faults by kind) of a text line."""
    found, out = collections.Counter(), Out()
    between = framing.gap or framing.silence

    def answer(text):
        number = int(text[1:])
        out.heard(number)
        whole = f"{number:06d}".encode() + framing.read_end.encode()
        if dice.random() >= SHARE:
            return whole
        kind = dice.choice(KINDS)
        found[kind] += 1
        return spoilt(kind, whole, dice, between)

    made = Terminal(answer, out, echo=framing.echo) if device is None else device(answer)
    if device is Vxi11:
        made.spoil = Records(dice, found)
    with contextlib.closing(made) as instrument:
        wired = Wiring(instrument.address, timeout=TIMEOUT, framing=framing)
        link = Link(wired.transport, wired.address, "meter", timeout=TIMEOUT, framing=framing)

        numbers = itertools.count(1)

        def ask():
            number = next(numbers)
            return number, link.ask(f"Q{number}")[0]

        wrong = exchanges(
            ask, link, found, count, lambda old: not framing.echo and out.held_up(old, between), text=True
        )
        link.close()
    return wrong, found


def modbus(kind, count, dice):
    """(wrong readings, faults by kind) of a Modbus line; the register asked for is the value it has."""
    found, late = collections.Counter(), set()
    unit, asked, now = Unit(3), {}, [0]

    class Any(dict):
        def __missing__(self, key):
            now[0], asked[key[1]] = key[1], time.monotonic()
            return lambda: key[1]

    unit.read = Any()
    unit.delay = 0.0

    def spoil(frame):
        if time.monotonic() - asked[now[0]] >= TIMEOUT + QUIET:
            late.add(now[0])
        unit.delay = dice.uniform(TIMEOUT, TIMEOUT + 0.6 * QUIET) if dice.random() < SHARE / 4 else 0.0
        if dice.random() >= SHARE:
            return frame
        how = dice.choice(("cut", "changed", "doubled", "noise before", "noise behind", *TWO * (kind is OverSerial)))
        found[how] += 1
        place = dice.randrange(len(frame))
        noise = bytes(dice.randrange(256) for _ in range(3))
        changed = frame[:place] + bytes([frame[place] ^ 1 << dice.randrange(8)]) + frame[place + 1 :]
        if kind is OverTcp:  # TCP has its own check sum: only what a bad gateway could do
            changed = frame[:1] + bytes([frame[1] ^ 1]) + frame[2:]
        value = (now[0] + 1) % 65536
        other = b"\x03\x03\x02" + value.to_bytes(2, "big")
        other += crc(other)
        if how == "another after silence":
            line.send(frame)
            began = time.monotonic()
            time.sleep(dice.uniform(BETWEEN * CHARACTER, GAP / 2))
            if time.monotonic() - began >= GAP:
                late.add(value)
            return other
        return {
            "another before": other + frame,
            "another behind": frame + other,
            "noise between": dice.choice((frame + noise + other, other + noise + frame)),
            "cut": frame[:place],
            "changed": changed,
            "doubled": frame + frame,
            "noise before": noise + frame if kind is OverSerial else frame,
            "noise behind": frame + noise if kind is OverSerial else frame,
        }[how]

    unit.spoil = spoil
    with kind(unit) as line:
        quiet = QUIET if kind is OverSerial else 0.0
        gap = default_gap(SerialLine(), modbus=True) if kind is OverSerial else 0.0
        framing = Framing(prefix="3 ", quiet=quiet, gap=gap)
        wired = Wiring(line.address, timeout=TIMEOUT, framing=framing)
        link = Link(wired.transport, wired.address, "meter", timeout=TIMEOUT, framing=framing)

        def ask():
            number = dice.randrange(65535)
            return number, link.ask(f"read holding {number} u16 high")[0]

        wrong = exchanges(ask, link, found, count, lambda old: kind is OverSerial and old in late, text=False)
        link.close()
    return wrong, found


def exchanges(ask, link, found, count, held_up, *, text):
    """How many readings were wrong; what the instrument ``held_up`` longer than any line can be protected from is counted apart."""
    wrong = 0
    for _ in range(count):
        link.hurry()
        began = time.monotonic()
        try:
            number, reply = ask()
        except BenchError:
            found["faults seen"] += 1
        else:
            if not re.fullmatch(r"\d{6}" if text else r"\d+", reply):  # as the pattern of a dialect says
                found["no number"] += 1
                continue
            found["readings"] += 1
            if int(reply) != number:
                itself = held_up(int(reply))
                found["of an instrument that was held up"] += itself
                wrong += not itself
                print(f"    asked {number}, read {reply!r}{', it was held up' if itself else ''}", flush=True)
        found["longest ms"] = max(found["longest ms"], round(1e3 * (time.monotonic() - began)))
    return wrong


def measured(count, seed, only=""):
    """Wrong readings in all, printed line by line."""
    total = 0
    ways = {name: partial(text_line, framing, device=DEVICES.get(name)) for name, framing in TEXT.items()}
    ways |= {"Modbus TCP": partial(modbus, OverTcp), "Modbus RTU": partial(modbus, OverSerial)}
    for name, way in ways.items():
        if only not in name:
            continue
        began = time.monotonic()
        wrong, found = way(count, random.Random(f"{seed} {name}"))
        total += wrong
        seconds = time.monotonic() - began
        print(f"{wrong:4} wrong of {found['readings']} readings in {seconds:.0f} s, {name}: {dict(found)}", flush=True)
    return total


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="")
    options = parser.parse_args()
    sys.exit(1 if measured(options.count, options.seed, options.only) else 0)
