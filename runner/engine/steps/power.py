"""Steps that switch the supply: charge, rest, off."""

from __future__ import annotations

from runner.engine.steps.base import SLOW_PACE, Step
from runner.engine.watcher import Verdict
from runner.events import Event, LimitsAreSet, OutputIsOff, OutputIsOn, Sampled, SupplyIsSet
from runner.orders import Conclude, Order, SetLimits, SetSupply, SwitchOff, SwitchOn

SETTLING_TIME = 300.0  # s in which the current has to become steady, unless the procedure says otherwise
NO_CURRENT_TIME = 30.0  # s after which a charge current that never began will not begin


class Charge(Step):
    """Limits, set points, output, each after the one before was read back; then wait for a steady current.

    A current that tapers here is no place for a trip test: the pack is nearly full, and the rest is skipped.
    """

    def begin(self, t: float) -> list[Order]:
        self._on_at: float | None = None
        self._steady_since: float | None = None
        return [SLOW_PACE, SetLimits(*self.around.program.protect)]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        values = self.planned.values
        if isinstance(event, LimitsAreSet):
            return [SetSupply(values["voltage"], values["current"])]
        if isinstance(event, SupplyIsSet):
            return [SwitchOn()]
        if isinstance(event, OutputIsOn):
            self._on_at = event.t
        if isinstance(event, Sampled) and self._on_at is not None:
            return self._watch(event.t)
        return []

    def _watch(self, t: float) -> list[Order]:
        assert self._on_at is not None
        verdict = self.around.watcher.verdict
        if verdict.word == "steady":
            self._steady_since = t if self._steady_since is None else self._steady_since
            if t - self._steady_since >= self.planned.values["steady"]:
                self._end()
            return []
        self._steady_since = None
        if verdict.word in ("tapering", "full"):
            return self._worthless("rest", verdict.word, f"the pack is too full for this test: {verdict.why}", t)
        if self.around.watcher.level == 0 and t - self._on_at > NO_CURRENT_TIME:
            why = "no charge current flows: a protection of the pack is still tripped or has latched, or a lead is off"
            return self._worthless("group", "no current", why, t)
        if t - self._on_at > self.planned.values.get("give_up", SETTLING_TIME):
            return self._worthless(
                "group", "no steady current", f"the charge current did not become steady: {verdict.why}", t
            )
        return []

    def _worthless(self, skip: str, outcome: str, why: str, t: float) -> list[Order]:
        planned = self.planned
        self._end(skip, why)
        return [Conclude(planned.index, "charge", planned.sensor, planned.cycle, 0.0, outcome, why, t), SwitchOff()]


class Off(Step):
    """Everything off, and read back."""

    def begin(self, t: float) -> list[Order]:
        return [SLOW_PACE, SwitchOff()]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, OutputIsOff):
            self._end()
        return []


class Rest(Step):
    """Everything off for a time."""

    def begin(self, t: float) -> list[Order]:
        self._until: float | None = None
        return [SLOW_PACE, SwitchOff()]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, OutputIsOff):
            self._until = event.t + self.planned.values["for"]
        if self._until is not None and event.t >= self._until:
            self._end()
        return []

    def remaining(self) -> float | None:
        return None if self._until is None else max(0.0, self._until - self.around.known.t)
