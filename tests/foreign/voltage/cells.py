"""Cells in series near empty: their voltages while a load draws current, and while they recover.

The open-circuit curve has the knee of the LFP positive electrode of Afshar et al. (2017) as PyBaMM's Prada2013 set has it:
3.4077 − 0.020269·s + 0.5·exp(−150·s) − 0.9·exp(−30·(1 − s)) V, s the lithiation (formula from memory), less 0.1 V for the negative
electrode. Ohmic resistance and two relaxations (charge transfer, diffusion) are common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

GRID = 0.1  # s


def open_circuit(left):
    """V of a cell at a share of its capacity left."""
    s = 1.0 - np.asarray(left)
    return 3.3077 - 0.020269 * s + 0.5 * np.exp(-150 * s) - 0.9 * np.exp(-30 * (1 - s))


def share_at(volts):
    """The share of its capacity left at which a cell has this open-circuit voltage (2.45 to 3.2 V)."""
    left = np.linspace(0.0, 0.3, 30_001)
    return float(np.interp(volts, open_circuit(left), left))


@dataclass
class Cells:
    """``capacity`` in A·s; ``left``: the share of it in each cell at the beginning; ohms a cell; ``fast`` and ``slow``: (Ω, s)."""

    capacity: float
    left: tuple[float, ...]
    ohms: float
    fast: tuple[float, float]
    slow: tuple[float, float]

    def voltages(self, amps):
        """V of each cell (a row each) over a course of the current on GRID that is drawn from them.

        Both relaxations begin as if the first current had flowed for long.
        """
        charge = np.concatenate(([0.0], np.cumsum(0.5 * (amps[1:] + amps[:-1]) * GRID)))
        lost = self.ohms * amps
        for ohms, tau in (self.fast, self.slow):
            keep = np.exp(-GRID / tau)
            start = keep * ohms * amps[0]
            lost = lost + lfilter([1 - keep], [1, -keep], ohms * amps, zi=[start])[0]
        return np.array([open_circuit(left - charge / self.capacity) for left in self.left]) - lost
