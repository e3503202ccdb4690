"""What a run asks to be worked out while it goes on: when a pack may come back, and whether one more repeat would help."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

import numpy as np

from runner.conduct.texts import runs as texts
from runner.engine.program import Program
from runner.errors import TripwitnessError
from runner.evaluation.evaluate import worked_out
from runner.events import Foreseen, Reckoned
from runner.measure.finding import Finding
from runner.measure.fits.recovery import forecast
from runner.measure.recording import Series
from runner.orders import BeginStep, Conclude, Note, Order, Reckon
from runner.record.folder import RunFolder
from runner.scale import scaled
from runner.vocabulary import Observed


class Foresight:
    """Told every order; answers with work to be done when there may be something new to say. Times in s on the run's clock."""

    def __init__(self, program: Program, folder: RunFolder) -> None:
        self._folder = folder
        self._release = None if program.release is None else program.release / program.cells
        self._began = 0.0
        self._read: list[tuple[float, float]] = []
        self._waiting: int | None = None  # the step that waits for the pack and began last
        self._sensor = ""  # that the steps belong to now
        self._to_tell: set[str] = set()  # sensors with results of which nothing was worked out yet

    def take(self, order: Order, t: float) -> Callable[[], Foreseen | Reckoned | None] | None:
        """What is to be worked out because of one more order, if anything: it takes a fraction of a second for hours of record."""
        if isinstance(order, BeginStep) and order.kind == "recover":
            self._began, self._read, self._waiting = t, [], order.index
        if isinstance(order, Conclude) and order.sensor:
            self._to_tell.add(order.sensor)
        if isinstance(order, Reckon):
            self._to_tell.discard(order.sensor)
            return partial(self._reckoned, order.sensor, t)
        if isinstance(order, BeginStep) and order.sensor != self._sensor:
            done, self._sensor = self._sensor, order.sensor
            if done in self._to_tell:  # what was found of it is told before the next one begins
                self._to_tell.discard(done)
                return partial(self._reckoned, done, t)
        if not isinstance(order, Note) or order.quantity is None or self._release is None:
            return None
        if order.index != self._waiting or order.of != Observed.LOWEST_CELL_VOLTAGE:
            return None
        self._read.append((t, order.quantity))
        return partial(self._foreseen, tuple(self._read), self._began, self._release, t)

    @staticmethod
    def _foreseen(read: tuple[tuple[float, float], ...], began: float, release: float, t: float) -> Foreseen | None:
        times, volts = (np.array(column) for column in zip(*read, strict=True))
        found = forecast(Series(times, volts), began, release)
        if found is None:
            return None
        expected = began + found.expected if math.isfinite(found.expected) else None
        latest = began + found.high if math.isfinite(found.high) else None
        return Foreseen(t, expected, began + found.low, latest)

    def _reckoned(self, sensor: str, t: float) -> Reckoned:
        """The finding of the sensor that would gain most, from the record so far: a fraction of a second for hours of it."""
        try:
            known = [each for each in worked_out(self._folder).findings if each.sensor == sensor]
        except (TripwitnessError, ArithmeticError, LookupError, ValueError) as error:  # no reason to end a run
            return Reckoned(t, sensor, 0.0, texts.not_calculated(str(error)))
        values = [each for each in known if each.value is not None]
        judged = [each for each in values if each.conformity is not None]  # a narrow screen has no room for the rest
        said = tuple(in_a_line(each) for each in judged or values)
        found = [each for each in known if each.one_more]
        if not found:
            return Reckoned(t, sensor, 0.0, "", said)
        best = max(found, key=lambda each: each.one_more)
        return Reckoned(t, sensor, best.one_more, texts.one_more_helps(best.name, sensor, best.one_more), said)


def in_a_line(finding: Finding) -> str:
    """A finding that has a value, with two digits of its expanded uncertainty, in a few words."""
    size, offset, unit = scaled(finding.unit)
    value, uncertainty = (finding.value or 0.0) / size + offset, (finding.expanded_uncertainty or 0.0) / size
    digits = max(0, 1 - math.floor(math.log10(uncertainty))) if uncertainty > 0 else 2
    statement = f": {finding.conformity}" if finding.conformity else ""
    numbers = f"{value:.{digits}f} ± {uncertainty:.{digits}f} {unit}"
    return f"{finding.name} {finding.sensor or ''}".strip() + f" {numbers}{statement}"
