"""Thousands of spoilt replies against the link: no foreign exception, no long wait, no growth, and no reading of another question.

    python tests/benchmarks/mutated_replies.py [--replies 20000] [--seed 1] [--over vxi-11]

A small server answers the questions of a supply, over TCP or VXI-11 and through PyVISA. Most replies are spoilt: bytes flipped, dropped,
doubled, swapped; cut off, without line end, repeated, huge, binary, late; numbers with odd exponents. The numbers of no two
replies are the same, so that a reading says which question it belongs to. Exit status 1: one of the bounds is broken.
"""

from __future__ import annotations

import argparse
import contextlib
import random
import re
import socket
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

from runner.bench.dialect import BUILT_IN, Driver
from runner.bench.link import GRACE, OPEN_TIMEOUT, Link
from runner.bench.visa import VisaTransport
from runner.errors import BenchError, NotAReading
from tests.instruments.vxi11 import Vxi11

TIMEOUT = 0.05  # s of an exchange
MOST_OVER = 0.2  # s beyond the deadline of an exchange or an opening
MOST_MB = 200.0
SPOILT = {"*IDN?": 0.1, "SYST:ERR?": 0.2}  # which share of the replies; 0.9 of the others
NUMBER = re.compile(rb"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
ODD = (
    "1E400",
    "-1e400",
    "1e-400",
    "9.9E37",
    "9.91E+37",
    "-9.9E37",
    "1E+99999999",
    "1e",
    "1e+",
    "1E1.5",
    "e5",
    "INF",
    "nan",
    "0x1F",
    "1_0",
    "1,5",
    "+-1",
    "--",
    ".",
    "-0",
    "٣",
    "½",
    "1E٣",
)
TOGETHER = "MEAS:VOLT?;:MEAS:CURR?;:OUTP?"


def _at(dice: random.Random, reply: bytes) -> int:
    return dice.randrange(max(1, len(reply) - 1))


def _flipped(dice: random.Random, reply: bytes) -> bytes:
    found = bytearray(reply)
    for _ in range(dice.randint(1, 3)):
        found[_at(dice, reply)] ^= 1 << dice.randrange(8)
    return bytes(found)


def _dropped(dice: random.Random, reply: bytes) -> bytes:
    at = _at(dice, reply)
    return reply[:at] + reply[at + dice.randint(1, 3) :]


def _doubled(dice: random.Random, reply: bytes) -> bytes:
    at, many = _at(dice, reply), dice.randint(1, 4)
    return reply[:at] + reply[at : at + many] * 2 + reply[at + many :]


def _swapped(dice: random.Random, reply: bytes) -> bytes:
    at = _at(dice, reply)
    return reply[:at] + reply[at + 1 : at + 2] + reply[at : at + 1] + reply[at + 2 :]


def _odd(dice: random.Random, reply: bytes) -> bytes:
    fields = reply.rstrip(b"\n").split(b";")
    fields[dice.randrange(len(fields))] = dice.choice(ODD).encode()
    return b";".join(fields) + b"\n"


def _huge(dice: random.Random, reply: bytes) -> bytes:
    many = dice.choice((2_000, 60_000, 65_536, 65_537, 400_000))
    return dice.choice((b"8" * many + b"\n", reply * (many // len(reply)), b"0" * many + reply, b"1;" * many))


WAYS: dict[str, Callable[[random.Random, bytes], bytes]] = {
    "flipped": _flipped,
    "dropped": _dropped,
    "doubled": _doubled,
    "swapped": _swapped,
    "odd number": _odd,
    "huge": _huge,
    "cut off": lambda dice, reply: reply[: _at(dice, reply)],
    "cut off, with its end": lambda dice, reply: reply[: _at(dice, reply)] + b"\n",
    "no line end": lambda dice, reply: reply[:-1],
    "repeated": lambda dice, reply: reply * dice.randint(2, 5),
    "empty line before": lambda dice, reply: dice.choice((b"\n", b"\r\n", b" \n")) + reply,
    "binary": lambda dice, reply: dice.randbytes(dice.randint(1, 200)) + dice.choice((b"", b"\n")),
    "late": lambda dice, reply: reply,
    "gone in the middle": lambda dice, reply: reply[: _at(dice, reply)],
}


class Server:
    """Answers one connection after the other. ``sent`` has every question with its reply, before that goes out."""

    def __init__(self, seed: int) -> None:
        self.dice, self.number = random.Random(seed), 0
        self.sent: list[tuple[str, bytes]] = []
        self.spoilt: Counter[str] = Counter()
        self.address = self._opened()

    def _opened(self) -> str:
        self.door = socket.create_server(("127.0.0.1", 0))
        threading.Thread(target=self._serve, daemon=True).start()
        return f"TCPIP::127.0.0.1::{self.door.getsockname()[1]}::SOCKET"

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                peer, _ = self.door.accept()
                threading.Thread(target=self._talk, args=(peer,), daemon=True).start()

    def _talk(self, peer: socket.socket) -> None:
        with contextlib.suppress(OSError), peer:
            for line in peer.makefile("rb"):
                question = line.decode().strip()
                way, reply = self._reply(question)
                self.sent.append((question, reply))
                if way == "late":
                    time.sleep(self.dice.uniform(0.8, 1.5) * TIMEOUT)
                peer.sendall(reply)
                if way == "gone in the middle":
                    return

    def _reply(self, question: str) -> tuple[str, bytes]:
        self.number += 1
        volts, amps = 20 + self.number * 1e-5, 1 + self.number * 1e-5
        reply = {
            TOGETHER: f"{volts:.5f};{amps:.5f};1\n",
            "MEAS:VOLT?": f"{volts:.5f}\n",
            "STAT:QUES:COND?": f"{self.dice.randrange(4) + 4 * self.number}\n",
            "*IDN?": "HARBOUR TEST,SUPPLY,101,1\n",
            "SYST:ERR?": self.dice.choice(
                ('0,"No error"\n', '+0,"No error"\n', f'-{self.number},"Undefined header"\n')
            ),
        }[question].encode()
        if self.dice.random() > SPOILT.get(question, 0.9):
            return "", reply
        way = self.dice.choice(list(WAYS))
        self.spoilt[way] += 1
        return way, WAYS[way](self.dice, reply)


class OverVxi11(Server):
    """The same as a VXI-11 device."""

    def _opened(self) -> str:
        return str(Vxi11(self._answer).address)

    def _answer(self, question: str) -> tuple[float | bytes, ...]:
        way, reply = self._reply(question)
        self.sent.append((question, reply))
        if way == "gone in the middle":
            raise ConnectionError(way)
        return (self.dice.uniform(0.8, 1.5) * TIMEOUT * (way == "late"), reply)


OVER = {"": Server, "vxi-11": OverVxi11}


class Waits:
    """Told by the link before each wait how long it may be; knows by how much the worst was longer."""

    def __init__(self) -> None:
        self.worst, self._began, self._may = 0.0, 0.0, 0.0

    def announced(self, seconds: float) -> None:
        self.over()
        self._began = time.monotonic()
        self._may = seconds if seconds == OPEN_TIMEOUT else seconds - GRACE

    def over(self) -> None:
        if self._may:
            self.worst = max(self.worst, time.monotonic() - self._began - self._may)
        self._may = 0.0


def fields(reply: bytes) -> list[float | None]:
    """The numbers in a reply's first line, field by field."""
    parts = [part.strip() for part in reply.split(b"\n")[0].split(b";")]
    return [float(part) if NUMBER.fullmatch(part) else None for part in parts]


def stands(value: object, question: str, replies: list[bytes], place: int) -> bool:
    """Whether what was read stands in the only reply to its question; of an error queue, in one of its replies."""
    if question == "SYST:ERR?":
        return value == "" or value in [reply.split(b"\n")[0].decode("ascii", "replace").strip() for reply in replies]
    read = fields(replies[0]) if len(replies) == 1 else []
    if question != "STAT:QUES:COND?":
        return place < len(read) and read[place] == value
    bits = int(read[0]) if read and read[0] is not None else None
    return bits is not None and value == ("CV" if bits & 2 else "CC" if bits & 1 else "")


def status(name: str) -> float:
    """A size of this process, in MB."""
    found = re.search(rf"{name}:\s+(\d+) kB", Path("/proc/self/status").read_text())
    return int(found[1]) * 1024 / 1e6 if found else 0.0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--replies", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--over", choices=list(OVER), default="")
    options = parser.parse_args()
    server, waits, dice = OVER[options.over](options.seed), Waits(), random.Random(f"asks {options.seed}")
    link = Link(
        partial(VisaTransport, server.address, "@py", TIMEOUT),
        server.address,
        "supply",
        timeout=TIMEOUT,
        identity="HARBOUR TEST",
        identify="*IDN?",
        queue=("SYST:ERR?", BUILT_IN["supply"].errors.none),
        announce=waits.announced,
    )
    speaker = Driver(link, BUILT_IN["supply"])
    questions: dict[str, Callable[[], list[object]]] = {
        TOGETHER: lambda: speaker.numbers("voltage", "current", "output"),
        "MEAS:VOLT?": lambda: [speaker.number("voltage")],
        "STAT:QUES:COND?": lambda: [speaker.mode()],
        "SYST:ERR?": lambda: [speaker.complaint()],
    }
    count: Counter[str] = Counter()
    wrong: list[str] = []
    began = time.monotonic()
    while server.spoilt.total() < options.replies:
        question, before = dice.choice(list(questions)), len(server.sent)
        link.hurry()
        found: list[object] = []
        try:
            found = questions[question]()
        except BenchError as error:
            count[f"{type(error).__name__} {getattr(error, 'kind', '')}"] += 1
        except BaseException as error:  # noqa: BLE001
            wrong.append(f"{question}: {type(error).__name__}: {error}, after {server.sent[before:]!r:.300}")
            if isinstance(error, KeyboardInterrupt):
                break
        waits.over()
        replies = [reply for asked, reply in server.sent[before:] if asked == question]
        for place, value in enumerate(found):
            count["readings"] += not isinstance(value, NotAReading)
            if not isinstance(value, NotAReading) and not stands(value, question, replies, place):
                wrong.append(f"{question}: read {value!r}, the replies were {replies!r:.300}")
        del server.sent[: max(0, len(server.sent) - 1000)]
        link.take_old_errors()
    link.close()
    for name, many in sorted((count + server.spoilt).items()):
        print(f"{many:7}  {name}")
    print(f"{server.spoilt.total():7}  spoilt replies in {time.monotonic() - began:.0f} s, {link.openings} openings")
    descriptors = len(list(Path("/proc/self/fd").iterdir()))
    memory = status("VmHWM")
    print(f"over a deadline by at most {waits.worst:.3f} s")
    print(f"at most {memory:.0f} MB resident; {threading.active_count()} threads, {descriptors} descriptors in the end")
    wrong += [f"over a deadline by {waits.worst:.3f} s"] if waits.worst > MOST_OVER else []
    wrong += [f"{memory:.0f} MB"] if memory > MOST_MB else []
    print("\n".join(wrong) or "nothing went wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
