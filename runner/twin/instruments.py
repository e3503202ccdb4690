"""The simulated instruments: supply, thermometer, voltmeter, load, each a SCPI device on the world."""

from __future__ import annotations

import random
from collections.abc import Callable

from runner.twin.scpi import WRONG_TYPE, Complaint, Device, boolean, number
from runner.twin.world import World

NOT_A_NUMBER = "9.91E+37"
ROLES = ("supply", "probe", "meter", "load")


def devices(world: World) -> dict[str, Device]:
    """All instruments of a world, by role, each with dice of its own so that polling one never changes another."""
    makers = {"supply": _supply, "probe": _probe, "meter": _meter, "load": _load}
    return {role: makers[role](world, random.Random(f"{role} {world.truth.seed}")) for role in ROLES}


def _reading(value: float, noise: float, resolution: float, dice: random.Random) -> str:
    value += dice.gauss(0.0, noise)
    return f"{round(value / resolution) * resolution:+.6E}"


def _frozen(world: World, what: str, measure: Callable[[], str]) -> Callable[[], str]:
    """A reading that, while the fault ``what`` is on, stays at what it was."""
    last = [""]

    def read() -> str:
        if not last[0] or not world.faulty(what):
            last[0] = measure()
        return last[0]

    return read


def _supply(world: World, dice: random.Random) -> Device:
    device = Device("TERN ISLAND,SIM SUPPLY 60-20,0001,1.0")
    bench = world.truth.bench
    protect = {"voltage": 66.0, "current": 22.0}

    def tripped() -> None:
        if world.supply_on and (world.output_voltage() > protect["voltage"] or world.current > protect["current"]):
            world.switch_supply(False)

    def measure(value: float, which: int) -> str:
        tripped()
        if world.faulty("supply sends no number"):
            return NOT_A_NUMBER
        return _reading(
            value * bench.supply_gain_error[which], bench.supply_noise[which], bench.supply_resolution[which], dice
        )

    def set_voltage(text: str) -> None:
        world.supply_voltage = number(text, 0.0, 60.0)

    def set_current(text: str) -> None:
        world.supply_current = number(text, 0.0, 20.0)

    def set_protection(which: str, highest: float, text: str) -> None:
        protect[which] = number(text, 0.0, highest)

    level = "[:LEVel][:IMMediate][:AMPLitude]"
    device.word(f"[SOURce:]VOLTage{level}", 1, set_voltage)
    device.word(f"[SOURce:]VOLTage{level}?", 0, lambda: f"{world.supply_voltage:.4f}")
    device.word(f"[SOURce:]CURRent{level}", 1, set_current)
    device.word(f"[SOURce:]CURRent{level}?", 0, lambda: f"{world.supply_current:.4f}")
    device.word("[SOURce:]VOLTage:PROTection[:LEVel]", 1, lambda text: set_protection("voltage", 66.0, text))
    device.word("[SOURce:]VOLTage:PROTection[:LEVel]?", 0, lambda: f"{protect['voltage']:.4f}")
    device.word("[SOURce:]CURRent:PROTection[:LEVel]", 1, lambda text: set_protection("current", 22.0, text))
    device.word("[SOURce:]CURRent:PROTection[:LEVel]?", 0, lambda: f"{protect['current']:.4f}")
    device.word("OUTPut[:STATe]", 1, lambda text: world.switch_supply(boolean(text)))
    device.word("OUTPut[:STATe]?", 0, lambda: str(int(world.supply_on and not world.faulty("supply says it is off"))))

    def voltage() -> str:
        return measure(0.0 if world.faulty("supply shows no voltage") else world.output_voltage(), 0)

    def current() -> str:
        return measure(max(world.current, 0.0) + bench.supply_current_offset, 1)

    device.word("MEASure[:SCALar]:VOLTage[:DC]?", 0, _frozen(world, "supply stands still", voltage))
    device.word("MEASure[:SCALar]:CURRent[:DC]?", 0, _frozen(world, "supply stands still", current))
    device.word("STATus:QUEStionable:CONDition?", 0, lambda: {"CC": "1", "CV": "2", "off": "0"}[world.regulation()])
    device.word("*RST", 0, lambda: world.switch_supply(False))
    return device


def _probe(world: World, dice: random.Random) -> Device:
    device = Device("TERN ISLAND,SIM THERMOMETER,0002,1.0")
    probe = world.truth.bench.probe

    def measure() -> str:
        if world.faulty("probe sends no number"):
            return NOT_A_NUMBER
        return _reading(world.displayed(), probe.noise, probe.resolution, dice)

    def resistance() -> str:
        """The same as a platinum sensor of 100 Ω at 0 °C, above freezing (IEC 60751, written out again)."""
        t = world.displayed()
        return f"{100.0 * (1 + 3.9083e-3 * t - 5.775e-7 * t * t):+.6E}"

    device.word("MEASure[:SCALar]:TEMPerature?", 0, _frozen(world, "probe stands still", measure))
    device.word("MEASure[:SCALar]:RESistance?", 0, resistance)
    return device


def _meter(world: World, dice: random.Random) -> Device:
    device = Device("TERN ISLAND,SIM VOLTMETER,0003,1.0")
    bench = world.truth.bench
    device.word(
        "MEASure[:SCALar]:VOLTage[:DC]?",
        0,
        lambda: _reading(
            world.terminal_voltage() * bench.meter_gain_error + bench.meter_offset,
            bench.meter_noise,
            bench.meter_resolution,
            dice,
        ),
    )
    return device


def _load(world: World, dice: random.Random) -> Device:
    device = Device("TERN ISLAND,SIM LOAD 60-60,0004,1.0")
    bench = world.truth.bench

    def set_current(text: str) -> None:
        world.load_current = number(text, 0.0, 60.0)

    def function(text: str) -> None:
        if text.upper() not in ("CURR", "CURRENT"):
            raise Complaint(WRONG_TYPE)

    def voltage() -> str:
        return _reading(
            world.load_voltage() * bench.load_voltage_gain_error + bench.load_voltage_offset, 0.002, 0.001, dice
        )

    def current() -> str:
        return _reading(
            max(-world.current, 0.0) * bench.load_gain_error + bench.load_current_offset, 0.003, 0.001, dice
        )

    device.word("[SOURce:]FUNCtion", 1, function)
    device.word("[SOURce:]CURRent[:LEVel]", 1, set_current)
    device.word("[SOURce:]CURRent[:LEVel]?", 0, lambda: f"{world.load_current:.4f}")
    device.word("INPut[:STATe]", 1, lambda text: world.switch_load(boolean(text)))
    device.word("INPut[:STATe]?", 0, lambda: str(int(world.load_on)))
    device.word(
        "MEASure[:SCALar]:VOLTage[:DC]?",
        0,
        _frozen(world, "load stands still", voltage),
    )
    device.word(
        "MEASure[:SCALar]:CURRent[:DC]?",
        0,
        _frozen(world, "load stands still", current),
    )
    device.word("*RST", 0, lambda: world.switch_load(False))
    return device
