"""Thermometers and voltmeters of a bench file: the first of each, and further ones with a name and a place."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, model_validator

from runner.notation.fields import Ratio, Temperature, TemperatureDifference, Time
from runner.notation.wrong import Wrong
from runner.sheets.curve import Curve
from runner.sheets.instrument_parts import InstrumentSheet, TemperatureAccuracy, VoltageAccuracy

Stamp = Literal["end", "middle"]
COUPLES = tuple("BEJKNRST")  # the letters of IEC 60584-1
TERMINALS, ITSELF = "terminals", "itself"
NAME = Annotated[str, StringConstraints(pattern=r"^[A-Za-z][A-Za-z0-9_]*$", max_length=40)]
# as names of further instruments: the first probe beside others, all meters of cells, an instrument's own terminals
RESERVED = ("main", "cells", ITSELF)


class ProbeSheet(InstrumentSheet):
    """The reference thermometer held on the pack's sensor.

    ``coupling`` is the standard uncertainty, in K, of how far probe and sensor differ in a steady state (contact,
    paste, distance); ``coupling_growth`` what of it grows with the difference to the room, as a share of that;
    ``coupling_direction``, in K, what changes its sign between heating and cooling; ``lag`` the probe's first-order
    time constant, in s, with its standard uncertainty.

    An instrument that gives no temperature ``reads`` the resistance of a ``sensor`` (pt100, pt1000, or one with a
    ``curve``), or the voltage of a thermocouple whose ``terminals`` are at a known temperature; ``terminals_from``: a further probe
    that measures it, or ``itself``, where the instrument does (query ``terminals`` of its dialect).
    """

    reads: Literal["temperature", "resistance", "voltage"] = "temperature"
    sensor: Literal[("", "pt100", "pt1000", *COUPLES)] = ""  # type: ignore[valid-type]
    curve: Curve | None = None
    terminals: Temperature | None = None
    terminals_from: str = ""

    accuracy: TemperatureAccuracy
    coupling: TemperatureDifference
    coupling_growth: Ratio | None = None
    coupling_direction: TemperatureDifference | None = None
    lag: Time = 0.0
    lag_uncertainty: Time = 0.0

    @model_validator(mode="after")
    def _raw_readings_can_be_turned_into_degrees(self) -> Self:
        if self.by_hand and self.reads != "temperature":
            raise Wrong(
                f"a person reads degrees, and this probe reads a {self.reads}", "give its address, or remove reads"
            )
        if self.reads == "resistance" and (self.sensor in ("pt100", "pt1000")) == (self.curve is not None):
            raise Wrong("a resistance needs either sensor: pt100 or pt1000, or the sensor's curve", "give one of them")
        measured = (self.terminals is not None) != bool(self.terminals_from)
        if self.reads == "voltage" and (self.sensor not in COUPLES or not measured):
            what = f"a thermocouple needs sensor: {', '.join(COUPLES)}, and terminals: with their temperature or terminals_from:"
            raise Wrong(what, "add what is missing, one of the two")
        return self


class MeterSheet(InstrumentSheet):
    """A voltmeter on the pack's own terminals; ``averages`` and ``stamp`` as for the supply, allowed for where not given."""

    voltage_accuracy: VoltageAccuracy = VoltageAccuracy()
    averages: Time | None = None
    stamp: Stamp = "end"


class FurtherProbe(ProbeSheet):
    """A thermometer beside the first one, at its ``place``.

    Of ``sensors`` it is the reference, in place of the first one; at those of ``beside`` it is the second one, together with it.
    """

    place: str = Field(min_length=1)
    sensors: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()
    coupling: TemperatureDifference = 0.0

    @model_validator(mode="after")
    def _is_read_by_itself(self) -> Self:
        if self.by_hand:
            raise Wrong("a further probe is not read by hand", "give its address")
        if (self.sensors or self.beside) and "coupling" not in self.model_fields_set:
            what = "the reference of a sensor" if self.sensors else "a second probe at a sensor"
            remedy = f"add coupling: 0.1 K, say, or remove {'sensors' if self.sensors else 'beside'}"
            raise Wrong(f"{what} needs coupling", remedy)
        if both := next((sensor for sensor in self.beside if sensor in self.sensors), ""):
            raise Wrong(f"a probe cannot be the second one beside itself at {both}", "remove it from sensors or beside")
        return self


class FurtherMeter(MeterSheet):
    """A voltmeter beside the first one, at its ``place``; ``cell``: the cell whose voltage it reads, counted from 1."""

    place: str = Field(min_length=1)
    cell: int | None = Field(default=None, ge=1, le=1000)

    @model_validator(mode="after")
    def _is_read_by_itself(self) -> Self:
        if self.by_hand:
            raise Wrong("a further meter is not read by hand", "give its address")
        return self
