"""The pack: cells in series with an open-circuit curve, resistance and one relaxation, and their management system."""

from __future__ import annotations

import random
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field

from runner.twin.parameters import PackTruth, ProtectionTruth

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
_SOCS = [soc for soc, _ in _CURVE]


def open_circuit_voltage(soc: float) -> float:
    """V of one cell at rest."""
    index = min(max(bisect_right(_SOCS, soc), 1), len(_CURVE) - 1)
    (x0, y0), (x1, y1) = _CURVE[index - 1], _CURVE[index]
    return y0 + (y1 - y0) * (soc - x0) / (x1 - x0)


@dataclass
class _Latch:
    """What the management system remembers about one protection."""

    truth: ProtectionTruth
    next_look: float
    tripped: bool = False
    since: float | None = None  # when the condition for a change was first seen
    looks: list[float] = field(default_factory=list)


class ManagementSystem:
    """Looks every ``polling`` seconds; opens the charge or discharge path when a condition has stood for ``delay``."""

    def __init__(self, protections: tuple[ProtectionTruth, ...], dice: random.Random) -> None:
        self._latches = [_Latch(truth, dice.uniform(0.0, truth.polling)) for truth in protections]
        self.changes: list[dict[str, object]] = []

    @property
    def next_look(self) -> float:
        return min((latch.next_look for latch in self._latches), default=float("inf"))

    @property
    def charge_open(self) -> bool:
        """True while a protection keeps charge current out."""
        return any(
            latch.tripped
            for latch in self._latches
            if "discharge" not in latch.truth.kind and latch.truth.kind != "under_voltage"
        )

    @property
    def discharge_open(self) -> bool:
        """True while a protection keeps discharge current from flowing."""
        return any(
            latch.tripped
            for latch in self._latches
            if "discharge" in latch.truth.kind or latch.truth.kind == "under_voltage"
        )

    def look(
        self, t: float, sensors: Mapping[str, float], highest_cell: float, lowest_cell: float, current: float
    ) -> None:
        """One moment of the management system's life; it acts only if a look is due."""
        for latch in self._latches:
            if latch.next_look > t + 1e-9:
                continue
            latch.next_look += max(latch.truth.polling, 0.01)
            self._consider(latch, t, sensors, highest_cell, lowest_cell, current)

    def _consider(
        self, latch: _Latch, t: float, sensors: Mapping[str, float], highest: float, lowest: float, current: float
    ) -> None:
        truth = latch.truth
        if latch.tripped and truth.latching:
            return
        culprit = _beyond_trip(truth, sensors, highest, lowest, current)
        wants_change = (culprit is not None) if not latch.tripped else _inside_release(truth, sensors, highest, lowest)
        if not wants_change:
            latch.since = None
            return
        latch.since = t if latch.since is None else latch.since
        if t - latch.since < truth.delay - 1e-9:
            return
        latch.tripped, latch.since = not latch.tripped, None
        self.changes.append(
            {
                "t": t,
                "kind": truth.kind,
                "change": "trip" if latch.tripped else "release",
                "by": culprit or "",
                "sensors": dict(sensors),
            }
        )


def _beyond_trip(
    truth: ProtectionTruth, sensors: Mapping[str, float], highest: float, lowest: float, current: float
) -> str | None:
    """Who is beyond the trip value, or None."""
    if "temperature" in truth.kind:
        sign = 1.0 if "over" in truth.kind else -1.0
        for name, value in sensors.items():
            if name in truth.offsets and sign * (value - truth.trip - truth.offsets[name]) > 0:
                return name
        return None
    if truth.kind == "over_voltage":
        return "cell" if highest > truth.trip else None
    if truth.kind == "under_voltage":
        return "cell" if lowest < truth.trip else None
    flowing = current if truth.kind == "charge_over_current" else -current
    return "current" if flowing > truth.trip else None


def _inside_release(truth: ProtectionTruth, sensors: Mapping[str, float], highest: float, lowest: float) -> bool:
    if "temperature" in truth.kind:
        sign = 1.0 if "over" in truth.kind else -1.0
        return all(
            sign * (value - truth.release - truth.release_offsets[name]) < 0
            for name, value in sensors.items()
            if name in truth.release_offsets
        )
    if truth.kind == "over_voltage":
        return highest < truth.release
    return lowest > truth.release if truth.kind == "under_voltage" else True


class Pack:
    """Cells and management system. Current is positive when it charges; the trip values of voltages are per cell."""

    def __init__(self, truth: PackTruth, dice: random.Random) -> None:
        self.truth = truth
        self.cell_socs = [truth.soc + dice.gauss(0.0, truth.cell_soc_spread) for _ in range(truth.cells)]
        self.relaxation = 0.0
        self.moved = 0.0  # A·s put in since the beginning
        self.system = ManagementSystem(truth.protections, dice)

    def rest_voltage(self) -> float:
        """V of the whole pack without the drop over its ohmic resistance."""
        return sum(open_circuit_voltage(soc) for soc in self.cell_socs) + self.relaxation

    def flow(self, current: float, dt: float) -> None:
        """Let a current flow for a while."""
        step = current * dt / self.truth.capacity
        if step:
            self.moved += current * dt
            self.cell_socs = [soc + step for soc in self.cell_socs]
        target = current * self.truth.relaxation_resistance
        self.relaxation += (target - self.relaxation) * min(1.0, dt / self.truth.relaxation_time)

    def extremes(self, current: float) -> tuple[float, float]:
        """(highest, lowest) cell voltage under a current."""
        drop = (current * self.truth.resistance + self.relaxation) / self.truth.cells
        return (open_circuit_voltage(max(self.cell_socs)) + drop, open_circuit_voltage(min(self.cell_socs)) + drop)
