"""Cells in series: an open-circuit curve, and each cell's place on it."""

from __future__ import annotations

import itertools
import math
from bisect import bisect_right
from collections.abc import Iterable

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
_SLOPES = [
    (y1 - y0) / (x1 - x0) for (x0, y0), (x1, y1) in itertools.pairwise(_CURVE)
]  # the first and last go on for ever


def _piece(soc: float) -> int:
    return bisect_right(_SOCS, soc, 1, len(_SLOPES)) - 1


def open_circuit_voltages(socs: Iterable[float]) -> list[float]:
    """V of each cell at rest."""
    return [_CURVE[piece][1] + _SLOPES[piece] * (soc - _SOCS[piece]) for soc in socs for piece in (_piece(soc),)]


class Cells:
    """Cells in series, each on its own straight piece of the curve; only a cell that leaves its piece is work."""

    def __init__(self, socs: Iterable[float]) -> None:
        self._begin(list(socs))

    def _begin(self, socs: list[float]) -> None:
        pieces = [_piece(soc) for soc in socs]
        self._socs, self._moved = (
            socs,
            0.0,
        )  # states of charge when the pieces were looked up, and how far they moved since
        self._volts = open_circuit_voltages(socs)
        self._slopes = [_SLOPES[piece] for piece in pieces]
        self._stack, self._slope, self._emptiest = sum(self._volts), sum(self._slopes), min(socs)
        last = len(_SLOPES) - 1
        self._up = min((_SOCS[p + 1] - soc for p, soc in zip(pieces, socs, strict=True) if p < last), default=math.inf)
        self._down = max((_SOCS[p] - soc for p, soc in zip(pieces, socs, strict=True) if p > 0), default=-math.inf)

    @property
    def socs(self) -> list[float]:
        """State of charge of each."""
        return [soc + self._moved for soc in self._socs]

    @property
    def emptiest(self) -> float:
        """State of charge of the cell that has the least."""
        return self._emptiest + self._moved

    @property
    def stack(self) -> float:
        """V of all of them at rest."""
        return self._stack + self._slope * self._moved

    def volts(self) -> list[float]:
        """V of each at rest."""
        moved = self._moved
        return [volt + slope * moved for volt, slope in zip(self._volts, self._slopes, strict=True)]

    def move(self, step: float) -> None:
        """Change the state of charge of every cell."""
        self._moved += step
        if not self._down <= self._moved < self._up:
            self._begin(self.socs)
