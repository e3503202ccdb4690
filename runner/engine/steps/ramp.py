"""Steps that provoke a protection by temperature: heat or cool until the current stops, or until it returns.

Rule 1: the ramp that counts begins at ``approach``; up to there the operator may go as fast as they like.
Rule 2: a change that comes before the ramp began is still a change, and is recorded as what it is.
Rule 3: no change by ``give_up`` is a finding, not a failure of the run: heating stops, the supply goes off, and what is
        left for this sensor is skipped.
Rule 4: a word that makes the current worthless as evidence (taper, limit, lead off) ends the ramp as not measured; it is
        never turned into a trip. Where a word leaves two explanations, a person is asked which, and nothing is heated meanwhile.
        Where only a part of the current still flows by ``give_up``, nobody can say whether it has tripped: not measured.
Rule 5: while readings are lost nobody heats; when they are back, the ramp with the gap is concluded as lost and repeated.
"""

from __future__ import annotations

from typing import ClassVar

from runner.engine.hands import hands_off
from runner.engine.steps.base import FAST, SLOW, SPOILED, Step
from runner.engine.steps.explanations import Explanations
from runner.engine.texts import ramps as texts
from runner.engine.texts.ends import NOT_READ
from runner.engine.watch.verdict import Verdict
from runner.events import ACTUATOR_TEMPERATURE, CURRENT_OF, PROBE_TEMPERATURE, Event, Sampled
from runner.orders import AskTaps, BeginRamp, Guide, Order, Remark, SwitchOff
from runner.scale import whole
from runner.vocabulary import Outcome, Until, WatchWord

TAPERED = (WatchWord.TAPERING, WatchWord.FULL)
LESS = (WatchWord.DERATED, WatchWord.KEEP_ALIVE, WatchWord.RETRYING, WatchWord.PRE_CHARGING)  # a part of the current
FLOWING = (WatchWord.STEADY, WatchWord.TAPERING, WatchWord.DERATED)
COMING = (
    WatchWord.RETRYING,
    WatchWord.PRE_CHARGING,
)  # tripped, and not or not yet come back: no word of a trip follows
HURRY = 6.0 / 60  # K/s: "freely" is still no faster than this, for the probe has to follow
STILL_TIME = (
    5.0  # s, and three steps of the display at the ramp's rate: a thermometer that has not moved by then has stopped
)
LONGEST_GAP = 20.0  # s after which readings that do not come back end the run, to be resumed
DEGREES = 4.0  # by hand: nobody has pressed the key for so many whole degrees at the ramp's rate, and
SOONEST, LATEST = 0.35, 1.9  # of the time that a degree takes at the rate: a mark beyond is one too many or too few
LEAST_QUIET = 180.0  # s, at least
GAP = 3.0  # s without a temperature that spoil a ramp; for the current, the watcher says so
BACK = 3  # samples of each in a row: readings have come back


class Provoke(Step):
    """Heat or cool one sensor; ``sign`` says which."""

    sign: ClassVar[float]

    def begin(self, t: float) -> list[Order]:
        self._ramping = False
        self._seen = t  # when the temperature was read last
        self._gap, self._back, self._gap_began = "", 0, t
        self._unheated: float | None = None
        self._mark: tuple[float, float] | None = None  # the last mark of the slow ramp: when, and of which °C
        self._moved: tuple[float, float] | None = None  # when the temperature read something new last, and what
        self._explanations = Explanations(self)
        goal = self.planned.values["approach"]
        by_hand = "probe" in self.around.program.by_hand
        self._goal = whole(goal, self.sign) if by_hand else goal
        self._words = texts.to_the_beginning(self._action, self.planned.sensor, self._goal)
        already = self.around.watcher.verdict
        if already.word == self._wanted:  # it came while a reading was asked for
            return self._conclude(self._wanted, already.why, already.since, "")
        temperature, give_up = self.around.known.temperature, self.planned.values["give_up"]
        if temperature is not None and self._past(temperature, give_up):
            return self._conclude(Outcome.NOT_SEEN, texts.already_beyond(temperature, give_up), t, "group")
        if not self.around.known.path or self.around.known.going_off:
            return self._conclude(Outcome.NO_CURRENT, texts.EVERYTHING_OFF, t, "group")
        if self._wanted == Until.STOPPED and self._is_still():
            return self._conclude(Outcome.NO_CURRENT, texts.NO_CURRENT_BEFORE, t, "group")
        if self._wanted == Until.RETURNED and self._flows():
            return self._conclude(Outcome.NOT_SEEN, texts.CURRENT_BEFORE, t, "")
        return self._approach()

    def _approach(self) -> list[Order]:
        """Quickly to where the slow ramp begins."""
        orders = [*self._pace(SLOW), Guide(self._action, self.planned.sensor, HURRY, self._words)]
        if "probe" not in self.around.program.by_hand:
            return orders
        return [*orders, AskTaps(self._goal, self.sign, texts.mark_degrees(self._goal))]

    def _is_still(self) -> bool:
        """Whether nothing flows, so that no stop could be seen."""
        return self.around.watcher.level == 0 or self.around.watcher.verdict.word in COMING

    def _flows(self) -> bool:
        """Whether current flows, so that no return could be seen."""
        return self.around.watcher.verdict.word in FLOWING

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if (orders := self._explanations.look(event)) is not None:
            return orders
        if (doubted := self._explanations.answered(event)) is not None:
            return self._explained(event.t, doubted, verdicts)
        if not isinstance(event, Sampled):
            return []
        self._take(event)
        odd = self._odd_mark(event)
        return [*([Remark(odd)] if odd else []), *self._goes_on(event, verdicts)]

    def _goes_on(self, event: Sampled, verdicts: list[Verdict]) -> list[Order]:
        if self._explanations.doubted is not None:
            return self._waits_for_explanation(event)
        if forgotten := self._nobody_reads(event.t):
            return self._conclude(Outcome.LOST, forgotten, event.t, "early")
        return self._mended(event) if self._gap else self._ramps(event, verdicts)

    def _ramps(self, event: Sampled, verdicts: list[Verdict]) -> list[Order]:
        """A sample while it is heated or cooled."""
        if gap := self._lost(event) or self._still(event.t):
            self._gap, self._gap_began = gap, event.t
            return [Guide("still", self.planned.sensor, 0.0, self.sentence()), *self._no_taps()]
        for verdict in verdicts:
            if verdict.word == self._wanted:
                return self._conclude(self._wanted, verdict.why, verdict.since, "")
        if self.around.watcher.verdict.between:
            return self._asks_which()
        if orders := self._worthless(self.around.watcher.verdict, event.t):
            return orders
        temperature = self.around.known.temperature
        if temperature is None:
            return []
        if self._past(temperature, self.planned.values["give_up"]):
            limit = self.planned.values["give_up"]
            if self._wanted == Until.STOPPED and (verdict := self.around.watcher.verdict).word in LESS:
                return self._conclude(Outcome.UNCLEAR, texts.less_flowed(limit, verdict.why), event.t, "group")
            return self._gave_up(event.t, limit)
        if not self._ramping and self._past(temperature, self._goal):
            return self._ramp()
        return []

    def _gave_up(self, t: float, limit: float) -> list[Order]:
        """It has gone as far as it may (°C), and nothing was seen."""
        return self._conclude(Outcome.GAVE_UP, texts.nothing_by(self._wanted, limit), t, "group", limit)

    def _worthless(self, verdict: Verdict, t: float) -> list[Order]:
        """The end of a ramp whose current is evidence of nothing, by this verdict; else nothing."""
        if verdict.word in TAPERED:
            return self._conclude(verdict.word, texts.no_trip(verdict.why), t, "rest")
        return self._conclude(verdict.word, verdict.why, t, self.spoiled) if verdict.word in SPOILED else []

    # ---- two explanations ----------------------------------------------------------------------------------------

    def _asks_which(self) -> list[Order]:
        """Nothing is heated any more, and a person is asked."""
        still = hands_off(self.planned.sensor)
        return [still, *self._no_taps(), *self._explanations.ask(self.around.watcher.verdict)]

    def _waits_for_explanation(self, sample: Sampled) -> list[Order]:
        """The question stands, unless something at the bench has made it pointless."""
        verdict = self.around.watcher.verdict
        if self._explanations.stands(verdict):
            return []
        withdrawn = self._explanations.withdrawn()
        return [*withdrawn, *self._conclude(verdict.word, verdict.why, sample.t, self.spoiled)]

    def _explained(self, t: float, doubted: Verdict, verdicts: list[Verdict]) -> list[Order]:
        """What follows from the answer: a trip, a ramp that begins again, or nothing that could be judged."""
        said = verdicts[-1] if verdicts else doubted
        if said.word == self._wanted:
            return self._conclude(self._wanted, said.why, said.since, "")
        if orders := self._worthless(said, t):
            return orders
        self._ramping, self._moved, self._seen = False, None, t
        return self._approach()

    def _take(self, sample: Sampled) -> None:
        """When the temperature was read last, and when it moved; since when an actuator has not been read as it should."""
        if ACTUATOR_TEMPERATURE in sample.lost:
            self._unheated = sample.t if self._unheated is None else self._unheated
        elif ACTUATOR_TEMPERATURE in sample.readings:
            self._unheated = None
        value = sample.readings.get(PROBE_TEMPERATURE)
        if value is None:
            return
        self._seen = sample.t
        if self._moved is None or value != self._moved[1]:
            self._moved = (sample.t, value)

    def _odd_mark(self, sample: Sampled) -> str:
        """What is odd about a mark of the thermometer after the one before it in the slow ramp, or nothing."""
        value = sample.readings.get(PROBE_TEMPERATURE)
        if not sample.by_hand or value is None:
            return ""
        before, self._mark = self._mark, (sample.t, value) if self._ramping else None
        if before is None:
            return ""
        passed = self.sign * (value - before[1])
        if passed <= 0:
            return texts.marked_backwards(value, before[1])
        times = (sample.t - before[0]) * self.planned.values["rate"] / passed
        if SOONEST <= times <= LATEST:
            return ""
        return texts.odd_mark(value, twice=times < SOONEST)

    def _lost(self, sample: Sampled) -> str:
        """What is missing for so long that the ramp is worth nothing, or nothing."""
        verdict = self.around.watcher.verdict
        if verdict.word == WatchWord.LOST:
            return verdict.why
        if self._unheated is not None and sample.t - self._unheated > GAP * self.around.program.patience:
            return texts.actuator_lost(sample.lost.get(ACTUATOR_TEMPERATURE, texts.NO_READING))
        by_hand = "probe" in self.around.program.by_hand
        quiet = sample.t - self._seen
        if by_hand or not self._ramping or quiet <= GAP * self.around.program.patience:
            return ""
        return texts.temperature_lost(quiet, sample.lost.get(PROBE_TEMPERATURE, NOT_READ))

    def _nobody_reads(self, t: float) -> str:
        """Whether the person who reads the thermometer has stopped doing so while its sensor is heated or cooled."""
        program, rate = self.around.program, self.planned.values["rate"]
        allowed = max(LEAST_QUIET, DEGREES / rate) if self._ramping else program.longest_hold
        if "probe" not in program.by_hand or t - self._seen <= allowed:
            return ""
        return texts.nobody_marks(t - self._seen, self._action, self.planned.sensor)

    def _still(self, t: float) -> str:
        """Whether the thermometer stands still to the last digit while its sensor is heated or cooled."""
        program = self.around.program
        if self._moved is None or "probe" in program.by_hand:
            return ""
        rate = self.planned.values["rate"] if self._ramping else HURRY
        allowed = program.patience * STILL_TIME + 3.0 * program.probe_resolution / rate
        if t - self._moved[0] <= allowed:
            return ""
        return texts.stands_still(self._moved[1], t - self._moved[0])

    def _mended(self, sample: Sampled) -> list[Order]:
        """Wait for everything to be read again; then the ramp is over, and its turn begins again."""
        verdict = self.around.watcher.verdict
        if verdict.word in SPOILED:
            return self._conclude(verdict.word, verdict.why, sample.t, self.spoiled)
        stale = sample.t - self._seen > 2 * SLOW[1] and "probe" not in self.around.program.by_hand
        moves = (self._moved is not None and self._moved[0] > self._gap_began) or "probe" in self.around.program.by_hand
        read = not stale and moves and self._unheated is None
        fine = verdict.word != WatchWord.LOST and read and CURRENT_OF[self.path] not in sample.lost
        if sample.t - self._gap_began > LONGEST_GAP * self.around.program.patience and not fine:
            return self._conclude(Outcome.LOST, self._gap, sample.t, "early")
        self._back = self._back + 1 if fine else 0
        return self._conclude(Outcome.LOST, self._gap, sample.t, "again") if self._back >= 2 * BACK else []

    def _no_taps(self) -> list[Order]:
        return [AskTaps(0.0, 0.0, "")] if "probe" in self.around.program.by_hand else []

    @property
    def _wanted(self) -> Until:
        return Until(self.planned.word("until"))

    @property
    def _action(self) -> str:
        return self.planned.kind

    def sentence(self) -> str:
        if self._gap:
            return texts.keep_away(self.planned.sensor)
        return self.planned.say if self._ramping else self._words

    def _past(self, temperature: float, mark: float) -> bool:
        return self.sign * (temperature - mark) >= 0

    def _ramp(self) -> list[Order]:
        self._ramping = True
        planned = self.planned
        rate = planned.values["rate"]
        return [
            *self._pace(FAST),
            Guide(self._action, planned.sensor, rate, planned.say),
            BeginRamp(planned.index, planned.sensor, planned.cycle, self.sign * rate),
        ]

    def _conclude(
        self, outcome: str, why: str, at: float, skip: str, limit: float | None = None, *, by_hand: bool = False
    ) -> list[Order]:
        planned = self.planned
        self._end(skip, why)
        orders: list[Order] = [
            self._conclusion(outcome, why, at, limit=limit, rate=self.sign * planned.values["rate"], by_hand=by_hand),
        ]
        orders += self._no_taps()
        if skip and skip != "again":
            away = [] if self.around.known.hands_at is None else [hands_off(self.around.known.hands_at)]
            orders += [SwitchOff(), *away]
        return orders


class Heat(Provoke):
    """Heat until the current has stopped, or returned."""

    sign = 1.0


class Cool(Provoke):
    """Cool until the current has returned, or stopped."""

    sign = -1.0
