"""Cells in series: an open-circuit curve, and each cell's place on it."""

from __future__ import annotations

import itertools
import math
from bisect import bisect_right
from collections.abc import Iterable

from runner.twin.chemistry import KINDS, Points


class OpenCircuit:
    """A curve from state of charge to V at rest, straight between its points; its first and last piece go on for ever."""

    def __init__(self, points: Points) -> None:
        self.points = points
        self.socs = [soc for soc, _ in points]
        self.slopes = [(y1 - y0) / (x1 - x0) for (x0, y0), (x1, y1) in itertools.pairwise(points)]

    def piece(self, soc: float) -> int:
        """On which straight piece a state of charge lies."""
        return bisect_right(self.socs, soc, 1, len(self.slopes)) - 1

    def volts(self, socs: Iterable[float]) -> list[float]:
        """V of each cell at rest."""
        return [
            self.points[piece][1] + self.slopes[piece] * (soc - self.socs[piece])
            for soc in socs
            for piece in (self.piece(soc),)
        ]


USUAL = OpenCircuit(KINDS["LFP"].points)


class Cells:
    """Cells in series, each on its own straight piece of the curve; only a cell that leaves its piece is work."""

    def __init__(self, socs: Iterable[float], curve: OpenCircuit = USUAL) -> None:
        self._curve = curve
        self._begin(list(socs))

    def _begin(self, socs: list[float]) -> None:
        curve = self._curve
        pieces = [curve.piece(soc) for soc in socs]
        self._socs, self._moved = (
            socs,
            0.0,
        )  # states of charge when the pieces were looked up, and how far they moved since
        self._volts = curve.volts(socs)
        self._slopes = [curve.slopes[piece] for piece in pieces]
        self._stack, self._slope, self._emptiest = sum(self._volts), sum(self._slopes), min(socs)
        last = len(curve.slopes) - 1
        self._up = min(
            (curve.socs[p + 1] - soc for p, soc in zip(pieces, socs, strict=True) if p < last), default=math.inf
        )
        self._down = max((curve.socs[p] - soc for p, soc in zip(pieces, socs, strict=True) if p > 0), default=-math.inf)

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
