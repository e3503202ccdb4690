"""The pack: cells in series with an open-circuit curve, resistance and one relaxation, and their management system."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from runner.twin.cells import Cells, OpenCircuit
from runner.twin.parameters import PackTruth, ProtectionTruth
from runner.twin.sensing import Senses, SensingTruth

WAKING_CURRENT = 0.05  # A of charge that wake a pack which latches after its cut-off
SHARES = (1.0, 0.67)  # of the relaxation resistance: the fast and the slow relaxation
SLOWER = 10.0  # times: the slow one
EMPTY_GROWTH, EMPTY_SOC = 20.0, 0.02  # how much the relaxations grow towards empty, and from which state of charge on


@dataclass
class _Latch:
    """What the management system remembers about one protection."""

    truth: ProtectionTruth
    tripped: bool = False
    changed: float = 0.0
    since: float | None = None  # when the condition for a change was first seen
    before: tuple[float, float] | None = None  # at the look before: what is compared, and the stack's voltage
    crossed: float | None = None  # V of the stack when the condition came true

    def __post_init__(self) -> None:
        self.is_voltage = self.truth.kind.endswith("voltage")


class Extremes(NamedTuple):
    """V of the highest and of the lowest cell."""

    highest: float
    lowest: float


@dataclass(frozen=True)
class PackState:
    """What a management system measures. Voltages in V, current in A, positive when it charges."""

    sensors: Mapping[str, float]
    current: float
    stack: float
    extremes: Callable[[], Extremes]  # worked out for those who look at voltages only

    @property
    def highest(self) -> float:
        return self.extremes().highest

    @property
    def lowest(self) -> float:
        return self.extremes().lowest


class _Scan:
    """One task of the firmware: the protections that look equally often look together, at one conversion of every input.

    That a pack's protections are scanned in one loop of a fixed period is common practice, no source.
    """

    def __init__(self, every: float, first: float) -> None:
        self.every, self.next_look = max(every, 0.01), first  # s
        self.latches: list[_Latch] = []
        self.senses: Senses | None = None  # what it sees things through; None: as they are

    def seen(self, true: PackState) -> PackState:
        """The state of the pack as this look has it."""
        extremes = true.extremes()
        if self.senses is None:
            return PackState(true.sensors, true.current, true.stack, lambda: extremes)
        seen = Extremes(*self.senses.voltages(*extremes))
        return PackState(self.senses.temperatures(true.sensors), true.current, true.stack, lambda: seen)


class ManagementSystem:
    """Looks every ``polling`` seconds; opens the charge or discharge path when a condition has stood for ``delay``."""

    def __init__(
        self, protections: tuple[ProtectionTruth, ...], dice: random.Random, sensing: SensingTruth | None = None
    ) -> None:
        self._latches = [_Latch(truth) for truth in protections]
        scans: dict[float, _Scan] = {}
        for latch in self._latches:
            period = latch.truth.polling
            scans.setdefault(period, _Scan(period, dice.uniform(0.0, period))).latches.append(latch)
        self._scans = tuple(scans.values())
        if sensing is not None and not sensing.plain:
            for scan in self._scans:
                scan.senses = Senses(sensing, random.Random(dice.random()))
        self.changes: list[dict[str, object]] = []
        self._charge_open = self._discharge_open = False
        self.next_look = min((scan.next_look for scan in self._scans), default=math.inf)

    @property
    def alarms(self) -> list[str]:
        """The kinds of the protections that are tripped now."""
        return [latch.truth.kind for latch in self._latches if latch.tripped]

    @property
    def charge_open(self) -> bool:
        """True while a protection keeps charge current out."""
        return self._charge_open

    @property
    def discharge_open(self) -> bool:
        """True while a protection keeps discharge current from flowing."""
        return self._discharge_open

    def look(self, t: float, state: PackState) -> None:
        """One moment of the management system's life; it acts only if a look is due."""
        for scan in self._scans:
            if scan.next_look <= t + 1e-9:
                scan.next_look += scan.every
                seen = scan.seen(state)
                for latch in scan.latches:
                    self._consider(latch, t, state, seen)
        self.next_look = min((scan.next_look for scan in self._scans), default=math.inf)

    def _consider(self, latch: _Latch, t: float, true: PackState, state: PackState) -> None:
        truth = latch.truth
        culprit = _beyond_trip(truth, state)
        wants_change = _releases(latch, t, state) if latch.tripped else culprit is not None
        compared = _compared(truth, state) if latch.is_voltage else math.nan
        if not wants_change:
            latch.since, latch.before = None, (compared, state.stack)
            return
        if latch.since is None:
            latch.since, latch.crossed = t, _crossing(latch, compared, state.stack)
        if t - latch.since < truth.delay - 1e-9:
            return
        latch.tripped, latch.since, latch.before, latch.changed = not latch.tripped, None, None, t
        self._charge_open = any(not _opens_discharge(kind) for kind in self.alarms)
        self._discharge_open = any(_opens_discharge(kind) for kind in self.alarms)
        self.changes.append(
            {
                "t": t,
                "kind": truth.kind,
                "change": "trip" if latch.tripped else "release",
                "by": culprit or "",
                "sensors": dict(true.sensors),
                "stack_V": latch.crossed,
                "current_A": state.current,
            }
        )


def _opens_discharge(kind: str) -> bool:
    return "discharge" in kind or kind == "under_voltage"


def _compared(truth: ProtectionTruth, state: PackState) -> float:
    """The cell voltage that a voltage protection looks at; nothing for others."""
    return state.highest if truth.kind == "over_voltage" else state.lowest


def _crossing(latch: _Latch, compared: float, stack: float) -> float:
    """The stack's voltage when a cell passed the threshold, between two looks by a straight line."""
    if latch.before is None or not latch.is_voltage:
        return stack
    threshold = latch.truth.release if latch.tripped else latch.truth.trip
    (was, stack_was), moved = latch.before, compared - latch.before[0]
    part = (threshold - was) / moved if moved else 1.0
    return stack_was + min(max(part, 0.0), 1.0) * (stack - stack_was)


def _beyond_trip(truth: ProtectionTruth, state: PackState) -> str | None:
    """Who is beyond the trip value, or None."""
    if "temperature" in truth.kind:
        sign = 1.0 if "over" in truth.kind else -1.0
        for name, value in state.sensors.items():
            if name in truth.offsets and sign * (value - truth.trip - truth.offsets[name]) > 0:
                return name
        return None
    if truth.kind == "over_voltage":
        return "cell" if state.highest > truth.trip else None
    if truth.kind == "under_voltage":
        return "cell" if state.lowest < truth.trip else None
    flowing = state.current if truth.kind == "charge_over_current" else -state.current
    return "current" if flowing > truth.trip else None


def _releases(latch: _Latch, t: float, state: PackState) -> bool:
    """Whether a tripped protection wants to release. For current the release value is how long it holds, in s."""
    truth = latch.truth
    if truth.kind == "under_voltage" and truth.latching:
        return state.current > WAKING_CURRENT
    if truth.latching:
        return False
    if "temperature" in truth.kind:
        sign = 1.0 if "over" in truth.kind else -1.0
        return all(
            sign * (value - truth.release - truth.release_offsets[name]) < 0
            for name, value in state.sensors.items()
            if name in truth.release_offsets
        )
    if truth.kind == "over_voltage":
        return state.highest < truth.release
    if truth.kind == "under_voltage":
        return state.lowest > truth.release
    return t - latch.changed >= truth.release


class Pack:
    """Cells and management system. Current is positive when it charges; the trip values of voltages are per cell.

    Two relaxations follow the current; near empty both grow steeply, as they do in cells of this kind.
    """

    def __init__(self, truth: PackTruth, dice: random.Random) -> None:
        self.truth = truth
        self._curve = OpenCircuit(truth.points)
        socs = (truth.soc + dice.gauss(0.0, truth.cell_soc_spread) for _ in range(truth.cells))
        self._cells = Cells(socs, self._curve)
        self._relaxations = (0.0, 0.0)  # V, the fast one and the slow one
        self.moved = 0.0  # A·s put in since the beginning
        self.system = ManagementSystem(truth.protections, dice, truth.sensing)

    @property
    def relaxation(self) -> float:
        """V by which the stack is away from its voltage at rest, after its ohmic drop."""
        return sum(self._relaxations)

    @property
    def cell_socs(self) -> list[float]:
        """State of charge of each cell."""
        return self._cells.socs

    @cell_socs.setter
    def cell_socs(self, socs: list[float]) -> None:
        self._cells = Cells(socs, self._curve)

    def rest_voltage(self) -> float:
        """V of the whole stack without the drop over its ohmic resistance."""
        fast, slow = self._relaxations
        return self._cells.stack + fast + slow

    def flow(self, current: float, dt: float) -> None:
        """Let a current flow for a while."""
        truth, (fast, slow) = self.truth, self._relaxations
        step = current * dt / truth.capacity
        if step:
            self.moved += current * dt
            self._cells.move(step)
        elif not (fast or slow):
            return
        emptiness = 1.0 + EMPTY_GROWTH * math.exp(-max(self._cells.emptiest, 0.0) / EMPTY_SOC)
        whole = current * truth.relaxation_resistance * emptiness
        to_fast, to_slow = whole * SHARES[0], whole * SHARES[1]
        self._relaxations = (
            to_fast + (fast - to_fast) * math.exp(-dt / truth.relaxation_time),
            to_slow + (slow - to_slow) * math.exp(-dt / (truth.relaxation_time * SLOWER)),
        )

    def cell_voltages(self, current: float) -> list[float]:
        """V of each cell, counted from the negative end, while ``current`` (A) flows."""
        each = (current * self.truth.resistance + self.relaxation) / self.truth.cells
        return [volts + each for volts in self._cells.volts()]

    def state(self, current: float, sensors: Mapping[str, float]) -> PackState:
        """What the management system measures now."""
        fast, slow = self._relaxations
        drop = current * self.truth.resistance + (fast + slow)

        def extremes() -> Extremes:
            each, volts = drop / self.truth.cells, self._cells.volts()
            return Extremes(max(volts) + each, min(volts) + each)

        return PackState(sensors, current, self._cells.stack + drop, extremes)
