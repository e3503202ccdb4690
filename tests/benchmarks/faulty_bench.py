"""A simulated bench whose instruments can fall ill: five TCP servers around one lithium pack with its own management system.

    python tests/benchmarks/faulty_bench.py [--bench-file PATH] [--seed 1] [--speed 1] [--state-of-charge 0.5] [--truth PATH]

Rules. It is written from physics and the SCPI standard, and shares no code with the project's own simulator. What is random
comes from the seed. Simulated time is real time since the start, times ``speed``; faults and stamps are in real time. Current
is positive into the pack; a supply that is off reads 0 V. Left out: polarisation, heat that the pack makes. As a program it
serves until SIGTERM or SIGINT, and takes faults from standard input: ROLE KIND SECONDS (- for ever; the kind heal ends one).
"""

import argparse
import asyncio
import contextlib
import json
import math
import random
import re
import signal
import socket
import sys
import threading
import time
from functools import partial, partialmethod
from pathlib import Path
from typing import Any

KINDS = ("silent", "deaf_but_acting", "endless", "drip", "garbled", "huge", "closed", "half", "late", "extra", "frozen")
KINDS += ("not_a_number", "error_queue", "rebooted", "replaced", "no_status", "heal")
ERRORS = {-104: "Data type error", -108: "Parameter not allowed", -109: "Missing parameter", -113: "Undefined header"}
ERRORS |= {-222: "Data out of range", -224: "Illegal parameter value", -350: "Queue overflow", 0: "No error"}
WORDS = {  # a header with its short form in capitals = what it does, and to what
    "supply": "VOLTage=set voltage,CURRent=set current,OUTPut=switch,MEASure:VOLTage=read output,MEASure:CURRent=read supply,"
    "VOLTage:PROTection=set over-voltage,CURRent:PROTection=set over-current,STATus:QUEStionable:CONDition=status",
    "probe": "MEASure:TEMPerature=read probe",
    "meter": "MEASure:VOLTage=read terminals",
    "load": "CURRent=set current,FUNCtion=say CURR,INPut=switch,MEASure:VOLTage=read terminals,MEASure:CURRent=read load",
    "actuator": "TEMPerature:SPOint=set goal,TEMPerature:RATE=set rate,TEMPerature:PROTection:HIGH=set limit,"
    "INSTrument:SELect=choose,OUTPut=switch,MEASure:TEMPerature=read spot",
}
COMMON = ",*IDN=identity,*OPC=say 1,*CLS=clear,*RST=reset,SYSTem:ERRor=error"
TOPS = {"supply": {"voltage": 60, "current": 20, "over-voltage": 60, "over-current": 20}, "load": {"current": 60}}
TOPS |= {"actuator": {"goal": 150, "rate": 60, "limit": 150}}  # °C, K/min, °C
LOWEST = {"goal": -60, "limit": -60}  # °C; everything else that is set is positive
NUMBER = r"(?P<number>[+-]?(\d+\.?\d*|\.\d+)(E[+-]?\d+)?) ?[VA]?"
QUOTED = r"""(?P<quote>["'])(?P<sensor>T[12])(?P=quote)"""
PARAMETERS = {"set": (NUMBER, -104), "choose": (QUOTED, -224), "switch": ("(?P<on>ON|1)|OFF|0", -224)}
PARAMETERS |= {"say": ("CURR(ENT)?", -224), "clear": ("", -108), "reset": ("", -108)}  # and what is wrong otherwise
# From one state of charge to the next the voltage of a cell rises by so many V, from 1 V at the first.
RISES = ((-0.05, 0, 1.5), (0, 0.06, 0.7), (0.06, 0.5, 0.08), (0.5, 0.92, 0.07), (0.92, 1, 0.25), (1, 1.05, 0.7))
CELLS, CAPACITY, PACK, LEADS, SWITCHING = 8, 40 * 3600.0, 0.025, 0.020, 0.0007  # -, A s, ohm, ohm, s of every change
AMBIENT, RELAXING, LAGS, PROBE_LAG = 23.0, 300.0, (5.0, 1.5), 1.2  # °C, s, s, s
STEP, LOOK, AGAIN, DEAD = 0.05, 0.25, 30.0, 0.3  # s, s, s, V at terminals that the pack has switched off
GUARDS: dict[str, tuple[str, int, float, float | None, float]] = {
    # the path it opens, 1 for above and -1 for below, trip, release or None (it comes back AGAIN s later), delay in s
    "over-voltage": ("charge", 1, 29.8, 28.0, 1.0),
    "under-voltage": ("discharge", -1, 20.4, 22.4, 1.0),
    "charge over-current": ("charge", 1, 15.0, None, 2.0),
    "discharge over-current": ("discharge", -1, -48.0, None, 1.0),
    "charge over-temperature": ("charge", 1, 55.0, 45.0, 1.0),
    "discharge over-temperature": ("discharge", 1, 65.0, 55.0, 1.0),
    "charge under-temperature": ("charge", -1, 0.0, 5.0, 1.0),
}


class Instrument:
    """Understands SCPI. What cannot be carried out goes into the error queue and gets no answer."""

    def __init__(self, role: str, bench: "FaultyBench") -> None:
        self.role, self.bench, self.errors, self.last = role, bench, list[int](), dict[str, str]()
        self.words: list[tuple[str, str, str]] = []
        for word in f"{WORDS[role]}{COMMON}".split(","):
            header, action = word.replace("*", r"\*").split("=")
            pattern = re.sub("([A-Z])([a-z]+)", lambda found: f"{found[1]}({found[2].upper()})?", header) + r"\??"
            self.words.append((pattern, *action.partition(" ")[::2]))
        self.reset()

    def reset(self) -> None:
        if self.role in TOPS:
            self.bench.switch(self.role, False, time.monotonic())
        for name, top in TOPS.get(self.role, {}).items():
            self.bench.values[self.role][name] = top * name.startswith("over-")

    def complain(self, code: int) -> str:
        self.errors[19:] = [-350] if self.errors[19:] else [code]
        return ""

    def message(self, text: str) -> str:
        """The answer to one line. A header without a leading colon goes on from the branch of the one before."""
        branch, replies, _ = "", [], self.bench.advance()
        for unit in re.findall(r"""(?:"[^"]*"|'[^']*'|[^;])+""", text):
            header, _, parameter = re.sub(r"\s+", " ", unit).strip().partition(" ")
            if not header.startswith("*"):
                header = header[1:] if header.startswith(":") else branch + header
                branch = header[: header.rfind(":") + 1]
            verb, what = next((does for word, *does in self.words if re.fullmatch(word, header, re.I)), ("", ""))
            if unit.strip():
                replies.append((self.ask if header.endswith("?") else self.do)(verb, what, parameter))
        return ";".join(filter(None, replies))

    def ask(self, verb: str, what: str, parameter: str) -> str:
        bench, kind = self.bench, self.bench.kind(self.role)
        name = "SUPPLY 60-20" if self.role == "supply" else self.role.upper()
        if verb == "read" and (kind != "frozen" or what not in self.last):
            digits = 2 if what in ("probe", "spot") else 3
            self.last[what] = (
                f"{bench.is_at[f'{bench.heated} spot' if what == 'spot' else what] + bench.dice.gauss(0, 10.0**-digits):.{digits}f}"
            )
        ways: dict[str, Any] = {
            "identity": lambda: "OTHER PLACE,THING,9,9" if kind == "replaced" else f"TERN ISLAND,SIM {name},101,1",
            "say": lambda: what,
            "error": lambda: "{},{}".format(code := self.errors.pop(0) if self.errors else 0, f'"{ERRORS[code]}"'),
            "set": lambda: f"{bench.values[self.role][what]:.4f}",
            "switch": lambda: str(int(bench.on[self.role])),
            "status": lambda: self.complain(-113) if kind == "no_status" else str(bench.balance()[3]),
            "read": lambda: "9.91E+37" if kind == "not_a_number" else self.last[what],
        }
        return ways[verb]() if verb in ways and not parameter else self.complain(-108 if verb in ways else -113)

    def do(self, verb: str, what: str, parameter: str) -> str:
        pattern, wrong = PARAMETERS.get(verb, ("", -113))
        found = re.fullmatch(pattern, parameter, re.IGNORECASE)
        if not found or wrong == -113:
            return self.complain(wrong if parameter or wrong == -113 else -109)
        number = float(found.groupdict().get("number", 0))
        if not LOWEST.get(what, 0) <= number <= TOPS.get(self.role, {}).get(what, 0):
            return self.complain(-222)
        if verb == "set":
            self.bench.values[self.role][what] = number
        elif verb == "choose":
            self.bench.heated = found["sensor"].upper()
        elif verb == "switch":
            self.bench.switch(self.role, bool(found["on"]), time.monotonic())
        elif verb in ("reset", "clear"):
            (self.reset if verb == "reset" else self.errors.clear)()
        return ""


class FaultyBench(contextlib.AbstractContextManager["FaultyBench"]):
    """The bench: the pack, its management system and an actuator at the sensor ``heated``; then servers and faults."""

    def __init__(self, seed: int = 1, speed=1.0, state_of_charge=0.5, protections: bool = True) -> None:
        self.lock, self.dice = threading.RLock(), random.Random(seed)
        self.speed, self.charge, self.protections = speed, state_of_charge, protections
        self.stamps: list[tuple[float, str, bool]] = []  # (time.monotonic(), "supply" or "load", on)
        self.changes: list[tuple[float, str, str, str]] = []  # (simulated s, what, sensor, "trip" or "release")
        self.on, self.values = dict.fromkeys(TOPS, False), {role: dict[str, float]() for role in TOPS}
        self.is_at = dict.fromkeys(("supply", "load", "pack", "output"), 0.0) | {"terminals": self.rest()}
        self.is_at |= dict.fromkeys(("probe", "T1 spot", "T1 half", "T1", "T2 spot", "T2 half", "T2"), AMBIENT)
        self.heated, self.phases = "T1", [self.dice.uniform(0, 6.28), self.dice.uniform(0, 6.28)]
        errors = {"T1": self.dice.uniform(-1, 1), "T2": self.dice.uniform(-1, 1)}  # K: in all that the sensor decides
        self.limits: dict[tuple[str, str], tuple[float, float | None]] = {}  # sensor, or '' for the pack, and what
        for what, (_, _, trip, release, _) in GUARDS.items():
            for sensor, error in errors.items() if "temperature" in what else [("", 0.0)]:
                self.limits[sensor, what] = trip + error, None if release is None else release + error
        self.since, self.tripped = dict[tuple[str, str], float](), dict[tuple[str, str], float]()
        self.time, self.looks, self.began = 0.0, 0, time.monotonic()
        self.faults: dict[str, tuple[str, float]] = {}
        self.peers: dict[asyncio.StreamWriter, str] = {}
        self.instruments = {role: Instrument(role, self) for role in WORDS}
        self.holders = {role: socket.socket() for role in WORDS}  # they hold the ports while connections are refused
        for holder in self.holders.values():
            holder.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            holder.bind(("127.0.0.1", 0))
        self.ready, self.stop = threading.Event(), threading.Event()
        self.thread = threading.Thread(target=asyncio.run, args=(self.serve(),), daemon=True)
        self.thread.start()
        self.ready.wait(10)

    def rest(self) -> float:
        """The pack's voltage without current."""
        return CELLS * (1 + sum(by * min(max((self.charge - low) / (high - low), 0), 1) for low, high, by in RISES))

    def balance(self) -> tuple[float, float, float, int]:
        """Where supply current, load current and terminals are going, and the supply's status: Kirchhoff at the terminals."""
        rest, drawn = self.rest(), self.values["load"]["current"] * self.on["load"]
        opened = {GUARDS[what][0] for _, what in self.tripped}
        if not self.on["supply"]:
            dead = "discharge" in opened and (drawn or ("", "under-voltage") in self.tripped)
            return (0.0, 0.0, DEAD, 0) if dead else (0.0, drawn, rest - PACK * drawn, 0)
        volts, amps = self.values["supply"]["voltage"], self.values["supply"]["current"]
        free = (volts - rest + PACK * drawn) / (PACK + LEADS)  # what it would give without its limit of current
        given = min(max(free, 0.0), amps)
        if ("charge" if given > drawn else "discharge") not in opened:
            return given, drawn, rest + PACK * (given - drawn), 1 if free > amps else 2
        return (amps, amps, DEAD, 1) if drawn > amps else (drawn, drawn, max(volts - LEADS * drawn, 0.0), 2)

    def advance(self) -> "FaultyBench":
        with self.lock:
            until = (time.monotonic() - self.began) * self.speed
            while self.time < until:
                look = (self.looks + 1) * LOOK
                step = min(STEP, until - self.time, look - self.time)
                self.time += step
                self.move(step)
                if look - self.time < 1e-9:
                    self.time, self.looks = look, self.looks + 1
                    self.manage()
        return self

    def move(self, step: float) -> None:
        at, tops, (given, drawn, volts, _) = self.is_at, self.values["supply"], self.balance()
        lags = [("supply", given, SWITCHING), ("load", drawn, SWITCHING), ("terminals", volts, SWITCHING)]
        drift = 0.06 * math.sin(self.time / 11 + self.phases[0]) + 0.04 * math.sin(self.time / 29 + self.phases[1])
        for sensor, spot, half in (("T1", "T1 spot", "T1 half"), ("T2", "T2 spot", "T2 half")):
            if sensor == self.heated and self.on["actuator"]:
                set_to = self.values["actuator"]
                most, far = set_to["rate"] / 60 * (1 + drift) * step, set_to["goal"] - at[spot]
                at[spot] += math.copysign(min(most, abs(far)), far)
            else:
                lags.append((spot, AMBIENT, RELAXING))
            lags += [(half, at[spot], LAGS[0]), (sensor, at[half], LAGS[1])]
        for name, goal, lag in [*lags, ("probe", at[f"{self.heated} spot"], PROBE_LAG)]:
            at[name] = goal + (at[name] - goal) * math.exp(-step / lag)
        at["pack"] = at["supply"] - at["load"]
        at["output"] = (at["terminals"] + LEADS * at["supply"]) * self.on["supply"]
        self.charge += at["pack"] * step / CAPACITY
        if at["output"] > tops["over-voltage"] + 0.001 or at["supply"] > tops["over-current"] + 0.001:
            self.switch("supply", False, self.began + self.time / self.speed)

    def manage(self) -> None:
        """The management system looks at what its cells have each time, and at temperatures every fourth time."""
        for key, (trip, release) in self.limits.items() if self.protections else ():
            (sensor, what), (_, sign, _, _, delay), amps = key, GUARDS[key[1]], self.is_at["pack"]
            resting = key == ("", "under-voltage") and key in self.tripped  # it returns by the voltage without current
            volts = self.rest() + PACK * amps * (not resting)
            value = self.is_at[sensor] if sensor else amps if "current" in what else volts
            if sensor and self.looks % 4:
                continue
            if key in self.tripped:
                waited = self.time - self.tripped[key] > AGAIN - 1e-6
                if waited if release is None else sign * value < sign * release:
                    del self.tripped[key]
                    self.changes.append((self.time, what, sensor, "release"))
            elif sign * value <= sign * trip:
                self.since.pop(key, None)
            elif self.time - self.since.setdefault(key, self.time) > delay - 1e-6:
                self.tripped[key] = self.time
                del self.since[key]
                self.changes.append((self.time, what, sensor, "trip"))

    def switch(self, role: str, on: bool, moment: float) -> None:
        self.stamps += [(moment, role, on)] * (self.on[role] != on)
        self.on[role] = on

    async def serve(self) -> None:
        """Opens and shuts the doors as the faults ask, and keeps the world moving."""
        self.loop, doors = asyncio.get_running_loop(), dict[str, asyncio.Server]()
        while not self.stop.is_set():
            for role in WORDS:
                shut = self.kind(role) in ("closed", "rebooted")
                if shut and role in doors:
                    doors.pop(role).close()
                elif not shut and role not in doors:
                    doors[role] = await asyncio.start_server(partial(self.talk, role), "127.0.0.1", self.port(role))
            self.ready.set()
            self.advance()
            await asyncio.sleep(0.02)
        for end in (*doors.values(), *self.holders.values()):
            end.close()
        self.drop(*WORDS)
        await asyncio.sleep(0.02)

    def drop(self, *roles: str) -> None:
        for peer in [peer for peer, role in self.peers.items() if role in roles]:
            peer.transport.abort()

    async def talk(self, role: str, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Acts on what one peer says. Another task answers, so that a slow answer holds up no command."""
        replies: asyncio.Queue[tuple[float, str | None, bytes]] = asyncio.Queue()
        answering, self.peers[writer] = asyncio.create_task(self.answer(role, replies, writer)), role
        with contextlib.suppress(OSError, ValueError):
            while (line := await reader.readline()).endswith(b"\n"):
                kind = self.kind(role)
                if kind in ("closed", "rebooted"):
                    break
                with self.lock:
                    reply = "" if kind == "silent" else self.instruments[role].message(line.decode("ascii", "replace"))
                if reply and kind != "deaf_but_acting":
                    due = time.monotonic() + self.dice.uniform(0.002, 0.008) + 1.5 * (kind == "late")
                    replies.put_nowait((due, kind, reply.encode("ascii")))
        del self.peers[writer]
        answering.cancel()
        writer.transport.abort()

    async def answer(self, role: str, replies: asyncio.Queue[Any], writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError):
            while True:
                due, kind, reply = await replies.get()
                await asyncio.sleep(due - time.monotonic())
                pieces = {
                    "endless": iter(lambda: self.kind(role) == "endless" and b"0123456789" * 6000, False),
                    "drip": [bytes([byte]) for byte in reply + b"\n"],
                    "garbled": [bytes(byte + (byte == 10) for byte in self.dice.randbytes(len(reply))) + b"\n"],
                    "huge": [b"8" * 5_000_000 * (kind == "huge") + b"\n"],
                    "half": [reply[: len(reply) // 2]],
                    "extra": [reply + b"\n99\n"],
                }.get(kind, [reply + b"\n"])
                for piece in pieces:
                    writer.write(piece)
                    await writer.drain()
                    await asyncio.sleep(0.3 * (kind == "drip" == self.kind(role)))

    def close(self, *_: object) -> None:
        self.stop.set()
        self.thread.join()

    def port(self, role: str) -> int:
        return self.holders[role].getsockname()[1]

    def address(self, role: str) -> str:
        return f"TCPIP::127.0.0.1::{self.port(role)}::SOCKET"

    def kind(self, role: str) -> str | None:
        kind, until = self.faults.get(role, (None, math.inf))
        return kind if time.monotonic() < until else None

    def fault(self, role: str, kind: str, seconds: float | None = None) -> None:
        if role not in WORDS or kind not in KINDS:
            raise ValueError(f"no such instrument or fault: {role} {kind}")
        with self.lock:
            self.faults[role] = (kind, math.inf if seconds is None else time.monotonic() + seconds)
            if kind == "error_queue":
                self.instruments[role].complain(-222)
            if kind == "rebooted":
                self.instruments[role].message("*CLS;*RST")
        if kind in ("closed", "rebooted", "replaced"):
            self.loop.call_soon_threadsafe(self.drop, role)

    def when_off(self, role: str) -> float | None:
        return next((moment for moment, who, on in reversed(self.stamps) if who == role and not on), None)

    def truth(self) -> dict[str, Any]:
        """What the management system decides by, for each sensor ('' is the pack), and what it has done so far."""
        thresholds: dict[str, dict[str, Any]] = {"T1": {}, "T2": {}, "": {}}
        for (sensor, what), limits in self.limits.items():
            thresholds[sensor][what] = dict(zip(("trip", "release"), limits, strict=True))
        return {"thresholds": thresholds, "changes": list(self.advance().changes)}

    def bench_file(self, **changes: Any) -> str:
        """A bench file. A change is named after a role, and laid over it (None takes away), or after a line at the top."""
        volts = {"gain": "0.05 %", "offset": "10 mV", "resolution": "1 mV"}
        amps = {"gain": "0.1 %", "offset": "10 mA", "resolution": "1 mA"}
        source = {"limits": {"voltage": "31 V", "current": "18 A"}, "voltage_accuracy": volts, "current_accuracy": amps}
        accuracy = {"expanded_uncertainty": "0.2 K", "coverage_factor": 2, "resolution": "0.01 K"}
        own = {"supply": source, "load": source | {"limits": {"voltage": "31 V", "current": "60 A"}}}
        own["probe"] = {"accuracy": accuracy, "coupling": "0.15 K", "lag": "1.2 s", "lag_uncertainty": "0.3 s"}
        own["actuator"] = {"limits": {"lowest": "-40 degC", "highest": "120 degC"}, "fastest": "10 K/min"}
        own["actuator"] |= {"places": {"T1": "T1", "T2": "T2"}}
        own["meter"] = {"voltage_accuracy": volts | {"gain": "0.02 %", "offset": "3 mV"}}
        whole = {"kind": "bench", "name": "faulty bench", "simulated": True, "speed": self.speed} | changes
        for role in [role for role in WORDS if changes.get(role, {}) is not None]:
            base = {"address": self.address(role), "identity": f"TERN ISLAND,SIM {role.upper()}", "timeout": "0.5 s"}
            whole[role] = base | own.get(role, {}) | changes.get(role, {})
        lines = [f"{key}: {json.dumps(value)}" for key, value in whole.items() if key not in WORDS]
        roles = [f"  {role}: {json.dumps(whole[role])}" for role in WORDS if whole[role]]
        return "\n".join([*lines, "instruments:", *roles, ""])

    __exit__ = close
    heal = partialmethod(fault, kind="heal")
    supply_on = property(lambda self: self.advance().on["supply"])
    load_on = property(lambda self: self.advance().on["load"])
    current = property(lambda self: self.advance().is_at["pack"])


def listen(bench: FaultyBench) -> None:
    for line in sys.stdin:
        try:
            role, kind, seconds = line.split()
            bench.fault(role, kind, None if seconds == "-" else float(seconds))
        except ValueError as error:
            print(f"not understood: {line.strip()} ({error})", file=sys.stderr, flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description="A simulated bench whose instruments can fall ill")
    for name, kind, usual in (("seed", int, 1), ("speed", float, 1.0), ("state-of-charge", float, 0.5)):
        parser.add_argument(f"--{name}", type=kind, default=usual)
    parser.add_argument("--bench-file", type=Path)
    parser.add_argument("--truth", type=Path)
    asked, ended = parser.parse_args(), threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: ended.set())
    with FaultyBench(asked.seed, asked.speed, asked.state_of_charge) as bench:
        threading.Thread(target=listen, args=(bench,), daemon=True).start()
        over = False
        while not over:
            over = ended.wait(0.1)
            state = {"stamps": list(bench.stamps), "supply_on": bench.supply_on, "load_on": bench.load_on}
            state |= {"current": bench.current, **bench.truth()}
            for path, text in ((asked.bench_file, bench.bench_file()), (asked.truth, json.dumps(state))):
                if path:  # a reader finds the old text or the new, never a part
                    path.with_name(f"{path.name}.part").write_text(text, encoding="utf-8")
                    path.with_name(f"{path.name}.part").replace(path)
            asked.bench_file = None


if __name__ == "__main__":
    main()
