"""The actuator: a chamber, a plate or a heater that goes to a temperature at a rate when it is told to.

Rule 1: it is never sent beyond the bench file's limits, and its own limit is set to the highest before it is switched on.
Rule 2: everything that is set is read back.
Rule 3: still is not off where the bench file gives a ``rest``: a chamber between two sensors stays on. Off is in off.py.
"""

from __future__ import annotations

from runner.bench.dialect import Driver
from runner.errors import BenchError
from runner.sheets import instruments as sheets

KELVIN, RATE = 0.1, 0.05  # by how much a temperature (K) and a rate (K/min) may read back otherwise
OVERSHOOT = 10.0  # K above its highest: what it reads beyond that is no temperature to be held


class Actuator:
    """Speaks for the actuator. Temperatures in °C, rates in K/s; it is told K/min."""

    def __init__(self, speaker: Driver, sheet: sheets.ActuatorSheet) -> None:
        self.speaker, self.sheet = speaker, sheet
        self._meant_on = False  # as it was told last

    def read(self) -> float:
        """Its own temperature, in °C. Raises BenchError, also where it has gone off by itself."""
        temperature = self.speaker.number("temperature")
        if self._meant_on and not self.speaker.number("output"):
            raise BenchError(
                "the actuator switched off by itself", "actuator", "", "check its own limit and its power supply"
            )
        return temperature

    def guide(self, action: str, sensor: str, rate: float) -> tuple[float, float] | None:
        """Heat, cool, hold or still at a sensor ("" is the pack), at ``rate`` (0: as fast as it may).

        The temperature it goes to and the rate, as read back; None where it was switched off instead. Raises BenchError; then
        it may be on, and has to be switched off.
        """
        limits, rest = self.sheet.limits, self.sheet.rest
        if action == "still" and self.sheet.places and sensor not in self.sheet.places:
            for place in self.sheet.places:  # none is on it, so none of them is to heat or cool
                self._select(place)
                self._switch(False)
            return None
        self._select(sensor)
        if action == "still" and rest is None:
            self._switch(False)
            return None
        if action == "hold":
            goal = self._held()
        else:
            goal = {"heat": limits.highest, "cool": limits.lowest}.get(action, rest if rest is not None else 0.0)
        self.speaker.set("limit", limits.highest, KELVIN)
        rate = self.speaker.set("rate", min(rate or self.sheet.fastest, self.sheet.fastest) * 60, RATE)
        goal = self.speaker.set("temperature", goal, KELVIN)
        self._switch(True)
        return goal, rate / 60

    def _held(self) -> float:
        """The temperature that it has, in °C, within its limits."""
        limits, temperature = self.sheet.limits, self.speaker.number("temperature")
        if temperature > limits.highest + OVERSHOOT:
            what = f"it reads {temperature:.1f} °C, which cannot be held: its limit is {limits.highest:.1f} °C"
            raise BenchError(what, "actuator", "", "check its sensor")
        return float(min(max(temperature, limits.lowest), limits.highest))

    def _select(self, sensor: str) -> None:
        if not self.sheet.places:
            return
        if sensor not in self.sheet.places or "select" not in self.speaker.dialect.commands:
            what = f"no output of the actuator is on {sensor or 'the pack'}"
            raise BenchError(what, "actuator", "", "correct places in the bench file, or select in its dialect")
        self.speaker.command("select", place=self.sheet.places[sensor])

    def _switch(self, on: bool) -> None:
        self._meant_on = False
        self.speaker.switch("output", on)
        self._meant_on = on
