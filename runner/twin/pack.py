"""The pack: cells in series with an open-circuit curve, resistance and one relaxation, and their management system."""

from __future__ import annotations

import itertools
import math
import random
from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from runner.twin.parameters import PackTruth, ProtectionTruth
from runner.twin.sensing import Senses, SensingTruth

# An invented lithium iron phosphate cell: state of charge, open-circuit voltage in V. The shape is the usual one.
_CURVE = (
    (0.00, 2.50),
    (0.01, 2.78),
    (0.02, 2.92),
    (0.05, 3.09),
    (0.10, 3.19),
    (0.20, 3.245),
    (0.30, 3.275),
    (0.40, 3.290),
    (0.50, 3.297),
    (0.60, 3.310),
    (0.70, 3.328),
    (0.80, 3.334),
    (0.90, 3.342),
    (0.95, 3.360),
    (0.97, 3.385),
    (0.98, 3.410),
    (0.99, 3.460),
    (1.00, 3.600),
    (1.02, 3.95),
)
WAKING_CURRENT = 0.05  # A of charge that wake a pack which latches after its cut-off
SHARES = (1.0, 0.67)  # of the relaxation resistance: the fast and the slow relaxation
SLOWER = 10.0  # times: the slow one
EMPTY_GROWTH, EMPTY_SOC = 20.0, 0.02  # how much the relaxations grow towards empty, and from which state of charge on
_SOCS = [soc for soc, _ in _CURVE]
_PIECES = [(x0, y0, x1 - x0, y1 - y0) for (x0, y0), (x1, y1) in itertools.pairwise(_CURVE)]  # the last goes on for ever


def open_circuit_voltages(socs: Iterable[float]) -> list[float]:
    """V of each cell at rest."""
    found = []
    for soc in socs:
        x0, y0, run, rise = _PIECES[bisect_right(_SOCS, soc, 1, len(_PIECES)) - 1]
        found.append(y0 + rise * (soc - x0) / run)
    return found


@dataclass
class _Latch:
    """What the management system remembers about one protection."""

    truth: ProtectionTruth
    next_look: float
    tripped: bool = False
    changed: float = 0.0
    since: float | None = None  # when the condition for a change was first seen
    before: tuple[float, float] | None = None  # at the look before: what is compared, and the stack's voltage
    crossed: float | None = None  # V of the stack when the condition came true
    senses: Senses | None = None  # what it sees things through; None: as they are


@dataclass(frozen=True)
class PackState:
    """What a management system measures. Voltages in V, current in A, positive when it charges."""

    sensors: Mapping[str, float]
    highest: float
    lowest: float
    current: float
    stack: float


class ManagementSystem:
    """Looks every ``polling`` seconds; opens the charge or discharge path when a condition has stood for ``delay``."""

    def __init__(
        self, protections: tuple[ProtectionTruth, ...], dice: random.Random, sensing: SensingTruth | None = None
    ) -> None:
        self._latches = [_Latch(truth, dice.uniform(0.0, truth.polling)) for truth in protections]
        if sensing is not None and not sensing.plain:
            for latch in self._latches:
                latch.senses = Senses(sensing, random.Random(dice.random()))
        self.changes: list[dict[str, object]] = []
        self._charge_open = self._discharge_open = False
        self.next_look = min((latch.next_look for latch in self._latches), default=math.inf)

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
        self.next_look = math.inf
        for latch in self._latches:
            if latch.next_look <= t + 1e-9:
                latch.next_look += max(latch.truth.polling, 0.01)
                self._consider(latch, t, state)
            if latch.next_look < self.next_look:
                self.next_look = latch.next_look

    def _consider(self, latch: _Latch, t: float, true: PackState) -> None:
        truth, state = latch.truth, true
        if latch.senses is not None:
            highest, lowest = latch.senses.voltages(true.highest, true.lowest)
            state = replace(true, sensors=latch.senses.temperatures(true.sensors), highest=highest, lowest=lowest)
        culprit = _beyond_trip(truth, state)
        wants_change = _releases(latch, t, state) if latch.tripped else culprit is not None
        compared = _compared(truth, state)
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
    if latch.before is None or not latch.truth.kind.endswith("voltage"):
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
        self.cell_socs = [truth.soc + dice.gauss(0.0, truth.cell_soc_spread) for _ in range(truth.cells)]
        self._relaxations = [0.0, 0.0]
        self._at_rest()
        self.moved = 0.0  # A·s put in since the beginning
        self.system = ManagementSystem(truth.protections, dice, truth.sensing)

    @property
    def relaxation(self) -> float:
        """V by which the stack is away from its voltage at rest, after its ohmic drop."""
        return sum(self._relaxations)

    def _at_rest(self) -> None:
        """What only the states of charge decide, worked out once for each of them."""
        self._volts = open_circuit_voltages(self.cell_socs)
        self._stack = sum(self._volts)
        self._emptiness = 1.0 + EMPTY_GROWTH * math.exp(-max(min(self.cell_socs), 0.0) / EMPTY_SOC)

    def rest_voltage(self) -> float:
        """V of the whole stack without the drop over its ohmic resistance."""
        return self._stack + self.relaxation

    def flow(self, current: float, dt: float) -> None:
        """Let a current flow for a while."""
        step = current * dt / self.truth.capacity
        if step:
            self.moved += current * dt
            self.cell_socs = [soc + step for soc in self.cell_socs]
            self._at_rest()
        for index, (share, time) in enumerate(zip(SHARES, (1.0, SLOWER), strict=True)):
            target = current * self.truth.relaxation_resistance * share * self._emptiness
            gone = math.exp(-dt / (self.truth.relaxation_time * time))
            self._relaxations[index] = target + (self._relaxations[index] - target) * gone

    def state(self, current: float, sensors: Mapping[str, float]) -> PackState:
        """What the management system measures now."""
        drop = current * self.truth.resistance + self.relaxation
        each = drop / self.truth.cells
        volts = [volt + each for volt in self._volts]
        return PackState(sensors, max(volts), min(volts), current, sum(volts))
