"""The cells of the simulated pack: open-circuit curve, resistance and relaxation of each chemistry, for cells of any capacity.

LFP: invented, plausible. The shape is the usual one, and it is held against a published model in tests/outside.
NMC, NCA, NMC HV: C.-H. Chen et al., J. Electrochem. Soc. 167 (2020) 080534, the fits of the open-circuit potentials of both
electrodes between the lithiations given there; above 4.2 V the same functions go on, which is invented.
LCO, LMO, LTO, Na-ion: invented, plausible. Na-ion is a layered oxide with hard carbon: the published set of parameters is of
another cathode, whose curve has steps.
Resistances and relaxations of all: invented, plausible. They go with 1/capacity, as cells of one kind do.
"""

from __future__ import annotations

from dataclasses import dataclass

Points = tuple[tuple[float, float], ...]  # state of charge, V at rest

_LFP: Points = (
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
_NMC: Points = (
    (-0.01, 2.300),  # invented: the fit has no end
    (0.00, 2.498),
    (0.01, 2.695),
    (0.02, 2.837),
    (0.03, 2.940),
    (0.05, 3.073),
    (0.10, 3.258),
    (0.15, 3.396),
    (0.20, 3.449),
    (0.30, 3.548),
    (0.40, 3.634),
    (0.50, 3.708),
    (0.60, 3.809),
    (0.70, 3.924),
    (0.80, 4.022),
    (0.90, 4.094),
    (0.95, 4.116),
    (1.00, 4.193),
    (1.05, 4.294),
    (1.10, 4.373),
    (1.15, 4.450),
    (1.20, 4.600),
)
_LCO: Points = (
    (-0.01, 2.60),
    (0.00, 3.00),
    (0.02, 3.30),
    (0.05, 3.50),
    (0.10, 3.61),
    (0.20, 3.69),
    (0.30, 3.74),
    (0.40, 3.78),
    (0.50, 3.82),
    (0.60, 3.87),
    (0.70, 3.94),
    (0.80, 4.01),
    (0.90, 4.09),
    (1.00, 4.19),
    (1.05, 4.26),
    (1.10, 4.36),
)
_LTO: Points = (
    (-0.01, 1.20),
    (0.00, 1.60),
    (0.01, 1.88),
    (0.03, 2.05),
    (0.06, 2.13),
    (0.10, 2.18),
    (0.20, 2.23),
    (0.30, 2.26),
    (0.40, 2.29),
    (0.50, 2.32),
    (0.60, 2.35),
    (0.70, 2.39),
    (0.80, 2.43),
    (0.90, 2.49),
    (0.95, 2.54),
    (0.98, 2.61),
    (1.00, 2.72),
    (1.02, 2.95),
)
_NA_ION: Points = (
    (-0.01, 1.20),
    (0.00, 1.60),
    (0.01, 1.85),
    (0.03, 2.10),
    (0.06, 2.28),
    (0.10, 2.42),
    (0.20, 2.62),
    (0.30, 2.80),
    (0.40, 2.96),
    (0.50, 3.10),
    (0.60, 3.23),
    (0.70, 3.37),
    (0.80, 3.53),
    (0.90, 3.72),
    (1.00, 3.95),
    (1.05, 4.08),
    (1.10, 4.24),
)
END = 0.05  # V a cell by which an empty cell at rest is above the voltage at which its discharge ends


@dataclass(frozen=True)
class CellKind:
    """A chemistry. ``resistance`` and ``relaxation`` are those of a cell of 1 Ah, in Ω·Ah.

    ``sloping``: its voltage says how full it is, so that the voltages of a sheet decide what full and empty are.
    """

    points: Points
    resistance: float
    relaxation: float
    sloping: bool = True


_LITHIUM = CellKind(_NMC, 0.10, 0.05)
KINDS = {
    "LFP": CellKind(_LFP, 0.12, 0.06, sloping=False),
    "NMC": _LITHIUM,
    "NCA": _LITHIUM,
    "NMC HV": _LITHIUM,
    "LCO": CellKind(_LCO, 0.12, 0.06),
    "LMO": CellKind(_LCO, 0.10, 0.05),
    "LTO": CellKind(_LTO, 0.07, 0.035, sloping=False),
    "Na-ion": CellKind(_NA_ION, 0.16, 0.08),
}


def kind_of(chemistry: str, empty: float, full: float) -> CellKind:
    """The cells of a pack whose discharge ends at ``empty`` and whose charge ends at ``full``, in V a cell.

    A chemistry that is none of these is drawn as a slope between the two.
    """
    kind = KINDS.get(chemistry)
    if kind is None:
        return CellKind(_between(_NMC, empty + END, full), 0.12, 0.06)
    if not kind.sloping:
        return kind
    low, high = (_at(kind.points, volts) for volts in (empty + END, full))
    points = tuple(((soc - low) / (high - low), volts) for soc, volts in kind.points)
    return CellKind(points, kind.resistance, kind.relaxation)


def _at(points: Points, volts: float) -> float:
    """The state of charge at which a curve has a voltage; beyond its ends it goes on straight."""
    index = next((i for i in range(1, len(points) - 1) if points[i][1] >= volts), len(points) - 1)
    (x0, y0), (x1, y1) = points[index - 1 : index + 1]
    return x0 + (volts - y0) / (y1 - y0) * (x1 - x0)


def _between(points: Points, empty: float, full: float) -> Points:
    """A curve of the same shape between two other voltages."""
    low, high = (next(volts for soc, volts in points if soc == end) for end in (0.0, 1.0))
    return tuple((soc, empty + (volts - low) / (high - low) * (full - empty)) for soc, volts in points)
