"""The reference thermometer: what it reads, in °C, also where it gives a resistance or a voltage."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from runner.bench.dialect import Driver
from runner.bench.thermometry import Thermocouple, platinum_temperature, thermocouple_temperature
from runner.errors import NotAReading
from runner.sheets.instrument_parts import less_its_error
from runner.sheets.instruments import key_of
from runner.sheets.parts.meters import ITSELF, TERMINALS, ProbeSheet
from runner.vocabulary import Role

PLATINUM = {"pt100": 100.0, "pt1000": 1000.0}  # Ω at 0 °C


class Probe:
    """Speaks for a thermometer. ``others``: all of the bench, of which one may be at a thermocouple's terminals."""

    def __init__(self, speaker: Driver, sheet: ProbeSheet, others: Mapping[str, Probe] | None = None) -> None:
        self.speaker, self.sheet, self._others = speaker, sheet, others or {}

    @property
    def asks(self) -> tuple[str, ...]:
        """The queries that a reading takes of its own instrument."""
        own = (TERMINALS,) if self.sheet.terminals_from == ITSELF else ()
        return (self.sheet.reads, *own)

    def read(self) -> float:
        """°C. Raises LinkError, or NotAReading also for a resistance or voltage that no such sensor has."""
        raw = self.speaker.number(self.sheet.reads)
        try:
            return self._degrees(raw)
        except ValueError as error:
            query = self.speaker.dialect.queries[self.sheet.reads].text
            raise NotAReading(
                str(error), self.speaker.link.instrument, query, "look at the sensor and its leads"
            ) from error

    def _degrees(self, raw: float) -> float:
        sheet = self.sheet
        if sheet.reads == "temperature":
            return raw
        if sheet.curve is not None:
            return sheet.curve.temperature(raw)
        if sheet.sensor in PLATINUM:
            return platinum_temperature(raw, PLATINUM[sheet.sensor])
        return thermocouple_temperature(cast(Thermocouple, sheet.sensor), raw, self._terminals())

    def _terminals(self) -> float:
        """°C of a thermocouple's terminals: as the bench file says, or as they are measured now, less what a certificate says."""
        sheet = self.sheet
        if sheet.terminals_from == ITSELF:
            return self.speaker.number(TERMINALS)
        if sheet.terminals_from:
            other = self._others[key_of(Role.PROBE, sheet.terminals_from)]
            return less_its_error(other.sheet.accuracy.points(), other.read())
        assert sheet.terminals is not None
        return float(sheet.terminals)
