"""The faulty bench with its supply on a serial line or on Modbus: the same faults, as they are on such a line.

The supply speaks as the worked examples of the manual do: few words with CR and echo on a pseudo terminal, or registers. Unplugged is a
device file that is gone, or a port that nobody listens at. What such a line cannot say (an identity, a queue of errors) has no fault.
"""

import itertools
import json
import os
import shutil
import threading
import time

from tests.benchmarks.faulty_bench import FaultyBench
from tests.instruments import bench as personalities
from tests.instruments.modbus import OverSerial, OverTcp

FEW, REGISTERS = ("few.yaml", personalities.FEW_WORDS), ("registers.yaml", personalities.MODBUS_SUPPLY)
SPEAKS = {"serial": FEW, "modbus tcp": REGISTERS, "modbus rtu": REGISTERS}
NONE_THERE = ("replaced", "error_queue", "no_status")  # faults of what these lines do not have
NOT_A_NUMBER = ("serial",)  # a register always holds a number
DRIP, LOOK_EVERY = 0.3, 0.01  # s
LATE = 0.6  # s: three time-outs. A line has no connection to give up: what comes late of 10 s of the run comes on this one,
# and has to be over, with the silence after it, before the 15 s that a run lasts without a voltage
NO_LINES = shutil.ignore_patterns("tty*")  # whoever reads one waits for ever
KEPT: list[int] = []  # terminals that stay open, because a guard may hold the lock of one when its trial is over
MANY = 400  # bytes at a time: a pseudo terminal holds 4096


def can_have(line, role, kind):
    """Whether there is such a fault with the supply on such a line; the faults of other instruments are what they are without it."""
    if not line:
        return True
    if role != "supply":
        return role in ("program", "guard")
    return kind not in NONE_THERE and (kind != "not_a_number" or line in NOT_A_NUMBER)


def bench_on(line, folder, seed, speed):
    """The faulty bench, its supply on a line of that kind, or with '' on text over TCP."""
    return FaultyLine(line, folder, seed, speed) if line else FaultyBench(seed, speed)


class FaultyLine(personalities.Asked, FaultyBench):
    """``line``: serial, modbus tcp or modbus rtu; ``folder``: where its dialect and its device file are put."""

    def __init__(self, line, folder, seed=1, speed=1.0):
        super().__init__(seed, speed)
        self._line, self._folder = line, folder
        at = folder / "ttySUPPLY"
        if line == "serial":
            self.supply = ill = personalities.few_words(self, link=at)
        else:
            ill = personalities.modbus_supply(self)
            self.supply = OverTcp(ill) if line == "modbus tcp" else OverSerial(ill, link=at)
        if line != "modbus tcp":
            KEPT.append(os.open(at, os.O_RDWR | os.O_NOCTTY))
        ill.deaf = lambda: self.kind("supply") == "silent"
        self._send, self.supply.send = self.supply.send, self._spoilt
        self._plugging = threading.Thread(target=self._plug, daemon=True)
        self._plugging.start()

    def ask(self, role, text):
        """What the supply of the bench answers."""
        with self.lock:
            return self.instruments[role].message(text)

    def bench_file(self, **changes):
        """The bench file, its supply where it is here."""
        name, dialect = SPEAKS[self._line]
        (self._folder / name).write_text(dialect)
        lines = super().bench_file(**changes).split("\n")
        for place, line in enumerate(lines):
            if line.startswith("  supply: "):
                sheet = json.loads(line.partition(": ")[2]) | {"address": self.supply.address, "dialect": name}
                del sheet["identity"]
                sheet |= {"serial": {"write_end": "CR", "read_end": "CR", "echo": True}} if name == FEW[0] else {}
                lines[place] = f"  supply: {json.dumps(sheet)}"
        return "\n".join(lines)

    def close(self, *_):
        super().close()
        self._plugging.join()
        self.supply.close()

    __exit__ = close

    def _spoilt(self, content, *onward):
        kind = self.kind("supply")
        for piece in self._pieces(kind, content):
            if isinstance(piece, float):
                time.sleep(piece)
            elif piece:
                self._send(piece, *onward)

    def _pieces(self, kind, whole):
        """What is sent in place of a whole reply, or of an echo: bytes, and pauses in s."""
        still = itertools.takewhile(lambda _: self.kind("supply") == kind and not self.stop.is_set(), itertools.count())
        return {
            "deaf_but_acting": (),
            "endless": (each for _ in still for each in (b"0123456789" * (MANY // 10), LOOK_EVERY)),
            "drip": (each for byte in whole for each in (bytes([byte]), DRIP * (self.kind("supply") == "drip"))),
            "garbled": (self.dice.randbytes(len(whole)),),
            "huge": (each for _ in itertools.islice(still, 500) for each in (b"8" * MANY, LOOK_EVERY)),
            "half": (whole[: len(whole) // 2],),
            "late": (LATE, whole),
            "extra": (whole, whole),
        }.get(kind, (whole,))

    def _plug(self):
        plugged = True
        while not self.stop.wait(LOOK_EVERY):
            here = self.kind("supply") not in ("closed", "rebooted")
            if here != plugged:
                (self.supply.plug if here else self.supply.unplug)()
                plugged = here
        if not plugged:
            self.supply.plug()
