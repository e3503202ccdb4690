"""The bench file: the instruments, how they are reached, what they may do at most, how accurate they are."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Any, Literal, Self

from pydantic import Field, model_validator

from runner.errors import Problem, SheetError
from runner.notation.fields import (
    AS_IT_WAS,
    Charge,
    Coverage,
    Current,
    Energy,
    GuardPatience,
    PositiveCurrent,
    PositiveDifference,
    PositiveTime,
    PositiveVoltage,
    Ratio,
    Resistance,
    Sheet,
    Temperature,
    TemperatureDifference,
    Time,
    Timeout,
    Voltage,
)
from runner.notation.problems import checked
from runner.notation.source import Source, read
from runner.notation.wrong import Wrong
from runner.sheets.curve import Curve

ROLES = ("supply", "probe", "meter", "load", "counter", "display", "box", "hands")


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

    @model_validator(mode="after")
    def _reached(self) -> Self:
        if bool(self.address) == self.by_hand:
            raise Wrong("an instrument has either an address or by_hand: true", "write which of the two it is")
        return self


class Leads(Sheet):
    """What the two leads between an instrument and the pack have together, in Ω, with its standard uncertainty."""

    resistance: Resistance
    uncertainty: Resistance


class SupplyLimits(Sheet):
    """What the supply may give at most on this bench, in V and A, whatever a procedure asks."""

    voltage: PositiveVoltage
    current: PositiveCurrent


class SupplySheet(InstrumentSheet):
    """The programmable supply that charges the pack. ``averages``: over how long each of its readings is the mean, in s."""

    limits: SupplyLimits
    voltage_accuracy: VoltageAccuracy = VoltageAccuracy()
    current_accuracy: CurrentAccuracy = CurrentAccuracy()
    leads: Leads | None = None
    averages: Time = 0.0

    @model_validator(mode="after")
    def _on_a_cable(self) -> Self:
        if self.by_hand:
            raise Wrong(
                "the supply cannot be read by hand: it must be switched off without a person", "give its address"
            )
        return self


class LoadSheet(InstrumentSheet):
    """The load that discharges the pack; by hand, one that a person switches, such as a lamp, of about ``draws`` A."""

    limits: SupplyLimits
    voltage_accuracy: VoltageAccuracy = VoltageAccuracy()
    current_accuracy: CurrentAccuracy = CurrentAccuracy()
    leads: Leads | None = None
    averages: Time = 0.0
    draws: PositiveCurrent | None = None

    @model_validator(mode="after")
    def _draws_something(self) -> Self:
        if self.by_hand and self.draws is None:
            raise Wrong("a load that is switched by hand needs draws", "add draws: with the approximate current in A")
        return self


class ProbeSheet(InstrumentSheet):
    """The reference thermometer held on the pack's sensor.

    ``coupling`` is the standard uncertainty, in K, of how far probe and sensor differ in a steady state (contact,
    paste, distance); ``lag`` the probe's first-order time constant, in s, with its standard uncertainty.

    An instrument that gives no temperature ``reads`` the resistance of a ``sensor`` (pt100, pt1000, or one with a
    ``curve``), or the voltage of a thermocouple (K, T) whose ``terminals`` are at a known temperature.
    """

    reads: Literal["temperature", "resistance", "voltage"] = "temperature"
    sensor: Literal["", "pt100", "pt1000", "K", "T"] = ""
    curve: Curve | None = None
    terminals: Temperature | None = None

    accuracy: TemperatureAccuracy
    coupling: TemperatureDifference
    lag: Time = 0.0
    lag_uncertainty: Time = 0.0

    @model_validator(mode="after")
    def _raw_readings_can_be_turned_into_degrees(self) -> Self:
        if self.reads == "resistance" and (self.sensor in ("pt100", "pt1000")) == (self.curve is not None):
            raise Wrong("a resistance needs either sensor: pt100 or pt1000, or the sensor's curve", "give one of them")
        if self.reads == "voltage" and (self.sensor not in ("K", "T") or self.terminals is None):
            raise Wrong("a thermocouple needs sensor: K or T, and terminals: with their temperature", "add them")
        return self


class MeterSheet(InstrumentSheet):
    """A voltmeter on the pack's own terminals."""

    voltage_accuracy: VoltageAccuracy = VoltageAccuracy()


class CounterSheet(InstrumentSheet):
    """A meter in the line that adds up charge and energy and shows the totals. ``gain``: ± limits, as a ratio."""

    charge_gain: Ratio = 0.0
    energy_gain: Ratio = 0.0
    charge_resolution: Charge = 0.0
    energy_resolution: Energy = 0.0

    @model_validator(mode="after")
    def _read_by_hand(self) -> Self:
        if not self.by_hand:
            raise Wrong("a counter is read by hand here", "write by_hand: true")
        return self


class DisplaySheet(InstrumentSheet):
    """What the pack itself shows, on a phone or a panel: its temperature, its lowest cell, its alarms."""

    @model_validator(mode="after")
    def _read_by_hand(self) -> Self:
        if not self.by_hand:
            raise Wrong("a display is read by hand here", "write by_hand: true in place of its address")
        return self


class BoxSheet(InstrumentSheet):
    """A decade box that stands in for a sensor. ``accuracy``: ± limits of its resistance, as a ratio."""

    accuracy: Ratio

    @model_validator(mode="after")
    def _set_by_hand(self) -> Self:
        if not self.by_hand:
            raise Wrong("a decade box is set by hand here", "write by_hand: true in place of its address")
        return self


class HandsSheet(InstrumentSheet):
    """Something that heats and cools the sensor on command. The simulated bench has it; at a real one a person does."""


class Instruments(Sheet):
    """One instrument a role. A role that is missing is a role this bench has not got."""

    supply: SupplySheet | None = None
    probe: ProbeSheet | None = None
    meter: MeterSheet | None = None
    load: LoadSheet | None = None
    counter: CounterSheet | None = None
    display: DisplaySheet | None = None
    box: BoxSheet | None = None
    hands: HandsSheet | None = None


class ByHand(Sheet):
    """What is known of a person who presses a key at a sight: ``reaction`` with its standard uncertainty, in s.

    ``every``: how long a long discharge may go on between two readings, in s; ``longest_hold``: how long a question may wait
    for an answer while something is on before the run ends, in s.
    """

    reaction: Time = 0.3
    reaction_uncertainty: Time = 0.15
    every: PositiveTime = 300.0
    longest_hold: PositiveTime = 900.0


class Assumed(Sheet):
    """Tolerances that this laboratory takes where a pack sheet declares none; a current's is a ratio of its trip."""

    temperature: PositiveDifference | None = None
    voltage: PositiveVoltage | None = None
    current: Ratio | None = None


class Decision(Sheet):
    """How a statement of conformity is made: the rule of ILAC-G8:09/2019 and the coverage of the expanded uncertainty.

    ``assumed_tolerance`` is what the certificate then says was assumed.
    """

    rule: Literal["simple acceptance", "guard band", "guard band with conditions"] = "guard band with conditions"
    coverage: Coverage = 0.95
    assumed_tolerance: Assumed = Assumed()


class BenchFile(Sheet):
    """A bench. ``simulated`` marks one that proves nothing about a real pack; ``speed`` is how fast its time runs.

    ``guard_patience``: by how much the program may be late, in s of real time, before the guard takes it for hung.
    """

    kind: Literal["bench"]
    name: str
    place: str = ""
    laboratory: str = ""
    operator: str = ""
    note: str = ""
    backend: Literal["@py", "@ivi"] = "@py"
    simulated: bool = False
    speed: float = Field(default=1.0, gt=0, le=1e6, allow_inf_nan=False)
    instruments: Instruments
    guard_patience: GuardPatience = 2.0
    hand: ByHand = ByHand()
    decision: Decision = Decision()

    def roles(self) -> dict[str, InstrumentSheet]:
        """The instruments there are, by role, in the order of ROLES."""
        found = ((role, getattr(self.instruments, role)) for role in ROLES)
        return {role: instrument for role, instrument in found if instrument is not None}

    def wired(self) -> dict[str, InstrumentSheet]:
        """Those of them that are reached through an address."""
        return {role: instrument for role, instrument in self.roles().items() if instrument.address}

    def by_hand(self, role: str) -> bool:
        """Whether a role is there and read or switched by a person."""
        instrument = self.roles().get(role)
        return instrument is not None and instrument.by_hand


def parse_bench(text: str, file: str, *, as_it_was: bool = False) -> BenchFile:
    """A bench file from its text; ``as_it_was``: also one that was run before it would have been refused.

    Raises SheetError with all that is wrong.
    """
    return parse_bench_source(read(text, file), as_it_was=as_it_was)


def parse_bench_source(source: Source, *, as_it_was: bool = False) -> BenchFile:
    """The same, for a caller who needs the places of things later."""
    bench = checked(source, BenchFile, {AS_IT_WAS: as_it_was})
    problems = [] if as_it_was else list(_only_simulated(bench, source))
    if problems:
        raise SheetError(problems)
    return bench


def _only_simulated(bench: BenchFile, source: Source) -> Iterator[Problem]:
    """What a real bench must not have: time that does not run as it does, and something that heats on command."""
    if bench.simulated:
        return
    if bench.speed != 1.0:
        what = "speed is for simulated benches; at a real bench every delay would be wrong"
        yield source.problem(("speed",), what, "remove it", key=True)
    hands = bench.instruments.hands
    if hands is not None and hands.address:
        what = "hands with an address exist only on the simulated bench; on a real one nothing would notice that they keep heating"
        yield source.problem(("instruments", "hands"), what, "remove it: a person heats and cools", key=True)
