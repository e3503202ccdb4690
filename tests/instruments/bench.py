"""Benches of the tests: instruments with manners of their own on pseudo terminals and sockets, around one simulated pack.

The physics are the simulated bench's; how each instrument speaks is written here, and is no product's. What takes time takes its
share of the simulated bench's speed.
"""

import re
import threading
import time
from pathlib import Path

from runner.conduct.clock import ScaledClock
from runner.rehearsal.simulated_bench import build_world
from runner.twin.instruments import devices
from runner.twin.server import Servers
from runner.workspace.job import DEMO_PACK, read_file
from tests.instruments.modbus import Unit
from tests.instruments.sockets import Listening
from tests.instruments.terminal import OnATerminal

MANUAL = (Path(__file__).parent.parent.parent / "procedures" / "INSTRUMENTS.md").read_text(encoding="utf-8")


def example(name):
    """A worked example of the manual: what a user would copy is what runs here."""
    (text,) = re.findall(rf"<!-- example: {name} -->\n```yaml\n(.*?)```", MANUAL, re.DOTALL)
    return text


FEW_WORDS, STREAMING, MODBUS_SUPPLY = example("few words"), example("streaming"), example("registers")


class Asked:
    """What a personality asks of a simulated pack: ``ask(role, text)`` is what one of the pack's own instruments would answer."""

    def ask(self, role, text):
        with self.world.lock:
            self.world.catch_up()
            return self._devices[role].handle(text)

    def number(self, role, text):
        return float(self.ask(role, text))


class World(Asked):
    """A simulated pack whose time runs by itself; with a ``clock``, by that."""

    def __init__(self, speed=1.0, seed=1, clock=None):
        self.speed = speed
        self.world = build_world(read_file(DEMO_PACK), "sound", seed, (clock or ScaledClock(speed)).now)
        self._devices = devices(self.world)
        self.servers = Servers(self.world)
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        if clock is None:
            self._thread.start()

    def _run(self):
        while not self._over.wait(0.1):
            with self.world.lock:
                self.world.catch_up()

    def close(self):
        self._over.set()
        if self._thread.is_alive():
            self._thread.join()
        self.servers.close()

    def __enter__(self):
        return self

    def __exit__(self, *error):
        self.close()


def few_words(world, gap=0.0, link=None, replied=lambda whole: whole):
    """A supply of three kinds of command in ASCII: Vnn.nn, Inn.nn, O0 or O1; R answers ``V=26.37 I=4.21``. CR, echo, no limits."""

    def answer(text):
        kind, rest = text[:1], text[1:]
        if kind == "V":
            world.ask("supply", f"VOLT {rest}")
        elif kind == "I":
            world.ask("supply", f"CURR {rest}")
        elif kind == "O":
            world.ask("supply", f"OUTP {rest}")
        elif kind == "R":
            volts, amperes = (world.number("supply", f"MEAS:{what}?") for what in ("VOLT", "CURR"))
            return replied(f"V={volts:.3f} I={amperes:.3f}\r".encode())
        return None

    return OnATerminal(answer, echo=True, gap=gap, link=link)


class Streaming:
    """A thermometer on a pseudo terminal that sends a line ten times a second of its own time, asked or not."""

    def __init__(self, world, every=0.1, link=None, replied=lambda whole: whole):
        self._world, self._every, self._replied = world, every / world.speed, replied
        self.terminal = OnATerminal(lambda text: None, link=link)
        self.address, self.plug, self.unplug = self.terminal.address, self.terminal.plug, self.terminal.unplug
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self):
        while not self._over.wait(max(self._every, 0.005)):
            line = self._replied(f"T1 {self._world.number('probe', 'MEAS:TEMP?'):+07.2f} C\r\n".encode())
            for part in line if isinstance(line, tuple) else (line,):
                if isinstance(part, float):
                    time.sleep(part)
                else:
                    self.terminal.send(part)

    def close(self):
        self._over.set()
        self._thread.join()
        self.terminal.close()


class Slow:
    """A SCPI instrument on a socket that takes ``delay`` s of its own time for every answer; one connection at a time.

    ``averages``: its readings are the mean of what it saw in the time that it took. ``replied``: what goes out in place of a reply.
    """

    def __init__(self, world, roles, delay=0.0, averages=False, real_delay=0.0, replied=lambda whole: whole):
        self._world, self._roles, self._averages, self._replied = world, roles, averages, replied
        self._delay = delay / world.speed + real_delay
        self.listening = Listening(self._talk, most=1)
        self.plug, self.unplug = self.listening.plug, self.listening.unplug
        self.address = f"TCPIP::127.0.0.1::{self.listening.port}::SOCKET"

    @property
    def refused(self):
        return self.listening.refused

    def _talk(self, connection):
        with connection.makefile("rb") as lines:
            for line in lines:
                reply = self.answer(line.decode("latin1").strip())
                sent = None if reply is None else self._replied(reply.encode() + b"\n")
                for part in sent if isinstance(sent, tuple) else (sent,):
                    if isinstance(part, float):
                        time.sleep(part)
                    elif part is not None:
                        connection.sendall(part)

    def answer(self, text):
        """One role's device answers; of several, the one that knows the word."""
        role = self._roles[0]
        if len(self._roles) > 1 and "TEMP" in text:
            role = self._roles[1]
        reply = self._world.ask(role, text)
        if reply is None or text.startswith(("*", "SYST")):
            return reply
        if not self._averages:
            time.sleep(self._delay)
            return reply
        seen = [float(reply)]
        for _ in range(4):
            time.sleep(self._delay / 4)
            seen.append(self._world.number(role, text))
        return f"{sum(seen) / len(seen):.6f}"

    def close(self):
        self.listening.close()


def modbus_supply(world, number=1):
    """A supply in registers: holding 0 to 3 in hundredths (voltage, current, over-voltage, over-current), coil 0, input 0 to 3."""
    unit = Unit(number)
    words = ("VOLT", "CURR", "VOLT:PROT", "CURR:PROT")
    for place, word in enumerate(words):
        unit.read["holding", place] = lambda word=word: round(world.number("supply", f"{word}?") * 100)
        unit.write["holding", place] = lambda value, word=word: world.ask("supply", f"{word} {value / 100}")
    unit.read["coil", 0] = lambda: int(world.ask("supply", "OUTP?"))
    unit.write["coil", 0] = lambda value: world.ask("supply", f"OUTP {value}")
    held = {}

    def measured(what, half):
        if half == 0:
            held[what] = round(world.number("supply", f"MEAS:{what}?") * 1000) & 0xFFFFFFFF
        return held[what] >> 16 if half == 0 else held[what] & 0xFFFF

    for place, (what, half) in enumerate([("VOLT", 0), ("VOLT", 1), ("CURR", 0), ("CURR", 1)]):
        unit.read["input", place] = lambda what=what, half=half: measured(what, half)
    unit.read["input", 4] = lambda: int(world.ask("supply", "STAT:QUES:COND?"))
    return unit
