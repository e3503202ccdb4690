"""What the instruments of a bench file have in common: how they are reached, how well a reading is known, limits, leads."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Any, Self

from pydantic import Field, model_validator

from runner.notation.fields import (
    Current,
    PositiveCurrent,
    PositiveDifference,
    PositiveVoltage,
    Ratio,
    Resistance,
    Sheet,
    Temperature,
    TemperatureDifference,
    Timeout,
    Voltage,
)
from runner.notation.source import Path
from runner.notation.wrong import Wrong


class InstrumentSheet(Sheet):
    """What every instrument has: an ``address``, or ``by_hand: true`` where a person reads it and switches it.

    ``identity`` is how its answer to ``*IDN?`` has to begin; times in s.
    """

    address: str = ""
    by_hand: bool = False
    identity: str = ""
    dialect: str = "scpi"
    channel: str = ""
    timeout: Timeout = 1.0
    model: str = ""
    serial: str = ""
    calibrated: datetime.date | None = None
    calibration_due: datetime.date | None = None
    certificate: str = ""

    @property
    def outputs(self) -> tuple[str, ...]:
        """What each of its outputs is called, if it has several that are chosen one by one."""
        return ()

    def cannot_ramp(self, sensor: str, rate: float, end: float, *, heats: bool) -> Iterator[tuple[Path, str, str]]:
        """Why this instrument cannot bring a sensor to ``end``, in °C, at ``rate``, in K/s: key of its sheet, what, remedy."""
        yield from ()

    @model_validator(mode="after")
    def _reached(self) -> Self:
        if bool(self.address) == self.by_hand:
            raise Wrong("an instrument has either an address or by_hand: true", "write which of the two it is")
        return self


class ProbeAccuracy(Sheet):
    """How well a reading is known.

    Give ``expanded_uncertainty`` with its ``coverage_factor`` from a calibration certificate, or ``limit``, the maker's
    ± figure, which is taken as a rectangular distribution (JCGM 100:2008, 4.3.7). Units are those of the reading.
    """

    expanded_uncertainty: Any = None
    coverage_factor: float = Field(default=2.0, ge=1, le=10, allow_inf_nan=False)
    limit: Any = None
    resolution: Any = 0.0

    @model_validator(mode="after")
    def _one_of_two(self) -> Self:
        if (self.expanded_uncertainty is None) == (self.limit is None):
            raise Wrong("give either expanded_uncertainty or limit", "the calibration certificate has the first")
        return self

    def standard_uncertainty(self) -> tuple[float, str]:
        """(standard uncertainty, distribution) of the calibration."""
        if self.expanded_uncertainty is not None:
            return float(self.expanded_uncertainty) / self.coverage_factor, "normal"
        return float(self.limit) / 3.0**0.5, "rectangular"


class TemperatureAccuracy(ProbeAccuracy):
    """In K."""

    expanded_uncertainty: PositiveDifference | None = None
    limit: PositiveDifference | None = None
    resolution: TemperatureDifference = 0.0


class VoltageAccuracy(Sheet):
    """± limits of a voltage reading: ``gain`` of the reading plus ``offset`` in V."""

    gain: Ratio = 0.0
    offset: Voltage = 0.0
    resolution: Voltage = 0.0


class CurrentAccuracy(Sheet):
    """± limits of a current reading: ``gain`` of the reading plus ``offset`` in A."""

    gain: Ratio = 0.0
    offset: Current = 0.0
    resolution: Current = 0.0


class Leads(Sheet):
    """What the two leads between an instrument and the pack have together, in Ω, with its standard uncertainty."""

    resistance: Resistance
    uncertainty: Resistance


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
