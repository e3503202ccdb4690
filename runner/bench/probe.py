"""The reference thermometer: what it reads, in °C, also where it gives a resistance or a voltage."""

from __future__ import annotations

from runner.bench.dialect import Driver
from runner.errors import NotAReading
from runner.measure.thermometry import platinum_temperature, thermocouple_temperature
from runner.sheets import instruments as sheets

PLATINUM = {"pt100": 100.0, "pt1000": 1000.0}  # Ω at 0 °C


class Probe:
    """Speaks for the reference thermometer."""

    def __init__(self, speaker: Driver, sheet: sheets.ProbeSheet) -> None:
        self.speaker, self.sheet = speaker, sheet

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
        assert sheet.terminals is not None
        kind = sheet.sensor
        assert kind in ("K", "T")
        return thermocouple_temperature(kind, raw, sheet.terminals)
