"""Steps with a charger that a person switches, whose current they read on a clamp: charge, wake.

Rule 1: the person says when the charger is on and when it is off; nothing is assumed that nobody has said.
Rule 2: full is told by two readings of the clamp at or below the end current, some minutes apart, with the voltage up where a
        voltmeter is there. A current that is small at a low voltage is no taper.
Rule 3: while the charger is on it is asked for readings at intervals; nobody who answers ends the run.
"""

from __future__ import annotations

from runner.engine.steps.base import NO_CURRENT_TIME, SLOW
from runner.engine.steps.person import FALLS_TO, SwitchedByPerson
from runner.engine.texts import by_hand as texts
from runner.engine.texts import charging
from runner.engine.texts.ends import TIME_ELAPSED
from runner.engine.watch.verdict import Verdict
from runner.events import METER_VOLTAGE, Answered, Event, Sampled
from runner.orders import Ask, Order, Remark, SwitchOff
from runner.vocabulary import Observed, Outcome, Role, Until

FIRST_LOOK = 45.0  # s after the charger is on: chargers start softly (common practice, no source)
APART = 180.0  # s between two readings that tell a taper
AGAIN = 20.0  # s between two readings of a current that is to be steady
STEADY, LEAST = 0.05, 0.6  # of each other, and of what the charger gives: less is a taper
NEARLY = 3.0  # times the end current: from here on it is read more often
UP = 0.97  # of the charger's voltage: a taper begins above this
LOOKS = 6  # readings in which a current has to become steady
WOKEN = 0.5  # of the nominal voltage
# s after off: until a voltmeter shows the pack at rest, and within which it has to be read
SETTLES, SEEN_WITHIN = 3.0, 30.0


class _Charger(SwitchedByPerson):
    def _switch_on(self) -> list[Order]:
        values = self.planned.values
        return self._put(Observed.CHARGER_ON, texts.charger_on(values["voltage"], values["current"]), marks=True)

    def _switch_off(self, why: str = "") -> list[Order]:
        return self._put(Observed.CHARGER_OFF, texts.charger_off(why), marks=True)

    def _read_clamp(self, before: float = 0.0) -> list[Order]:
        """``before``: A that flowed, of which hardly less than FALLS_TO is left now."""
        lowest = FALLS_TO * before if before else None
        return self._put(Observed.CLAMP_CURRENT, texts.READ_CHARGE_CURRENT, lowest=lowest)


class ChargeByHand(_Charger):
    """The charger on, readings of the clamp until what was asked for, the charger off (until steady it stays on)."""

    def begin(self, t: float) -> list[Order]:
        self._on_at = None
        self._next = 0.0
        self._readings: list[tuple[float, float]] = []
        self._ended: tuple[str, str, str] | None = None  # outcome, why and what is skipped, until the charger is off
        return [*self._pace(SLOW), *self._switch_on()]

    def _meantime(self, t: float, on_for: float) -> list[Order]:
        if self._until == Until.TIME and on_for >= self.planned.values["for"]:
            return self._over(Outcome.DONE, TIME_ELAPSED)
        give_up = self.planned.values.get("give_up")
        if give_up is not None and self._until != Until.STEADY and on_for > give_up:
            return self._over(Outcome.NO_END, charging.gave_up(give_up), True)
        before = self._readings[-1][1] if self._readings else self.planned.values["current"]
        return self._read_clamp(before) if t >= self._next else []

    # ---- one answer after the other --------------------------------------------------------------------------

    @property
    def _until(self) -> str:
        return self.planned.word("until")

    def _answered(self, event: Answered, asked: Ask) -> list[Order]:
        if asked.of == Observed.CHARGER_ON:
            self._on_at, self._next = event.t, event.t + FIRST_LOOK
            return [self._level(self.planned.values["current"], event.t)]
        if asked.of == Observed.CHARGER_OFF:
            return self._concluded(event.t)
        if asked.of == Observed.CLAMP_CURRENT:
            self._readings.append((event.t, abs(float(event.value))))
            if self.around.program.ceilings.temperature is not None and self._reads(Role.PROBE) and self._is_long:
                return self._put(Observed.THERMOMETER, texts.READ_THERMOMETER_ON_PACK)
            return self._next_reading(event.t)
        if asked.of == Observed.THERMOMETER:
            return self._next_reading(event.t)
        return self._tapered(event.t, float(event.value))

    @property
    def _is_long(self) -> bool:
        return self._until != Until.STEADY

    def _next_reading(self, t: float) -> list[Order]:
        _, amps = self._readings[-1]
        if self._until == Until.STEADY:
            return self._until_steady(t, amps)
        if self._until == Until.FULL and (amps <= self.planned.values["end_current"] or self._nothing_flows(amps)):
            return self._at_the_end(t, amps)
        if self._nothing_flows(amps):
            return self._none(t)
        end = self.planned.values.get("end_current", 0.0)
        self._next = t + (APART if amps <= NEARLY * end else self.around.program.every)
        return []

    def _none(self, t: float) -> list[Order]:
        """Nothing flows: once more, for a lead or a charger that starts late; then it is over."""
        if len(self._readings) < 2 or not self._nothing_flows(self._readings[-2][1]):
            self._next = t + NO_CURRENT_TIME
            return [Remark(texts.NO_CHARGE_YET)]
        return self._over(Outcome.NO_CURRENT, texts.NO_CHARGE, True)

    def _until_steady(self, t: float, amps: float) -> list[Order]:
        if self._nothing_flows(amps):
            return self._none(t)
        before = self._readings[-2][1] if len(self._readings) > 1 else None
        smallest = self.around.program.smallest_current.get(self.path, 0.0)
        if before is not None and abs(amps - before) <= max(STEADY * amps, smallest):
            if amps < LEAST * self.planned.values["current"]:
                why = texts.too_full(amps, self.planned.values["current"])
                return self._over(Outcome.TAPERING, why, False, "rest")
            self._end()
            return []
        if len(self._readings) >= LOOKS:
            return self._over(Outcome.UNCLEAR, texts.not_steady("charge", amps), True)
        self._next = t + max(AGAIN, self.planned.values.get("steady", 0.0))
        return []

    # ---- the end of a full charge ----------------------------------------------------------------------------

    def _at_the_end(self, t: float, amps: float) -> list[Order]:
        """At or below the end current: the voltage says whether that is a taper."""
        if self._reads(Role.METER):
            return self._put(Observed.CHARGING_VOLTAGE, texts.READ_CHARGING_VOLTAGE)
        return self._tapered(t, self._meter)

    def _tapered(self, t: float, volts: float | None) -> list[Order]:
        (since, amps), end = self._readings[-1], self.planned.values["end_current"]
        if volts is not None and volts < UP * self.planned.values["voltage"]:
            if self._nothing_flows(amps):
                return self._none(t)
            why = texts.no_taper(amps, volts)
            return self._over(Outcome.NO_END, why, True)
        earlier = [each for each in self._readings[:-1] if each[1] <= end and since - each[0] >= APART]
        if not earlier:
            self._next = t + max(APART - (t - since), 1.0)
            return []
        if self._nothing_flows(amps):
            return self._over(Outcome.FULL, texts.ENDED_TWICE)
        before = earlier[-1]
        return self._over(Outcome.FULL, texts.tapered(end, (before[1], amps), since - before[0]))

    def _over(self, outcome: str, why: str, gives_way: bool = False, skip: str = "") -> list[Order]:
        self._ended = (outcome, why, skip or (self.give_way if gives_way else ""))
        return self._switch_off(why if outcome not in (Outcome.DONE, Outcome.FULL) else "")

    def _concluded(self, t: float) -> list[Order]:
        assert self._ended is not None
        outcome, why, skip = self._ended
        self._end(skip, why)
        return [self._level(0.0, t), self._conclusion(outcome, why, t, by_hand=True), SwitchOff()]


class WakeByHand(_Charger):
    """The charger on for a while, then off, and a look whether the pack keeps its voltage; again, until it does."""

    def begin(self, t: float) -> list[Order]:
        if self.around.awake:
            self._end()
            return [Remark(charging.NEEDS_NO_WAKING)]
        self._began = t
        self._on_at = None
        self._off_at: float | None = None
        self._read = False
        self._resting_from: float | None = None  # s: since when the charger is off and the voltmeter has not been read
        return [*self._pace(SLOW), *self._switch_on()]

    def _meantime(self, t: float, on_for: float) -> list[Order]:
        time = self.planned.values["for"]
        if not self._read and on_for >= time / 2:
            self._read = True
            return self._read_clamp()
        return self._switch_off() if on_for >= time else []

    def _answered(self, event: Answered, asked: Ask) -> list[Order]:
        t = event.t
        if asked.of == Observed.CHARGER_ON:
            self._on_at, self._read = t, False
            return [self._level(self.planned.values["current"], t)]
        if asked.of == Observed.CLAMP_CURRENT:
            return []
        if asked.of == Observed.CHARGER_OFF:
            self._on_at, self._off_at = None, t
            return [self._level(0.0, t), *self._look(t)]
        return self._looked(t, float(event.value))

    def _look(self, t: float) -> list[Order]:
        if self._reads(Role.METER):
            return self._put(Observed.WOKEN_VOLTAGE, texts.READ_RESTING_VOLTAGE)
        if self._meter is None:
            return self._looked(t, None)
        self._resting_from = t
        return []

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, Sampled) and self._resting_from is not None:
            return self._rests(event, event.t - self._resting_from)
        return super().receive(event, verdicts)

    def _rests(self, sample: Sampled, off_for: float) -> list[Order]:
        """The pack's voltmeter, once it has settled after off: what it showed while the charger was on says nothing."""
        volts = sample.readings.get(METER_VOLTAGE)
        if off_for < SETTLES or (volts is None and off_for < SEEN_WITHIN):
            return []
        self._resting_from = None
        return self._looked(sample.t, volts)

    def _looked(self, t: float, volts: float | None) -> list[Order]:
        if volts is None:
            self._end("rest", charging.AWAKE_NOT_SEEN)
            return [self._conclusion(Outcome.NOT_SEEN, charging.TERMINALS_NOT_SEEN, t, by_hand=True), SwitchOff()]
        if volts > WOKEN * self.around.program.nominal_voltage:
            self._end()
            self.around.awake = True
            why = texts.woken(volts)
            return [self._conclusion(Outcome.RETURNED, why, self._off_at or t, by_hand=True), SwitchOff()]
        limit = self.planned.values["give_up"]
        if t - self._began > limit:
            why = charging.not_woken(limit)
            self._end("rest", why)
            return [self._conclusion(Outcome.GAVE_UP, why, t, limit=limit, by_hand=True), SwitchOff()]
        return self._switch_on()
