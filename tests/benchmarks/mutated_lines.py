"""Mutated exchanges on serial lines and Modbus: is a stale, foreign or truncated reading ever given?

    .venv/bin/python tests/benchmarks/mutated_lines.py --count 1000 --seed 1

The pattern of a reply is as precise as the manual asks for (six digits). An instrument on a pseudo terminal or a socket answers the n-th question with n itself; any other number is somebody else's reading
or a piece of one. Every tenth exchange is spoilt: silence, late, in halves, doubled, noise before or behind, a byte changed (where there is a
check sum), the end lost. A late reply comes within time-out and ``quiet``, which is what a line without a check can be protected from.
Exits 1 if a wrong reading was given. Kept small enough for a normal test by ``--count``.
"""

import argparse
import collections
import random
import re
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

from runner.bench.framing import Framing
from runner.bench.link import Link
from runner.bench.transports.choose import Wiring
from runner.errors import BenchError
from tests.instruments.modbus import OverSerial, OverTcp, Unit
from tests.instruments.terminal import OnATerminal

TIMEOUT, QUIET = 0.04, 0.08  # s
SHARE = 0.1  # of exchanges that are spoilt
TEXT = {
    "an end": Framing(write_end="\r", read_end="\r\n", quiet=QUIET),
    "an echo": Framing(write_end="\r", read_end="\r\n", echo=True, quiet=QUIET),
    "a length": Framing(write_end="\r", read_end="", length=6, quiet=QUIET),
    "silence": Framing(write_end="\r", read_end="", silence=0.01, quiet=QUIET),
}
KINDS = ("silent", "late", "halves", "doubled", "noise before", "noise behind", "no end")


def spoilt(kind, whole, dice):
    """What is sent instead: bytes and pauses in s."""
    cut = dice.randrange(1, len(whole))
    noise = bytes(dice.randrange(128, 256) for _ in range(3))
    return {
        "silent": (),
        "late": (dice.uniform(TIMEOUT, TIMEOUT + 0.6 * QUIET), whole),
        "halves": (whole[:cut], dice.uniform(0.0, TIMEOUT + 0.6 * QUIET), whole[cut:]),
        "doubled": (whole, whole),
        "noise before": (noise, whole),
        "noise behind": (whole, noise),
        "no end": (whole.rstrip(b"\r\n") or whole[:-1],),
    }[kind]


def text_line(framing, count, dice):
    """(wrong readings, faults by kind) of a text line."""
    found = collections.Counter()
    asked = [0]

    def answer(text):
        whole = f"{int(text[1:]):06d}".encode() + framing.read_end.encode()
        if dice.random() >= SHARE:
            return whole
        kind = dice.choice(KINDS)
        found[kind] += 1
        return spoilt(kind, whole, dice)

    with OnATerminal(answer, echo=framing.echo) as instrument:
        wired = Wiring(instrument.address, timeout=TIMEOUT, framing=framing)
        link = Link(wired.transport, wired.address, "meter", timeout=TIMEOUT, framing=framing)

        def ask():
            asked[0] += 1
            return asked[0], link.ask(f"Q{asked[0]}")[0]

        wrong = exchanges(ask, link, count, found, text=True)
        link.close()
    return wrong, found


def modbus(kind, count, dice):
    """(wrong readings, faults by kind) of a Modbus line; the register asked for is the value it has."""
    found = collections.Counter()
    unit = Unit(3)

    class Any(dict):
        def __missing__(self, key):
            return lambda: key[1]

    unit.read = Any()
    unit.delay = 0.0

    def spoil(frame):
        unit.delay = dice.uniform(TIMEOUT, TIMEOUT + 0.6 * QUIET) if dice.random() < SHARE / 4 else 0.0
        if dice.random() >= SHARE:
            return frame
        how = dice.choice(("cut", "changed", "doubled", "noise before", "noise behind"))
        found[how] += 1
        place = dice.randrange(len(frame))
        noise = bytes(dice.randrange(256) for _ in range(3))
        changed = frame[:place] + bytes([frame[place] ^ 1 << dice.randrange(8)]) + frame[place + 1 :]
        if kind is OverTcp:  # TCP has its own check sum: only what a bad gateway could do
            changed = frame[:1] + bytes([frame[1] ^ 1]) + frame[2:]
        return {
            "cut": frame[:place],
            "changed": changed,
            "doubled": frame + frame,
            "noise before": noise + frame if kind is OverSerial else frame,
            "noise behind": frame + noise if kind is OverSerial else frame,
        }[how]

    unit.spoil = spoil
    with kind(unit) as line:
        quiet = QUIET if kind is OverSerial else 0.0
        framing = Framing(prefix="3 ", quiet=quiet)
        wired = Wiring(line.address, timeout=TIMEOUT, framing=framing)
        link = Link(wired.transport, wired.address, "meter", timeout=TIMEOUT, framing=framing)

        def ask():
            number = dice.randrange(65535)
            return number, link.ask(f"read holding {number} u16 high")[0]

        wrong = exchanges(ask, link, count, found, text=False)
        link.close()
    return wrong, found


def exchanges(ask, link, count, found, *, text):
    """How many readings were wrong."""
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
            if reply != f"{number:06d}" and reply != str(number):
                wrong += 1
                print(f"    asked {number}, read {reply!r}")
        found["longest ms"] = max(found["longest ms"], round(1e3 * (time.monotonic() - began)))
    return wrong


def measured(count, seed):
    """Wrong readings in all, printed line by line."""
    total = 0
    for name, framing in TEXT.items():
        wrong, found = text_line(framing, count, random.Random(f"{seed} {name}"))
        total += wrong
        print(f"{wrong:4} wrong of {found['readings']} readings  serial, {name}: {dict(found)}")
    for kind in (OverTcp, OverSerial):
        wrong, found = modbus(kind, count, random.Random(f"{seed} {kind.__name__}"))
        total += wrong
        print(f"{wrong:4} wrong of {found['readings']} readings  Modbus, {kind.__name__}: {dict(found)}")
    return total


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    sys.exit(1 if measured(options.count, options.seed) else 0)
