"""How the current of a pack's path goes off and comes back, and what the supply makes of it: knots of the current over time."""

from dataclasses import dataclass

import numpy as np

from tests.foreign.trace import LEAST, Trace


@dataclass
class Path:
    """Shapes of the path, common practice, no source (from memory). Times in s, currents in A or as a share of the level.

    ``off``: "instant" (under 1 ms), "linear" or "tail" (exponential) over ``off_time``; ``left``: what still flows afterwards (keep-alive);
    ``dead``: s from the order until anything moves (a contactor's armature); ``pre_charge``: (share, s) before the path closes
    fully; ``bounces``: so many short pauses of ``bounce`` s after closing; ``settling``: s in which the supply comes back to its
    current; ``derates``: share left that the pack asks for from ``derates_before`` (K before its limit) on.
    """

    off: str = "instant"
    off_time: float = 0.0005
    left: float = 0.0
    dead: float = 0.0
    pre_charge: tuple[float, float] | None = None
    bounces: int = 0
    bounce: float = 0.01
    settling: float = 0.005
    derates: float | None = None
    derates_before: float = 2.0


class Current:
    """The current over time, written down one thing after the other; no time may lie before the last one."""

    def __init__(self, path, level, begin):
        self.path, self.level = path, level
        self.times, self.amps = [begin], [0.0]

    def _put(self, t, amps):
        self.times.append(max(t, self.times[-1] + LEAST / 10))
        self.amps.append(amps)

    def _hold(self, t):
        self._put(t, self.amps[-1])

    def _settle(self, t, amps):
        """To ``amps`` from ``t`` on, as a supply settles: nine tenths in half of its time."""
        before = self.amps[-1]
        self._hold(t)
        for x in (0.1, 0.25, 0.5, 0.75, 1.0):
            self._put(
                t + x * self.path.settling, before + (amps - before) * (1 - np.exp(-4.6 * x)) / (1 - np.exp(-4.6))
            )

    def on(self, t):
        """The supply is switched on, with the path closed."""
        self._settle(t, self.level)

    def less(self, t, share):
        """The pack asks for less."""
        self._settle(t, self.level * share)

    def opens(self, t):
        """The pack opens its path at ``t``."""
        path, before = self.path, self.amps[-1]
        self._hold(t + path.dead)
        share = np.array([0.08, 0.2, 0.4, 0.7, 1.0]) if path.off == "tail" else np.array([1.0])
        for x in share.tolist():
            fallen = (1 - np.exp(-5 * x)) / (1 - np.exp(-5)) if path.off == "tail" else x
            self._put(t + path.dead + x * path.off_time, before + (path.left - before) * fallen)

    def closes(self, t):
        """The pack closes its path at ``t``."""
        path = self.path
        t += path.dead
        if path.pre_charge:
            share, lasts = path.pre_charge
            self._settle(t, share * self.level)
            t = max(t + lasts, self.times[-1])
        for _ in range(path.bounces):
            self._hold(t)
            self._put(t + 0.0005, self.level)
            self._hold(t + path.bounce)
            self._put(t + path.bounce + 0.0005, 0.0)
            t += 2 * path.bounce
        self._settle(t, self.level)

    def until(self, end):
        """The trace of it all up to ``end``."""
        self._hold(end)
        return Trace(self.times, self.amps)
