"""From what is read while waiting for a pack to come back to the event that says when it may."""

from __future__ import annotations

import math

import numpy as np

from runner.engine.program import Program
from runner.engine.steps.drain import LOWEST
from runner.events import Foreseen
from runner.measure.recording import Series
from runner.measure.recovery import forecast
from runner.orders import BeginStep, Note, Order


class Foresight:
    """Told every order; answers with a forecast when there is a new one. Times in s on the run's clock."""

    def __init__(self, program: Program) -> None:
        self._release = None if program.release is None else program.release / program.cells
        self._began = 0.0
        self._read: list[tuple[float, float]] = []

    def take(self, order: Order, t: float) -> Foreseen | None:
        """What follows from one more order, if anything."""
        if isinstance(order, BeginStep) and order.kind == "recover":
            self._began, self._read = t, []
        if not isinstance(order, Note) or order.name != LOWEST or order.quantity is None or self._release is None:
            return None
        self._read.append((t, order.quantity))
        times, volts = (np.array(column) for column in zip(*self._read, strict=True))
        found = forecast(Series(times, volts), self._began, self._release)
        if found is None:
            return None
        expected = self._began + found.expected if math.isfinite(found.expected) else None
        latest = self._began + found.high if math.isfinite(found.high) else None
        return Foreseen(t, expected, self._began + found.low, latest)
