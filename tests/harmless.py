"""Random procedures on random sheets, slips included, on the simulated pack without any protection: does it come to harm?

The engine and its ceilings act on the simulated world directly: no transport, no record, no evaluation. What the check or the
planner refuses is refused; what they let through must not take a cell beyond what a cell of its chemistry never is, nor a
sensor hotter than its ceiling and 2 K.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from runner.engine.opening import DOUBTS
from runner.engine.program import Program
from runner.engine.run import Run
from runner.errors import SheetError
from runner.events import (
    DISCHARGE,
    LOAD_CURRENT,
    LOAD_VOLTAGE,
    METER_VOLTAGE,
    PROBE_TEMPERATURE,
    SUPPLY_CURRENT,
    SUPPLY_VOLTAGE,
    Answered,
    Event,
    LimitsAreSet,
    LoadIsOn,
    LoadIsSet,
    OutputIsOff,
    OutputIsOn,
    Reckoned,
    Sampled,
    Started,
    SupplyIsSet,
)
from runner.orders import Ask, Guide, LoadOn, Order, Pace, Reckon, SetLimits, SetLoad, SetSupply, SwitchOff, SwitchOn
from runner.rehearsal.bench_file import bench_text
from runner.rehearsal.simulated_bench import declared_for_twin
from runner.sheets.chemistry import find
from runner.sheets.pack import PackSheet, parse_pack
from runner.twin.parameters import draw
from runner.twin.server import Inside
from runner.twin.world import World
from runner.vocabulary import Observed
from runner.workspace.job import load
from tests.builders import user_file

LONGEST = 3600.0  # s of the simulated bench's time: what does harm does it within an hour, or is drained into it
SLIP = 0.04  # of the values have one


@dataclass(frozen=True)
class Outcome:
    """What became of one: refused at which stage, or how far it went. Volts of a cell, °C, and what was the bound."""

    refused: str
    lowest: float = 0.0
    highest: float = 0.0
    hottest: float = 0.0
    ceiling: float = 0.0
    reason: str = ""


def _slipped(value: float, dice: random.Random) -> float:
    """A value as a tired hand writes it: a digit dropped, doubled or moved, a sign, a neighbour on the keyboard."""
    if dice.random() > SLIP:
        return value
    return dice.choice((value * 10, value / 10, value + 10, -value, value * 1.34, value * 0.7, 0.0, value * 100))


@dataclass(frozen=True)
class Cell:
    """What a sheet declares for each cell, in V: nominal, full, empty, and where over- and under-voltage trip and release."""

    nominal: float
    full: float
    empty: float
    over: tuple[float, float]
    under: tuple[float, float]


LFP = Cell(3.2, 3.6, 2.5, (3.72, 3.45), (2.5, 2.9))
MOST_VOLTS = 90.0  # V that the supply may give: sixteen cells of any chemistry


def cell_of(chemistry: str) -> Cell:
    """An ordinary cell of a chemistry: the middle of what is usual (runner/sheets/chemistry.py has it with its sources)."""
    known = find(chemistry)
    if known is None or chemistry == "LFP":
        return LFP
    full, empty = sum(known.highest) / 2, known.lowest[1]
    return Cell(sum(known.nominal) / 2, full, empty, (full + 0.1, full - 0.1), (empty, empty + 0.3))


def sheet(dice: random.Random, chemistry: str = "LFP") -> str:
    """A pack sheet of one chemistry with a few declared protections."""
    cell = cell_of(chemistry)
    cells = dice.choice((4, 8, 8, 12, 16))
    capacity = dice.choice((5, 20, 40))

    def volts(cell: float) -> str:
        return f"{_slipped(cell * cells, dice):.4g} V"

    def amps(rate: float) -> str:
        return f"{_slipped(rate * capacity, dice):.4g} A"

    def degrees(value: float) -> str:
        return f"{_slipped(value, dice):.4g} degC"

    return f"""\
kind: pack
name: random
serial: "{dice.randrange(1000)}"
chemistry: {chemistry}
cells_in_series: {cells}
nominal_voltage: {volts(cell.nominal)}
full_charge_voltage: {volts(cell.full)}
cut_off_voltage: {volts(cell.empty)}
rated_capacity: {capacity} Ah
maximum_charge_current: {amps(0.5)}
maximum_discharge_current: {amps(1.0)}
sensors:
  - {{name: T1, place: cell 1}}
protections:
  charge over-temperature: {{trip: {degrees(55)}, tolerance: 2 K, release: {degrees(45)}, delay: 1 s, polling: 1 s, sensors: all}}
  over-voltage: {{trip: {volts(cell.over[0])}, tolerance: 0.3 V, release: {volts(cell.over[1])}, delay: 1 s}}
  under-voltage: {{trip: {volts(cell.under[0])}, tolerance: 0.5 V, release: {volts(cell.under[1])}, delay: 1 s}}
  charge over-current: {{trip: {amps(0.6)}, tolerance: 1 A, delay: 1 s}}
"""


def procedure(dice: random.Random) -> str:
    """A procedure of random steps for one of the protections."""
    kind = dice.choice(("charge over-temperature", "over-voltage", "under-voltage", "charge over-current"))

    def number(value: float, unit: str) -> str:
        return f"{_slipped(value, dice):.4g} {unit}"

    def charge(until: str, more: str) -> str:
        voltage = dice.choice(("full charge voltage", "full charge voltage", f"full charge voltage + {number(1, 'V')}"))
        mark = ", beyond: voltage" if until == "stopped" and dice.random() < 0.7 else ""
        return f"charge: {{voltage: {voltage}, current: {number(0.3, 'C')}, until: {until}, {more}{mark}}}"

    over = "under-temperature" not in kind
    floor = (
        f"cut-off voltage - {number(1, 'V')}" if kind == "under-voltage" else f"cut-off voltage + {number(0.5, 'V')}"
    )
    way = ("stopped", "returned") if over else ("returned", "stopped")
    steps = [
        lambda: charge("steady", "steady: 5 s"),
        lambda: charge("time", f"for: {number(10, 'min')}"),
        lambda: charge("stopped", "give_up: 2 h"),
        lambda: charge("full", "end_current: 0.05 C, give_up: 3 h"),
        lambda: f"drain: {{current: {number(0.5, 'C')}, until: stopped, floor: {floor}, give_up: 3 h}}",
        lambda: (
            f"heat: {{say: Heat., rate: {number(3, 'K/min')}, approach: {number(50, 'degC')}, give_up: {number(59, 'degC')}, "
            f"until: {way[0]}}}"
        ),
        lambda: (
            f"cool: {{say: Cool., rate: {number(3, 'K/min')}, approach: {number(20, 'degC')}, give_up: {number(10, 'degC')}, "
            f"until: {way[1]}}}"
        ),
        lambda: (
            f"stage: {{path: charge, voltage: full charge voltage, from: {number(0.1, 'C')}, to: {number(0.5, 'C')}, "
            f"step: {number(0.1, 'C')}, dwell: 5 s{dice.choice(('', ', beyond: current'))}}}"
        ),
        lambda: f"rest: {{for: {number(30, 's')}}}",
        lambda: "off",
        lambda: f"wake: {{voltage: full charge voltage, current: {number(0.05, 'C')}, for: 30 s, give_up: 5 min}}",
    ]
    chosen = ""
    for _ in range(dice.randint(1, 6)):
        step = dice.choice(steps)()
        if step.startswith(("heat", "cool")) and dice.random() < 0.9:
            chosen += f"  - {charge('steady', 'steady: 5 s')}\n"
        elif step.startswith("drain") and dice.random() < 0.9:
            chosen += "  - off\n"
        chosen += f"  - {step}\n"
    ceiling = dice.choice(("trip + 12 K", number(70, "degC"))) if "temperature" in kind else number(60, "degC")
    return f"""\
kind: procedure
name: random
title: random
purpose: to do harm
protection: {kind}
needs: [supply, load, probe, meter]
cautions: [None.]
ceilings: {{temperature: {ceiling}, voltage: full charge voltage + {number(0.3, "V")}, current: {number(1.5, "C")}, time: {number(3, "h")}}}
steps:
  - cells: {{say: Cells., within: 20 mV}}
{chosen}"""


def outcome(seed: int, chemistry: str = "LFP") -> Outcome:
    """One random procedure on one random sheet, from the check to the end."""
    dice = random.Random(f"harm {seed}" if chemistry == "LFP" else f"harm {chemistry} {seed}")
    pack_text, procedure_text = sheet(dice, chemistry), procedure(dice)
    try:
        pack = parse_pack(pack_text, "pack.yaml")
        now = [0.0]
        truth = draw(declared_for_twin(pack), "no-protection", seed)
        world = World(truth, lambda: now[0])
        world.pack.cell_socs = [
            dice.choice((0.04, 0.3, 0.6, 0.97, 0.99))
        ] * truth.pack.cells  # cells alike: the bounds are the pack's
        volts = 60.0 if chemistry == "LFP" else MOST_VOLTS
        by_hands = bench_text(Inside(world, lambda seconds: None), 1.0, left_out=("actuator",))  # heat comes from hands
        bench = by_hands.replace("voltage: 31 V", f"voltage: {volts:g} V").replace("current: 18 A", "current: 20 A")
        files = user_file("p.yaml", procedure_text), user_file("pack.yaml", pack_text), user_file("bench.yaml", bench)
        program = load(*files).program
    except SheetError as error:
        return Outcome(str(error.problems[0]))
    return Direct(program, pack, world, now).carry_out()


class Direct:
    """Carries orders out on the world itself, with readings that are exact."""

    def __init__(self, program: Program, pack: PackSheet, world: World, now: list[float]) -> None:
        self.program, self.pack, self.world, self.now = program, pack, world, now
        self.run = Run(program)
        self.queue: list[Event] = [Started(0.0, "")]
        self.fast, self.slow, self.path = 1.0, 1.0, "charge"
        self.lowest, self.highest, self.hottest = 9.0, 0.0, -99.0

    def carry_out(self, longest: float = LONGEST) -> Outcome:
        """To the end of the run, or for so many seconds."""
        next_slow = 0.0
        while not self.run.ended and self.now[0] < longest:
            while self.queue:
                for order in self.run.receive(self.queue.pop(0)):
                    self.do(order)
            self.now[0] += self.fast
            self.world.catch_up()
            self.look()
            self.queue.append(self.sample(slow=self.now[0] >= next_slow))
            next_slow = self.now[0] + self.slow if self.now[0] >= next_slow else next_slow
        ceiling = self.program.ceilings.temperature
        bound = 1e9 if ceiling is None else max(ceiling, self.world.truth.bench.ambient)  # the room is nobody's fault
        return Outcome("", self.lowest, self.highest, self.hottest, bound, self.run.reason)

    def look(self) -> None:
        state = self.world.pack.state(self.world.current, self.world.sensed())
        self.lowest, self.highest = min(self.lowest, state.lowest), max(self.highest, state.highest)
        self.hottest = max(self.hottest, *self.world.sensed().values())

    def sample(self, *, slow: bool) -> Sampled:
        world = self.world
        if self.path == DISCHARGE:
            readings, on, mode = (
                {LOAD_VOLTAGE: world.load_voltage(), LOAD_CURRENT: max(-world.current, 0.0)},
                world.load_on,
                "",
            )
        else:
            readings = {SUPPLY_VOLTAGE: world.output_voltage(), SUPPLY_CURRENT: max(world.current, 0.0)}
            on, mode = world.supply_on, {"off": ""}.get(world.regulation(), world.regulation())
        if slow:
            readings |= {PROBE_TEMPERATURE: world.displayed(), METER_VOLTAGE: world.terminal_voltage()}
        return Sampled(self.now[0], readings, {}, mode, on)

    def read(self, of: str) -> str:
        """What a person reads off the pack's display, or off a meter at its terminals, in V."""
        state = self.world.pack.state(self.world.current, self.world.sensed())
        cells = {Observed.HIGHEST_CELL_VOLTAGE: state.highest, Observed.LOWEST_CELL_VOLTAGE: state.lowest}
        return f"{cells.get(of, 26.0):.4g}"

    def do(self, order: Order) -> None:
        world, t = self.world, self.now[0]
        if isinstance(order, Pace):
            self.fast, self.slow, self.path = order.interval, order.slow, order.path
        elif isinstance(order, SetLimits):
            self.queue.append(LimitsAreSet(t, order.voltage, order.current))
        elif isinstance(order, SetSupply):
            world.supply_voltage, world.supply_current = order.voltage, order.current
            self.queue.append(SupplyIsSet(t, order.voltage, order.current))
        elif isinstance(order, SwitchOn):
            world.switch_supply(True)
            self.queue.append(OutputIsOn(t))
        elif isinstance(order, SetLoad):
            world.load_current = order.current
            self.queue.append(LoadIsSet(t, order.current))
        elif isinstance(order, LoadOn):
            world.switch_load(True)
            self.queue.append(LoadIsOn(t))
        elif isinstance(order, SwitchOff):
            world.switch_supply(False)
            world.switch_load(False)
            self.queue.append(OutputIsOff(t, True))
        elif isinstance(order, Guide):
            world.hands.told(order.action, order.sensor, order.rate)
        elif isinstance(order, Reckon):
            self.queue.append(Reckoned(t, order.sensor, 0.0, ""))
        elif isinstance(order, Ask):
            number = self.read(order.of) if order.wants == "number" else "go on"
            answer = "agree" if order.question == DOUBTS else order.choices[0] if order.choices else number
            self.queue.append(Answered(t, order.question, answer, "anybody", "because"))
