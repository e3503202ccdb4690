"""Steps that only wait."""

from __future__ import annotations

from runner.engine.steps.base import SLOW, Step
from runner.engine.texts import ramps as texts
from runner.engine.watch.verdict import Verdict
from runner.events import Event
from runner.orders import Guide, Order, Remark


class Wait(Step):
    """Leave the outputs as they are, for a time or until the probe is below or above a temperature."""

    def begin(self, t: float) -> list[Order]:
        self._began = t
        values = self.planned.values
        action = "cool" if "below" in values else "heat" if "above" in values else "still"
        if self._by_itself:
            action = "still"
        return [*self._pace(SLOW), Guide(action, self.planned.sensor, 0.0, self.sentence())]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        values, temperature = self.planned.values, self.around.known.temperature
        reached = (
            ("for" in values and event.t - self._began >= values["for"])
            or (temperature is not None and "below" in values and temperature < values["below"])
            or (temperature is not None and "above" in values and temperature > values["above"])
        )
        if reached:
            self._end()
            if self._by_itself:
                return []
            return [Guide("hold", self.planned.sensor, 0.0, self._over)]
        if "give_up" in values and event.t - self._began > values["give_up"]:
            self._end()
            return [Remark(texts.not_reached(self.planned.title, values["give_up"]))]
        return []

    @property
    def _by_itself(self) -> bool:
        """Whether what heats and cools on command has nothing to do: it waits for a time, or for the pack in its room."""
        passive = not self.planned.sensor or "for" in self.planned.values
        return self.around.program.heated_by_machine and passive

    @property
    def _over(self) -> str:
        """What is said at the end: nothing where only the time had to pass."""
        values, sensor = self.planned.values, self.planned.sensor
        if "below" not in values and "above" not in values:
            return ""
        return texts.take_away(sensor) if sensor else texts.REACHED

    def remaining(self) -> float | None:
        values = self.planned.values
        return max(0.0, self._began + values["for"] - self.around.known.t) if "for" in values else None
