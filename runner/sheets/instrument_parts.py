"""What the instruments of a bench file have in common: how they are reached, how well a reading is known, limits, leads."""

from __future__ import annotations

import datetime
import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any, Literal, Self

from pydantic import Discriminator, Field, Tag, ValidationInfo, field_validator, model_validator

from runner.notation.fields import (
    AS_IT_WAS,
    Current,
    PositiveCurrent,
    PositiveDifference,
    PositiveVoltage,
    Ratio,
    Resistance,
    Sheet,
    SignedCurrent,
    SignedDifference,
    SignedVoltage,
    Temperature,
    TemperatureDifference,
    Timeout,
    Voltage,
)
from runner.notation.source import Path
from runner.notation.wrong import Wrong
from runner.sheets.reach.line import SerialLine, address_problem, line_problems


def _which_serial(value: object) -> str:
    """Whether ``serial`` is how a line is set or a number."""
    return "<line>" if isinstance(value, dict | SerialLine) else "<number>"


class InstrumentSheet(Sheet):
    """What every instrument has: an ``address``, or ``by_hand: true`` where a person reads it and switches it.

    ``unit`` is its number on a Modbus line. ``identity`` is how its answer to ``*IDN?`` has to begin; times in s. ``serial`` is
    how its line is set, or, as a text, its serial number, for which there is ``serial_number`` as well.
    """

    address: str = ""
    by_hand: bool = False
    identity: str = ""
    dialect: str = "scpi"
    channel: str = ""
    unit: int = Field(default=1, ge=1, le=247)
    timeout: Timeout = 1.0
    model: str = ""
    serial: Annotated[
        Annotated[SerialLine, Tag("<line>")] | Annotated[str, Tag("<number>")], Discriminator(_which_serial)
    ] = ""
    serial_number: str = ""
    calibrated: datetime.date | None = None
    calibration_due: datetime.date | None = None
    certificate: str = ""

    @property
    def outputs(self) -> tuple[str, ...]:
        """What each of its outputs is called, if it has several that are chosen one by one."""
        return ()

    @property
    def bounds(self) -> Mapping[str, tuple[float, float]]:
        """Between which values this bench sets what a dialect has a ``set_`` word for, in the word's unit."""
        return {}

    def cannot_ramp(self, sensor: str, rate: float, end: float, *, heats: bool) -> Iterator[tuple[Path, str, str]]:
        """Why this instrument cannot bring a sensor to ``end``, in °C, at ``rate``, in K/s: key of its sheet, what, remedy."""
        yield from ()

    @field_validator("address")
    @classmethod
    def _one_that_there_is(cls, address: str, info: ValidationInfo) -> str:
        if address and not (info.context or {}).get(AS_IT_WAS) and (problem := address_problem(address)):
            raise Wrong(*problem)
        return address

    @model_validator(mode="after")
    def _reached(self) -> Self:
        if bool(self.address) == self.by_hand:
            raise Wrong("an instrument has either an address or by_hand: true", "write which of the two it is")
        line = self.line
        for problem in line_problems(self.address, line, line.model_fields_set if line else ()):
            raise Wrong(*problem)
        return self

    @model_validator(mode="after")
    def _due_after_it(self, info: ValidationInfo) -> Self:
        done, due = self.calibrated, self.calibration_due
        if done is not None and due is not None and due <= done and not (info.context or {}).get(AS_IT_WAS):
            raise Wrong("calibration_due is not after calibrated", "correct the dates, as the certificate has them")
        return self

    @property
    def line(self) -> SerialLine | None:
        """How its line is set, where the file says it."""
        return self.serial if isinstance(self.serial, SerialLine) else None


def less_its_error(points: Sequence[Sequence[float]], reading: float) -> float:
    """A reading less its error by (reading, error, ...) points: straight between them, beyond them that of the last."""
    if not points:
        return reading
    for (low, at_low, *_), (high, at_high, *_) in itertools.pairwise(points):
        if low <= reading <= high:
            return reading - (at_low + (at_high - at_low) * (reading - low) / (high - low))
    return reading - (points[0] if reading <= points[0][0] else points[-1])[1]


class CalibratedPoint(Sheet):
    """A line of a certificate: what the instrument ``reads``, its ``error`` there (indication less reference) and U of that."""

    reads: Any
    error: Any
    expanded_uncertainty: Any


class Calibrated(Sheet):
    """What a calibration certificate says of a reading, point by point: errors are taken off, straight between the points.

    ``coverage_factor`` is that of the points' U; ``drift`` is by how much the error may have changed since, ±, taken as a
    rectangular distribution (JCGM 100:2008, 4.3.7).
    """

    corrections: Any = ()
    coverage_factor: float = Field(default=2.0, ge=1, le=10, allow_inf_nan=False)
    drift: Any = 0.0

    @model_validator(mode="after")
    def _rising(self) -> Self:
        reads = [point.reads for point in self.corrections]
        if any(b <= a for a, b in itertools.pairwise(reads)):
            raise Wrong("corrections are not in the order of what the instrument reads", "sort them, each reading once")
        return self

    def points(self) -> tuple[tuple[float, float, float], ...]:
        """(reading, error, standard uncertainty) of each."""
        return tuple(
            (float(point.reads), float(point.error), float(point.expanded_uncertainty) / self.coverage_factor)
            for point in self.corrections
        )


class TemperaturePoint(CalibratedPoint):
    """°C and K."""

    reads: Temperature
    error: SignedDifference
    expanded_uncertainty: PositiveDifference


class VoltagePoint(CalibratedPoint):
    """In V."""

    reads: Voltage
    error: SignedVoltage
    expanded_uncertainty: PositiveVoltage


class CurrentPoint(CalibratedPoint):
    """In A."""

    reads: Current
    error: SignedCurrent
    expanded_uncertainty: PositiveCurrent


class TemperatureAccuracy(Calibrated):
    """How well a temperature is known, in K.

    Give ``expanded_uncertainty`` with its ``coverage_factor`` from a calibration certificate; or its ``corrections``, point by
    point; or ``limit``, the maker's ± figure, which is taken as a rectangular distribution (JCGM 100:2008, 4.3.7).
    """

    expanded_uncertainty: PositiveDifference | None = None
    limit: PositiveDifference | None = None
    corrections: tuple[TemperaturePoint, ...] = ()
    drift: TemperatureDifference = 0.0
    resolution: TemperatureDifference = 0.0

    @model_validator(mode="after")
    def _one_of_three(self) -> Self:
        given = (self.expanded_uncertainty is not None, self.limit is not None, bool(self.corrections))
        if sum(given) != 1:
            raise Wrong(
                "give either expanded_uncertainty, limit or corrections",
                "a calibration certificate has the first or the last",
            )
        return self

    def standard_uncertainty(self) -> tuple[float, str]:
        """(standard uncertainty, distribution) of the calibration; of corrections, without what their points say."""
        drift = float(self.drift) / 3.0**0.5
        if self.expanded_uncertainty is not None:
            return math.hypot(float(self.expanded_uncertainty) / self.coverage_factor, drift), "normal"
        if self.limit is not None:
            return math.hypot(float(self.limit) / 3.0**0.5, drift), "rectangular"
        return drift, "rectangular"


class MeterAccuracy(Calibrated):
    """± limits of a reading: ``gain`` of it plus ``offset``; or what a certificate says of it."""

    gain: Ratio = 0.0
    offset: Any = 0.0
    resolution: Any = 0.0

    @model_validator(mode="after")
    def _limits_or_corrections(self) -> Self:
        if self.corrections and (self.gain or self.offset):
            raise Wrong("gain and offset are limits of what is not corrected", "give them or corrections")
        return self


class VoltageAccuracy(MeterAccuracy):
    """In V."""

    offset: Voltage = 0.0
    corrections: tuple[VoltagePoint, ...] = ()
    drift: Voltage = 0.0
    resolution: Voltage = 0.0


class CurrentAccuracy(MeterAccuracy):
    """In A."""

    offset: Current = 0.0
    corrections: tuple[CurrentPoint, ...] = ()
    drift: Current = 0.0
    resolution: Current = 0.0


class Leads(Sheet):
    """What the two leads between an instrument and the pack have together, in Ω, with its standard uncertainty.

    ``current``: the most they may carry, in A.
    """

    resistance: Resistance
    uncertainty: Resistance
    current: PositiveCurrent | None = None


class PowerSheet(InstrumentSheet):
    """What carries the pack's current through ``leads``.

    ``sense``: remote where sense leads go to the pack's own terminals, so that its voltage has nothing of its leads in it.
    """

    leads: Leads | None = None
    sense: Literal["local", "remote"] = "local"

    @model_validator(mode="after")
    def _one_place(self) -> Self:
        if self.sense == "remote" and self.leads is not None:
            raise Wrong("leads do not count where the voltage is sensed at the pack", "remove leads or sense")
        return self

    @property
    def between(self) -> tuple[float, float] | None:
        """Ω between where it reads its voltage and the pack's terminals, with the standard uncertainty; None: nobody said."""
        if self.sense == "remote":
            return 0.0, 0.0
        return None if self.leads is None else (self.leads.resistance, self.leads.uncertainty)


class SupplyLimits(Sheet):
    """What the supply may give at most on this bench, in V and A, whatever a procedure asks."""

    voltage: PositiveVoltage
    current: PositiveCurrent

    def said(self) -> str:
        """The limits as a person reads them."""
        return f"at most {self.voltage:g} V, {self.current:g} A"


class TemperatureLimits(Sheet):
    """The temperatures between which something that heats or cools is kept on this bench, in °C, whatever a procedure asks."""

    lowest: Temperature
    highest: Temperature

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.lowest >= self.highest:
            raise Wrong("lowest is not below highest", "correct one of them")
        return self

    def said(self) -> str:
        """The limits as a person reads them."""
        return f"from {self.lowest:g} to {self.highest:g} °C"
