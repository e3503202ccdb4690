"""What truly flows and stands while a pack is discharged: the current and the voltage at its terminals, as knots.

A cell is its open-circuit voltage over what is left in it (a curve for each chemistry: invented, plausible), a resistance and one
polarisation. The pack is its cells in series, the weakest of which decides when it opens.
"""

import math
from dataclasses import dataclass

import numpy as np

from tests.foreign.discharge.drawn import CHEMISTRIES, Drawn
from tests.foreign.trace import LEAST, Trace

LONG, SHORT = 1.0, 0.1  # s from knot to knot; short where the weakest cell comes near to its end
NEAR = 0.15  # V
LOAD_PULLS = 0.05  # s in which a load takes an open pack's terminals down
AFTER = 90.0  # s that can still be looked at
DEEPEST = -0.02  # of its capacity that can be taken out of an empty cell


def open_circuit(chemistry: str, left: float) -> float:
    """V of one cell with this share of its charge left."""
    if chemistry == "LFP":
        plateaus = 3.27 + 0.03 * left + 0.02 * math.tanh((left - 0.65) / 0.04)
        return plateaus - 0.85 * math.exp(-left / 0.02) + 0.2 * math.exp((left - 1.0) / 0.008)
    if chemistry == "NMC":
        return 3.45 + 0.62 * left + 0.12 * left**3 - 0.6 * math.exp(-left / 0.03)
    return 2.2 + 0.22 * left - 0.75 * math.exp(-left / 0.02) + 0.1 * math.exp((left - 1.0) / 0.02)


@dataclass
class Flow:
    """``opened``: when the pack began to open, ``ended`` when nothing flowed any more, s. ``ripple_loss`` in J."""

    current: Trace
    terminals: Trace
    on: float
    opened: float
    ended: float
    ripple_loss: float

    @property
    def charge(self) -> float:
        """A·s through the terminals."""
        return float(self.current.integral(self.current.t[-1:])[0])

    @property
    def energy(self) -> float:
        """J out of the terminals: between knots current and voltage are straight, so their product is a parabola."""
        i, v, dt = self.current.v, self.terminals.v, np.diff(self.current.t)
        whole = (i[:-1] * v[:-1] + i[1:] * v[1:]) / 3 + (i[:-1] * v[1:] + i[1:] * v[:-1]) / 6
        return float((whole * dt).sum()) - self.ripple_loss


class _Discharge:
    """One discharge as it goes. ``off`` are (from, to, open): nothing flows; open: because the pack's path is open."""

    def __init__(self, drawn: Drawn, on: float, off: list[tuple[float, float, bool]]) -> None:
        self.pack, self.load, self.on, self.off = drawn.pack, drawn.load, on, sorted(off)
        self.leads = 0.0 if drawn.bench.sensed else drawn.bench.leads
        self.t, self.drawn_charge, self.polar = on, 0.0, 0.0
        self.times, self.amps, self.volts = [on - 30.0], [0.0], [self.inner()]
        self.ripple_loss = 0.0

    def inner(self) -> float:
        """V behind all resistance."""
        pack = self.pack
        left = 1.0 - self.drawn_charge / pack.capacity
        weak = 1.0 - self.drawn_charge / (pack.capacity * (1 - pack.spread))
        whole = (pack.cells - 1) * open_circuit(pack.chemistry, left) + open_circuit(pack.chemistry, weak)
        return whole - self.polar

    def weakest(self, amps: float) -> float:
        pack = self.pack
        weak = 1.0 - self.drawn_charge / (pack.capacity * (1 - pack.spread))
        return open_circuit(pack.chemistry, weak) - (self.polar + amps * pack.resistance) / pack.cells

    def wants(self) -> float:
        """A that the load draws now."""
        load, inner = self.load, self.inner()
        ohms = self.pack.resistance + self.leads
        if load.profile == "power":
            root = inner * inner - 4 * ohms * load.current * load.nominal
            return (inner - math.sqrt(max(root, 0.0))) / (2 * ohms) if ohms else load.current * load.nominal / inner
        if load.profile == "resistive":
            return inner / (ohms + load.nominal / load.current)
        if load.profile == "hunting":
            share, period = load.hunts
            return load.current * (1 + share * math.sin(2 * math.pi * self.t / period))
        if load.profile == "steps":
            since = (self.t - self.on + 1e-6) % sum(lasts for lasts, _ in load.levels)
            for lasts, level in load.levels:
                if since < lasts:
                    return load.current * level
                since -= lasts
        return load.current

    def put(self, t: float, amps: float, volts: float | None = None) -> None:
        """One more knot, later than all before it."""
        self.times.append(max(t, self.times[-1] + LEAST))
        self.amps.append(amps)
        self.volts.append(self.inner() - amps * self.pack.resistance if volts is None else volts)

    def pass_time(self, seconds: float, amps: float) -> None:
        pack = self.pack
        share, _, _ = self.load.ripple
        self.ripple_loss += pack.resistance * (share * amps) ** 2 / 2 * seconds
        self.t += seconds
        self.drawn_charge += amps * seconds
        keep = math.exp(-seconds / pack.tau_polar)
        self.polar = self.polar * keep + amps * pack.r_polar * (1 - keep)

    def changes(self) -> list[float]:
        """When the load goes to another level, in turn, for longer than any discharge."""
        found: list[float] = []
        if self.load.levels:
            t, longest = self.on, self.pack.capacity / self.load.current * 5
            while t < self.on + longest:
                for lasts, _ in self.load.levels:
                    t += lasts
                    found.append(t)
        return found

    def run(self, phase: float) -> Flow:
        pack = self.pack
        edges = sorted([*self.changes(), *(t for begin, end, _ in self.off for t in (begin, end))])
        number, next_look, under = 0, self.on + phase, None
        self.put(self.on, 0.0)
        self.put(self.on + self.load.rise, self.wants())
        self.t = self.on + self.load.rise
        while True:
            blocked = next((each for each in self.off if each[0] <= self.t < each[1] - LEAST), None)
            if blocked is not None:
                self._nothing(*blocked)
                continue
            amps = self.wants()
            weakest = self.weakest(amps)
            step = SHORT if weakest < pack.cut_off + NEAR else LONG
            while number < len(edges) and edges[number] <= self.t + LEAST:
                number += 1
            until = min(self.t + step, edges[number] if number < len(edges) else math.inf)
            self.pass_time(until - self.t, amps)
            self.put(self.t, amps if self.load.profile in ("constant", "steps") else self.wants())
            if self.load.levels and number < len(edges) and abs(self.t - edges[number]) < LEAST:
                self.put(self.t + 2 * LEAST, self.wants())
            if self.t >= next_look:
                next_look += max(pack.polling, SHORT / 2)
                under = None if weakest > pack.cut_off else self.t if under is None else under
                if under is not None and self.t - under >= pack.delay:
                    break
            if self.drawn_charge > (1 - DEEPEST) * pack.capacity * (1 - pack.spread):
                break
        return self._opens()

    def _nothing(self, begin: float, end: float, is_open: bool) -> None:
        """No current until ``end``; then it comes on again."""
        at = max(begin, self.times[-1])
        for t in (at + LEAST, end):
            self.pass_time(max(t - self.t, 0.0), 0.0)
            self.put(t, 0.0, self.pack.left_over if is_open else None)
        self.put(end + self.load.rise, self.wants())
        self.t = self.times[-1]

    def _opens(self) -> Flow:
        """The path opens, in its own way."""
        opened, amps = self.t, self.amps[-1]
        for seconds, share in self.pack.opens:
            at = max(self.t + seconds, self.times[-1] + LEAST)
            self.pass_time(at - self.t, amps * share)
            volts = None if share else self.pack.left_over
            self.put(at, amps * share, volts)
        ended = self.times[-1]
        self.put(ended + LOAD_PULLS, 0.0, self.pack.left_over)
        self.put(ended + AFTER, 0.0, self.pack.left_over)
        t = np.array(self.times)
        current, terminals = Trace(t, np.array(self.amps)), Trace(t, np.array(self.volts))
        return Flow(current, terminals, self.on, opened, ended, self.ripple_loss)


def discharge(drawn: Drawn, on: float, phase: float, off: list[tuple[float, float, bool]]) -> Flow:
    """The discharge of a full pack from ``on`` until it opens; during ``off`` nothing flows."""
    assert drawn.pack.cut_off > CHEMISTRIES[drawn.pack.chemistry][0] - 1e-9
    return _Discharge(drawn, on, off).run(phase)
