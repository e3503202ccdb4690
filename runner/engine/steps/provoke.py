"""Steps that provoke a protection by temperature: heat until the current stops, cool until it returns.

Rule 1: the ramp that counts begins at ``approach``; up to there the operator may go as fast as they like.
Rule 2: a change that comes before the ramp began is still a change, and is recorded as what it is.
Rule 3: no change by ``give_up`` is a finding, not a failure of the run: heating stops, the supply goes off, and what is
        left for this sensor is skipped.
Rule 4: a word that makes the current worthless as evidence (taper, limit, lead off, no readings) ends the ramp as not
        measured; it is never turned into a trip.
"""

from __future__ import annotations

from typing import ClassVar

from runner.engine.steps.base import FAST_PACE, SLOW_PACE, Step
from runner.engine.watcher import Verdict
from runner.events import Event, Sampled
from runner.orders import BeginRamp, Conclude, Guide, Order, SwitchOff

TAPERED = ("tapering", "full")
SPOILED = ("limited", "open lead", "lost")
HURRY = 6.0 / 60  # K/s: "freely" is still no faster than this, for the probe has to follow


class _Provoke(Step):
    wanted: ClassVar[str]  # the watcher's word that ends the step well
    sign: ClassVar[float]
    action: ClassVar[str]
    undo: ClassVar[str]

    def begin(self, t: float) -> list[Order]:
        self._ramping = False
        goal = self.planned.values["approach"]
        words = (
            f"{self.action.capitalize()} {self.planned.sensor} quickly to {goal:.0f} °C; the slow part begins there."
        )
        self._words = words
        return [SLOW_PACE, Guide(self.action, self.planned.sensor, HURRY, words)]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if not isinstance(event, Sampled):
            return []
        for verdict in verdicts:
            if verdict.word == self.wanted:
                return self._conclude(self.wanted, verdict.why, verdict.since, "")
        word, why = self.around.watcher.verdict.word, self.around.watcher.verdict.why
        if word in TAPERED:
            return self._conclude(word, f"a trip cannot be told from the end of charge: {why}", event.t, "rest")
        if word in SPOILED:
            return self._conclude(word, why, event.t, "group")
        temperature = self.around.known.temperature
        if temperature is None:
            return []
        if self._past(temperature, self.planned.values["give_up"]):
            limit = self.planned.values["give_up"]
            return self._conclude("gave up", f"{self.undo} by {limit:.1f} °C", event.t, "group", limit)
        if not self._ramping and self._past(temperature, self.planned.values["approach"]):
            return self._ramp()
        return []

    def sentence(self) -> str:
        return self.planned.say if self._ramping else self._words

    def _past(self, temperature: float, mark: float) -> bool:
        return self.sign * (temperature - mark) >= 0

    def _ramp(self) -> list[Order]:
        self._ramping = True
        planned = self.planned
        rate = planned.values["rate"]
        return [
            FAST_PACE,
            Guide(self.action, planned.sensor, rate, planned.say),
            BeginRamp(planned.index, planned.sensor, planned.cycle, self.sign * rate),
        ]

    def _conclude(self, outcome: str, why: str, at: float, skip: str, limit: float | None = None) -> list[Order]:
        planned = self.planned
        self._end(skip, why)
        orders: list[Order] = [
            Conclude(
                planned.index,
                self.action,
                planned.sensor,
                planned.cycle,
                self.sign * planned.values["rate"],
                outcome,
                why,
                at,
                limit,
            ),
        ]
        if skip:
            orders += [
                Guide("still", planned.sensor, 0.0, f"Stop. Take heat and ice away from {planned.sensor}."),
                SwitchOff(),
            ]
        return orders


class Heat(_Provoke):
    """Heat until the charge current stops."""

    wanted, sign, action, undo = "stopped", 1.0, "heat", "did not trip"


class Cool(_Provoke):
    """Cool until the charge current returns."""

    wanted, sign, action, undo = "returned", -1.0, "cool", "did not release"
