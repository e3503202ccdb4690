"""Steps that switch the supply: charge, rest, off."""

from __future__ import annotations

from runner.engine.steps.base import FAST, LAZY, NO_CURRENT_TIME, SLOW, SPOILED, Step
from runner.engine.texts import charging as texts
from runner.engine.texts.ends import TIME_ELAPSED, not_steady
from runner.engine.watch.verdict import Verdict
from runner.events import (
    CHARGE,
    SUPPLY_CURRENT,
    SUPPLY_VOLTAGE,
    Event,
    OutputIsOff,
    OutputIsOn,
    Sampled,
)
from runner.orders import Order, SwitchOff
from runner.vocabulary import Outcome, Until, WatchWord

SETTLING_TIME = 300.0  # s in which the current has to become steady, unless the procedure says otherwise
END_TIME = 10.0  # s for which a taper has to be under its end current
UNDECIDED = (WatchWord.KEEP_ALIVE, WatchWord.PRE_CHARGING, WatchWord.RETRYING)
NEAR = 0.03  # of the trip or set voltage: nearer than this, a change may come


class Charge(Step):
    """Limits, set points, output, each after the one before was read back; then charge until what was asked for.

    Until steady, a current that tapers is no place for a trip test: the pack is nearly full, and the rest is skipped.
    """

    def begin(self, t: float) -> list[Order]:
        self._on_at: float | None = None
        self._since: float | None = None
        values = self.planned.values
        return [*self._pace(SLOW, CHARGE), *self._bring_on(CHARGE, values["current"], values["voltage"])]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, OutputIsOn):
            self._on_at = event.t
        if isinstance(event, Sampled) and self._on_at is not None:
            return self._watch(event, verdicts)
        return self._coming_on(event)

    def remaining(self) -> float | None:
        if self._on_at is None or "for" not in self.planned.values:
            return None
        return max(0.0, self._on_at + self.planned.values["for"] - self.around.known.t)

    # ---- watching --------------------------------------------------------------------------------------------

    def _watch(self, sample: Sampled, verdicts: list[Verdict]) -> list[Order]:
        assert self._on_at is not None
        watcher, t = self.around.watcher, sample.t
        until = self.planned.word("until")
        if watcher.verdict.word == WatchWord.LOST:
            return []  # it comes back, or a ceiling that cannot be seen ends the run
        if watcher.verdict.word in SPOILED:
            return self._conclude_and_off(watcher.verdict.word, watcher.verdict.why, t, self.spoiled)
        if self._releasing is not None and watcher.level > 0:
            self._on_at = t
            return self._released(t)
        if watcher.level == 0 and t - self._on_at > NO_CURRENT_TIME:
            if why := self._nothing_comes(CHARGE, self.planned.values["voltage"], settled=True):
                return self._conclude_and_off(WatchWord.LIMITED, why, t, self.spoiled)
            if (orders := self._past_release(t)) is not None:
                return orders
            return self._conclude_and_off(Outcome.NO_CURRENT, texts.NO_CURRENT, t, self.give_way)
        if until == Until.STEADY:
            return self._until_steady(t)
        look = {Until.FULL: self._until_full, Until.STOPPED: self._until_stopped, Until.TIME: self._until_time}[
            Until(until)
        ]
        if orders := look(sample):
            return orders
        give_up = self.planned.values.get("give_up")
        if give_up is not None and t - self._on_at > give_up:
            return self._conclude_and_off(Outcome.NO_END, texts.gave_up(give_up), t, self.give_way)
        return self._pace(self._how_near(), CHARGE)

    def _until_steady(self, t: float) -> list[Order]:
        assert self._on_at is not None
        verdict = self.around.watcher.verdict
        if verdict.word == WatchWord.STEADY:
            self._since = t if self._since is None else self._since
            if t - self._since >= self.planned.values["steady"]:
                self._end()
            return []
        self._since = None
        if verdict.word in (WatchWord.TAPERING, WatchWord.FULL):
            return self._conclude_and_off(verdict.word, texts.too_full(verdict.why), t, "rest")
        if t - self._on_at > self.planned.values.get("give_up", SETTLING_TIME):
            why = not_steady(CHARGE, verdict.why)
            return self._conclude_and_off("no steady current", why, t, self.give_way)
        return []

    def _until_full(self, sample: Sampled) -> list[Order]:
        watcher, current = self.around.watcher, sample.readings.get(SUPPLY_CURRENT)
        verdict = watcher.verdict
        if current is None or watcher.level == 0 or verdict.word in UNDECIDED:  # no charge that could have ended
            return []
        if verdict.word == WatchWord.STOPPED:  # near full it would be another word
            why = texts.stopped_before_full(verdict.why)
            return self._conclude_and_off(Outcome.NO_END, why, verdict.since, self.give_way)
        if current < watcher.nothing and verdict.word == WatchWord.FULL:
            why = texts.ended_by_the_pack(verdict.why)
            return self._conclude_and_off(Outcome.STOPPED, why, verdict.since)
        if sample.mode == "CV" and current <= self.planned.values["end_current"]:
            self._since = sample.t if self._since is None else self._since
            if sample.t - self._since >= END_TIME:
                why = texts.tapered(self.planned.values["end_current"])
                return self._conclude_and_off(Outcome.FULL, why, self._since)
            return []
        self._since = None
        return []

    def _until_stopped(self, sample: Sampled) -> list[Order]:
        verdict = self.around.watcher.verdict
        if verdict.word == WatchWord.STOPPED:
            return self._conclude_and_off(Outcome.STOPPED, verdict.why, verdict.since)
        if verdict.word in (WatchWord.TAPERING, WatchWord.FULL):
            limit = self.planned.values["voltage"]
            why = texts.did_not_trip(limit, verdict.why)
            return self._conclude_and_off(Outcome.GAVE_UP, why, sample.t, self.give_way, limit)
        return []

    def _until_time(self, sample: Sampled) -> list[Order]:
        assert self._on_at is not None
        verdict = self.around.watcher.verdict
        if verdict.word == WatchWord.STOPPED or (verdict.word == WatchWord.FULL and self.around.watcher.level == 0):
            return self._conclude_and_off(Outcome.STOPPED, verdict.why, verdict.since)
        if sample.t - self._on_at >= self.planned.values["for"]:
            return self._conclude_and_off(Outcome.DONE, TIME_ELAPSED, sample.t)
        return []

    def _how_near(self) -> tuple[float, float]:
        voltage = self.around.known.latest.get(SUPPLY_VOLTAGE, 0.0)
        mark = self.planned.values["voltage"]
        if self.planned.word("until") == Until.STOPPED:
            trip = self.around.program.trip
            return FAST if trip is not None and voltage > trip * (1 - NEAR) else LAZY
        return SLOW if voltage > mark * (1 - NEAR) else LAZY


class Off(Step):
    """Everything off, and read back. What a person is to do then is said only then, with what comes next."""

    def begin(self, t: float) -> list[Order]:
        return [*self._pace(SLOW), SwitchOff()]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, OutputIsOff):
            self._end()
            self.around.to_say = self.planned.say
        return []

    def sentence(self) -> str:
        return texts.WAIT_FOR_OFF


class Rest(Step):
    """Everything off for a time."""

    def begin(self, t: float) -> list[Order]:
        self._until: float | None = None
        return [*self._pace(SLOW), SwitchOff()]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, OutputIsOff):
            self._until = event.t + self.planned.values["for"]
        if self._until is not None and event.t >= self._until:
            self._end()
        return []

    def remaining(self) -> float | None:
        return None if self._until is None else max(0.0, self._until - self.around.known.t)
