"""The bench file: the instruments, how they are reached, what they may do at most, how accurate they are."""

from __future__ import annotations

import datetime
from typing import Any, Literal, Self

from pydantic import Field, model_validator

from runner.sheets.fields import Current, Ratio, Sheet, TemperatureDifference, Time, Voltage
from runner.sheets.problems import checked
from runner.sheets.source import Source, read

ROLES = ("supply", "probe", "meter", "load", "hands")


class Accuracy(Sheet):
    """How well a reading is known.

    Give ``expanded_uncertainty`` with its ``coverage_factor`` from a calibration certificate, or ``limit``, the maker's
    ± figure, which is taken as a rectangular distribution (JCGM 100:2008, 4.3.7). Units are those of the reading.
    """

    expanded_uncertainty: Any = None
    coverage_factor: float = Field(default=2.0, gt=0)
    limit: Any = None
    resolution: Any = 0.0

    @model_validator(mode="after")
    def _one_of_two(self) -> Self:
        if (self.expanded_uncertainty is None) == (self.limit is None):
            raise ValueError("give either expanded_uncertainty or limit; the calibration certificate has the first")
        return self

    def standard_uncertainty(self) -> tuple[float, str]:
        """(standard uncertainty, distribution) of the calibration."""
        if self.expanded_uncertainty is not None:
            return float(self.expanded_uncertainty) / self.coverage_factor, "normal"
        return float(self.limit) / 3.0**0.5, "rectangular"


class TemperatureAccuracy(Accuracy):
    """In K."""

    expanded_uncertainty: TemperatureDifference | None = None
    limit: TemperatureDifference | None = None
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


class Instrument(Sheet):
    """What every instrument has. ``identity`` is how its answer to ``*IDN?`` has to begin; times in s."""

    address: str
    identity: str = ""
    dialect: str = "scpi"
    channel: str = ""
    timeout: Time = 1.0
    model: str = ""
    serial: str = ""
    calibrated: datetime.date | None = None
    calibration_due: datetime.date | None = None
    certificate: str = ""


class SupplyLimits(Sheet):
    """What the supply may give at most on this bench, in V and A, whatever a procedure asks."""

    voltage: Voltage
    current: Current


class Supply(Instrument):
    """The programmable supply that charges the pack."""

    limits: SupplyLimits
    voltage_accuracy: VoltageAccuracy = VoltageAccuracy()
    current_accuracy: CurrentAccuracy = CurrentAccuracy()


class Load(Instrument):
    """The electronic load that discharges the pack."""

    limits: SupplyLimits
    voltage_accuracy: VoltageAccuracy = VoltageAccuracy()
    current_accuracy: CurrentAccuracy = CurrentAccuracy()


class Probe(Instrument):
    """The reference thermometer held on the pack's sensor.

    ``coupling`` is the standard uncertainty, in K, of how far probe and sensor differ in a steady state (contact,
    paste, distance); ``lag`` the probe's first-order time constant, in s, with its standard uncertainty.
    """

    accuracy: TemperatureAccuracy
    coupling: TemperatureDifference
    lag: Time = 0.0
    lag_uncertainty: Time = 0.0


class Meter(Instrument):
    """A voltmeter on the pack's own terminals."""

    voltage_accuracy: VoltageAccuracy = VoltageAccuracy()


class Hands(Instrument):
    """Something that heats and cools the sensor on command. The simulated bench has it; at a real one a person does."""


class Instruments(Sheet):
    """One instrument a role. A role that is missing is a role this bench has not got."""

    supply: Supply | None = None
    probe: Probe | None = None
    meter: Meter | None = None
    load: Load | None = None
    hands: Hands | None = None


class Decision(Sheet):
    """How a statement of conformity is made: the rule of ILAC-G8:09/2019 and the coverage of the expanded uncertainty."""

    rule: Literal["simple acceptance", "guard band", "guard band with conditions"] = "guard band with conditions"
    coverage: Ratio = 0.95


class BenchFile(Sheet):
    """A bench. ``simulated`` marks one that proves nothing about a real pack; ``speed`` is how fast its time runs."""

    kind: Literal["bench"]
    name: str
    place: str = ""
    laboratory: str = ""
    operator: str = ""
    note: str = ""
    backend: str = "@py"
    simulated: bool = False
    speed: float = Field(default=1.0, gt=0)
    instruments: Instruments
    decision: Decision = Decision()

    def roles(self) -> dict[str, Instrument]:
        """The instruments there are, by role, in the order of ROLES."""
        found = ((role, getattr(self.instruments, role)) for role in ROLES)
        return {role: instrument for role, instrument in found if instrument is not None}


def parse_bench(text: str, file: str) -> BenchFile:
    """A bench file from its text. Raises SheetError with all that is wrong."""
    return parse_bench_source(read(text, file))


def parse_bench_source(source: Source) -> BenchFile:
    """The same, for a caller who needs the places of things later."""
    return checked(source, BenchFile)
