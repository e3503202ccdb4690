"""Ten instruments with manners of their own, each ready for a short procedure: the instruments of its bench file, its dialects, its line.

Written from what bench instruments do and from open standards; none is a product's. ``replied`` of a trouble is what goes out in
place of a reply, and its ``line`` is what can be unplugged.
"""

import random
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.builders import SHORT_PROCEDURE
from tests.instruments import bench
from tests.instruments.hislip import HiSlip
from tests.instruments.modbus import OverSerial, OverTcp, Unit
from tests.instruments.texts import DRAIN, LOAD_IN_REGISTERS, POWER, PROBE, SCANNER

TIMEOUT = 0.4  # s of real time


@dataclass
class Ready:
    """``instruments`` by role as texts behind ``address:``, ``more`` lines behind them; what has to be ``closed``."""

    instruments: dict[str, str]
    closed: list[Any]
    files: dict[str, str] = field(default_factory=dict)
    procedure: str = SHORT_PROCEDURE
    more: str = ""
    wrong: list[str] = field(default_factory=list)  # what was sent to an output that was not meant


def plate(world):
    return f"""{world.servers.address("actuator")}
    timeout: 1 s
    limits: {{lowest: -40 degC, highest: 90 degC}}
    fastest: 10 K/min"""


def around(world):
    """Thermometer and plate of the simulated bench, for a personality that is something else."""
    return {"probe": f"{world.servers.address('probe')}{PROBE}", "actuator": plate(world)}


def a_supply(world):
    return {"supply": f"{world.servers.address('supply')}{POWER}"}


def full_scpi_supply(world, trouble, folder):
    supply = trouble.line = bench.Slow(world, ["supply"], replied=trouble.replied)
    return Ready({"supply": f"{supply.address}\n    timeout: {TIMEOUT} s{POWER}", **around(world)}, [supply])


def supply_of_few_words(world, trouble, folder):
    supply = trouble.line = bench.few_words(world, link=folder / "ttyFEW", replied=trouble.replied)
    said = f"dialect: few.yaml\n    timeout: {TIMEOUT} s\n    serial: {{write_end: CR, read_end: CR, echo: true, quiet: 0.5 s}}"
    files = {"few.yaml": bench.FEW_WORDS}
    return Ready({"supply": f"{supply.address}\n    {said}{POWER}", **around(world)}, [supply], files)


def _in_registers(trouble, unit):
    def spoil(frame):
        parts = trouble.replied(frame)
        whole = b""
        for part in parts if isinstance(parts, tuple) else (parts,):
            if isinstance(part, float):
                bench.time.sleep(part)
            else:
                whole += part
        return whole

    unit.spoil = spoil
    return unit


def supply_over_modbus_rtu(world, trouble, folder):
    unit = _in_registers(trouble, bench.modbus_supply(world, 5))
    supply = trouble.line = OverSerial(unit, link=folder / "ttyRTU")
    said = f"unit: 5\n    dialect: registers.yaml\n    timeout: {TIMEOUT} s\n    serial: {{quiet: 0.5 s}}"
    files = {"registers.yaml": bench.MODBUS_SUPPLY}
    return Ready({"supply": f"{supply.address}\n    {said}{POWER}", **around(world)}, [supply], files)


class TwoOutputs(bench.Slow):
    """Output 2 is on the pack, output 1 on nothing; now and then somebody chooses output 1 at the front."""

    def __init__(self, world, replied):
        self.chosen, self.wrong, self._dice = "1", [], random.Random(4)
        super().__init__(world, ["supply"], replied=replied)

    def answer(self, text):
        if self._dice.random() < 0.1:
            self.chosen = "1"
        if found := re.match(r"INST:NSEL (\d)(?:;:?|$)", text):
            self.chosen, text = found[1], text[found.end() :]
        if not text:
            return None
        if self.chosen != "2" and not text.startswith(("*", "SYST")):
            self.wrong.append(text)
            return "0" if "?" in text else None
        return super().answer(text)


def supply_with_two_outputs(world, trouble, folder):
    supply = trouble.line = TwoOutputs(world, trouble.replied)
    said = f'timeout: {TIMEOUT} s\n    channel: "2"'
    ready = Ready({"supply": f"{supply.address}\n    {said}{POWER}", **around(world)}, [supply])
    ready.wrong = supply.wrong
    return ready


def slow_load(world, trouble, folder):
    load = trouble.line = bench.Slow(world, ["load"], delay=0.8, replied=trouble.replied)
    return Ready({"load": f"{load.address}\n    timeout: {TIMEOUT} s{POWER}", **around(world)}, [load], procedure=DRAIN)


def load_over_modbus_tcp(world, trouble, folder):
    unit, held = Unit(1), {}
    unit.read["holding", 0] = lambda: round(world.number("load", "CURR?") * 100)
    unit.write["holding", 0] = lambda value: world.ask("load", f"CURR {value / 100}")
    unit.read["coil", 0] = lambda: int(world.ask("load", "INP?"))
    unit.write["coil", 0] = lambda value: world.ask("load", f"INP {value}")

    def measured(what, half):
        if half == 0:
            held[what] = round(world.number("load", f"MEAS:{what}?") * 1000) & 0xFFFFFFFF
        return held[what] >> 16 if half == 0 else held[what] & 0xFFFF

    for place, (what, half) in enumerate([("VOLT", 0), ("VOLT", 1), ("CURR", 0), ("CURR", 1)]):
        unit.read["input", place] = lambda what=what, half=half: measured(what, half)
    load = trouble.line = OverTcp(_in_registers(trouble, unit))
    said = f"dialect: registers.yaml\n    timeout: {TIMEOUT} s"
    instruments = {"load": f"{load.address}\n    {said}{POWER}", **around(world)}
    return Ready(instruments, [load], {"registers.yaml": LOAD_IN_REGISTERS}, DRAIN)


def streaming_thermometer(world, trouble, folder):
    probe = trouble.line = bench.Streaming(world, link=folder / "ttyTALK", replied=trouble.replied)
    said = "dialect: stream.yaml\n    timeout: 0.5 s\n    serial: {read_end: CR LF}"
    instruments = {**a_supply(world), "probe": f"{probe.address}\n    {said}{PROBE}", "actuator": plate(world)}
    return Ready(instruments, [probe], {"stream.yaml": bench.STREAMING})


def averaging_meter(world, trouble, folder):
    meter = trouble.line = bench.Slow(world, ["meter"], delay=1.0, averages=True, replied=trouble.replied)
    said = f"timeout: {TIMEOUT} s\n    averages: 1 s\n    voltage_accuracy: {{gain: 0.02 %, offset: 3 mV, resolution: 1 mV}}"
    return Ready({**a_supply(world), **around(world), "meter": f"{meter.address}\n    {said}"}, [meter])


class Scanner(bench.Slow):
    """One multimeter behind relays: 101 is the thermometer, 102 the pack's terminals, 103 a cell."""

    def __init__(self, world, replied):
        self.closed = ""
        super().__init__(world, ["meter"], replied=replied)

    def answer(self, text):
        if found := re.match(r"ROUT:CLOS \(@(\d+)\)(?:;:?|$)", text):
            self.closed, text = found[1], text[found.end() :]
        if text != "READ?":
            return super().answer(text) if text else None
        if self.closed == "101":
            return self._world.ask("probe", "MEAS:TEMP?")
        volts = float(self._world.ask("meter", "MEAS:VOLT?"))
        return f"{volts / (8 if self.closed == '103' else 1):.5f}"


def multimeter_with_a_scanner(world, trouble, folder):
    scanner = trouble.line = Scanner(world, trouble.replied)
    at = f"{scanner.address}\n    timeout: {TIMEOUT} s"
    instruments = {
        **a_supply(world),
        "probe": f'{at}\n    dialect: thermometer.yaml\n    channel: "101"{PROBE}',
        "meter": f'{at}\n    dialect: voltmeter.yaml\n    channel: "102"',
        "actuator": plate(world),
    }
    files = {
        "thermometer.yaml": SCANNER.format(role="probe", quantity="temperature"),
        "voltmeter.yaml": SCANNER.format(role="meter", quantity="voltage"),
    }
    cell = f'{{place: at cell 3, cell: 3, address: "{scanner.address}", timeout: {TIMEOUT} s, dialect: voltmeter.yaml, channel: "103"}}'
    return Ready(instruments, [scanner], files, more=f"  meters:\n    cell 3: {cell}\n")


def hislip_supply_that_drops(world, trouble, folder):
    def answer(text):
        reply = world.ask("supply", text)
        return None if reply is None else trouble.replied(reply.encode() + b"\n")

    supply = trouble.line = HiSlip(answer, drops=60 if trouble.kind == "none" else None)
    return Ready({"supply": f"{supply.address}\n    timeout: {TIMEOUT} s{POWER}", **around(world)}, [supply])


TEN = {
    "full SCPI supply": full_scpi_supply,
    "supply of few words": supply_of_few_words,
    "supply over Modbus RTU": supply_over_modbus_rtu,
    "supply with two outputs": supply_with_two_outputs,
    "slow load": slow_load,
    "load over Modbus TCP": load_over_modbus_tcp,
    "streaming thermometer": streaming_thermometer,
    "averaging meter": averaging_meter,
    "multimeter with a scanner": multimeter_with_a_scanner,
    "HiSLIP supply that drops": hislip_supply_that_drops,
}


def reset(world, name, kind):
    """Take away what an instrument was set to, as a power cut does; one that is "back on" has other limits, or another current."""
    if kind == "back on":
        for role, text in (("supply", "VOLT:PROT 33"), ("load", "CURR 2")):
            if role in name:
                world.ask(role, text)
    elif "supply" in name:
        for text in ("OUTP OFF", "VOLT 0", "CURR 0", "VOLT:PROT 33", "CURR:PROT 19"):
            world.ask("supply", text)
    elif "load" in name:
        for text in ("INP OFF", "CURR 0"):
            world.ask("load", text)


def bench_file(folder: Path, ready: Ready, speed: float) -> Path:
    """The bench file, with its dialects beside it."""
    for name, text in ready.files.items():
        (folder / name).write_text(text)
    lines = [f"  {role}:\n    address: {text.strip()}\n" for role, text in ready.instruments.items()]
    head = f"kind: bench\nname: bench of the tests\nsimulated: true\nspeed: {speed:g}\ninstruments:\n"
    path = folder / "bench.yaml"
    path.write_text(head + "".join(lines) + ready.more)
    return path
