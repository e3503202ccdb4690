"""The simulated instruments: supply, thermometer, voltmeter, load, plate, each a SCPI device on the world."""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import partial

from runner.twin.scpi import WRONG_TYPE, Complaint, Device, boolean, number
from runner.twin.world import World

NOT_A_NUMBER = "9.91E+37"


def devices(world: World) -> dict[str, Device]:
    """All instruments of a world, by role, each with dice of its own so that polling one never changes another."""
    first = {role: make(world, random.Random(f"{role} {world.truth.seed}")) for role, make in _MAKERS.items()}
    further = world.truth.bench.further
    return first | {key: _further(world, key, random.Random(f"{key} {world.truth.seed}")) for key in further}


def _reading(value: float, noise: float, resolution: float, dice: random.Random) -> str:
    value += dice.gauss(0.0, noise)
    return f"{round(value / resolution) * resolution:+.6E}"


def _off(world: World, channel: str, value: float) -> float:
    """A value with the error that its reading has on this bench."""
    error = world.truth.bench.errors.get(channel)
    return value if error is None else value + error(value)


def _frozen(world: World, what: str, measure: Callable[[], str]) -> Callable[[], str]:
    """A reading that, while the fault ``what`` is on, stays at what it was."""
    last = [""]

    def read() -> str:
        if not last[0] or not world.faulty(what):
            last[0] = measure()
        return last[0]

    return read


def simulated_models(world: World) -> dict[str, str]:
    """What the simulated instruments call themselves; supply and load by what they can do at most."""
    (volts, amperes), load = world.truth.bench.supply_limits, world.truth.bench.load_limit
    return {
        "supply": f"SIM SUPPLY {volts:g}-{amperes:g}",
        "probe": "SIM THERMOMETER",
        "meter": "SIM VOLTMETER",
        "load": f"SIM LOAD {volts:g}-{load:g}",
        "actuator": "SIM PLATE",
    }


def _device(world: World, role: str, serial: str) -> Device:
    return Device(f"TERN ISLAND,{simulated_models(world)[role]},{serial},1.0")


def _supply(world: World, dice: random.Random) -> Device:
    bench = world.truth.bench
    volts, amperes = bench.supply_limits
    device = _device(world, "supply", "0001")
    highest = {"voltage": round(1.1 * volts, 6), "current": round(1.1 * amperes, 6)}
    protect = dict(highest)

    def tripped() -> None:
        if world.supply_on and (world.output_voltage() > protect["voltage"] or world.current > protect["current"]):
            world.switch_supply(False)

    def measure(value: float, which: int) -> str:
        tripped()
        if world.faulty("supply sends no number"):
            return NOT_A_NUMBER
        shown = _off(world, ("supply voltage", "supply current")[which], value * bench.supply_gain_error[which])
        return _reading(shown, bench.supply_noise[which], bench.supply_resolution[which], dice)

    def set_voltage(text: str) -> None:
        world.supply_voltage = number(text, 0.0, volts)

    def set_current(text: str) -> None:
        world.supply_current = number(text, 0.0, amperes)

    def set_protection(which: str, text: str) -> None:
        protect[which] = number(text, 0.0, highest[which])

    level = "[:LEVel][:IMMediate][:AMPLitude]"
    device.word(f"[SOURce:]VOLTage{level}", 1, set_voltage)
    device.word(f"[SOURce:]VOLTage{level}?", 0, lambda: f"{world.supply_voltage:.4f}")
    device.word(f"[SOURce:]CURRent{level}", 1, set_current)
    device.word(f"[SOURce:]CURRent{level}?", 0, lambda: f"{world.supply_current:.4f}")
    device.word("[SOURce:]VOLTage:PROTection[:LEVel]", 1, lambda text: set_protection("voltage", text))
    device.word("[SOURce:]VOLTage:PROTection[:LEVel]?", 0, lambda: f"{protect['voltage']:.4f}")
    device.word("[SOURce:]CURRent:PROTection[:LEVel]", 1, lambda text: set_protection("current", text))
    device.word("[SOURce:]CURRent:PROTection[:LEVel]?", 0, lambda: f"{protect['current']:.4f}")
    device.word("OUTPut[:STATe]", 1, lambda text: world.switch_supply(boolean(text)))
    device.word("OUTPut[:STATe]?", 0, lambda: str(int(world.supply_on and not world.faulty("supply says it is off"))))

    def voltage() -> str:
        return measure(0.0 if world.faulty("supply shows no voltage") else world.supply_reads()[0], 0)

    def current() -> str:
        return measure(world.supply_reads()[1] + bench.supply_current_offset, 1)

    device.word("MEASure[:SCALar]:VOLTage[:DC]?", 0, _frozen(world, "supply stands still", voltage))
    device.word("MEASure[:SCALar]:CURRent[:DC]?", 0, _frozen(world, "supply stands still", current))
    device.word("STATus:QUEStionable:CONDition?", 0, lambda: {"CC": "1", "CV": "2", "off": "0"}[world.regulation()])
    device.word("*RST", 0, lambda: world.switch_supply(False))
    return device


def _probe(world: World, dice: random.Random) -> Device:
    device = _device(world, "probe", "0002")
    probe = world.truth.bench.probe

    def measure() -> str:
        if world.faulty("probe sends no number"):
            return NOT_A_NUMBER
        return _reading(_off(world, "probe", world.displayed()), probe.noise, probe.resolution, dice)

    def resistance() -> str:
        """The same as a platinum sensor of 100 Ω at 0 °C, above freezing (IEC 60751, written out again)."""
        t = _off(world, "probe", world.displayed())
        return f"{100.0 * (1 + 3.9083e-3 * t - 5.775e-7 * t * t):+.6E}"

    device.word("MEASure[:SCALar]:TEMPerature?", 0, _frozen(world, "probe stands still", measure))
    device.word("MEASure[:SCALar]:RESistance?", 0, resistance)
    return device


def _meter(world: World, dice: random.Random) -> Device:
    device = _device(world, "meter", "0003")
    bench = world.truth.bench
    device.word(
        "MEASure[:SCALar]:VOLTage[:DC]?",
        0,
        lambda: _reading(
            _off(world, "meter voltage", world.meter_reads() * bench.meter_gain_error + bench.meter_offset),
            bench.meter_noise,
            bench.meter_resolution,
            dice,
        ),
    )
    return device


def _load(world: World, dice: random.Random) -> Device:
    device = _device(world, "load", "0004")
    bench = world.truth.bench

    def set_current(text: str) -> None:
        world.load_current = number(text, 0.0, bench.load_limit)

    def function(text: str) -> None:
        if text.upper() not in ("CURR", "CURRENT"):
            raise Complaint(WRONG_TYPE)

    def voltage() -> str:
        shown = world.load_reads()[0] * bench.load_voltage_gain_error + bench.load_voltage_offset
        return _reading(_off(world, "load voltage", shown), bench.load_noise[0], bench.load_resolution[0], dice)

    def current() -> str:
        shown = world.load_reads()[1] * bench.load_gain_error + bench.load_current_offset
        return _reading(_off(world, "load current", shown), bench.load_noise[1], bench.load_resolution[1], dice)

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


def _further(world: World, key: str, dice: random.Random) -> Device:
    """A further thermometer or voltmeter, at its place; the hands hold what is at a sensor as they hold the first probe."""
    declared = world.truth.bench.further[key]
    device = _device(world, key.partition(" ")[0], f"1{sorted(world.truth.bench.further).index(key):03}")

    def value() -> float:
        if not declared.thermometer:
            volts = world.pack.cell_voltages(world.current)
            inside = declared.cell is not None and declared.cell <= len(volts)
            return volts[declared.cell - 1] if inside and declared.cell is not None else world.terminal_voltage()
        if world.hands.sensor in declared.sensors:
            first, contact = world.truth.bench.probe, world.truth.bench.further_contact.get(key, 0.0)
            return world.displayed() - first.calibration_error - first.coupling_error + contact
        spots = [world.spots[sensor].spot for sensor in declared.sensors if sensor in world.spots]
        return spots[0] if spots else world.truth.bench.ambient

    step = declared.meter.resolution or 0.001
    word = "MEASure[:SCALar]:TEMPerature?" if declared.thermometer else "MEASure[:SCALar]:VOLTage[:DC]?"
    device.word(word, 0, lambda: _reading(_off(world, key, value()), step, step, dice))
    return device


class _Plate:
    """A plate with an output for each sensor, which heats and cools by a thermometer of its own."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.place = next(iter(world.spots), "")
        self.on = False
        self.set_to = {"SPOint": 23.0, "RATE": 1.0, "PROTection:HIGH": 100.0}  # °C, K/min, °C

    def temperature(self) -> float:
        """°C; what is hotter than its own limit switches it off."""
        now = self.world.spots[self.place].spot
        if self.on and now > self.set_to["PROTection:HIGH"]:
            self.switch(False)
        return now

    def switch(self, on: bool) -> None:
        self.on = on
        self._follow()

    def set(self, name: str, text: str) -> None:
        self.set_to[name] = number(text, -60.0, 150.0)
        self._follow()

    def select(self, text: str) -> None:
        name = text.strip('"')
        if name not in self.world.spots:
            raise Complaint(WRONG_TYPE)
        if name != self.place:
            self.switch(False)  # what is to be heated next was not meant by the settings of before
        self.place = name

    def _follow(self) -> None:
        hands, now = self.world.hands, self.world.spots[self.place].spot
        if self.on:
            hands.told_by_set_point(self.place, self.set_to["SPOint"], self.set_to["RATE"] / 60, now)
        elif hands.is_plate:
            hands.told("still", "", 0.0)


def _actuator(world: World, dice: random.Random) -> Device:
    device = _device(world, "actuator", "0005")
    plate = _Plate(world)
    for name in plate.set_to:
        device.word(f"[SOURce:]TEMPerature:{name}", 1, partial(plate.set, name))
        device.word(f"[SOURce:]TEMPerature:{name}?", 0, partial(lambda which: f"{plate.set_to[which]:.4f}", name))
    device.word("INSTrument:SELect", 1, plate.select)
    device.word("OUTPut[:STATe]", 1, lambda text: plate.switch(boolean(text)))
    device.word("OUTPut[:STATe]?", 0, lambda: str(int(plate.on)))
    device.word("MEASure[:SCALar]:TEMPerature?", 0, lambda: _reading(plate.temperature(), 0.02, 0.1, dice))
    device.word("*RST", 0, lambda: plate.switch(False))
    return device


_MAKERS: dict[str, Callable[[World, random.Random], Device]] = {  # in the order of their ports
    "supply": _supply,
    "probe": _probe,
    "meter": _meter,
    "load": _load,
    "actuator": _actuator,
}
