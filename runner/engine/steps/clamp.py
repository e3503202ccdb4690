"""Steps in which a person watches the current on a clamp: a discharge until steady, ramps, levels of a decade box.

Rule 1: the person's mark says when the current is gone or back; a reading of the clamp that they type then says whether it is.
Rule 2: a mark that the reading contradicts counts for nothing: it is said, and the step goes on.
Rule 3: degrees are marked, or read by an instrument, as in every ramp; the current is the person's alone.
Rule 4: where nobody has pressed Enter by the end, the clamp is read before anything is said of the pack: a change that nobody saw
        is no failure of the pack.
"""

from __future__ import annotations

from runner.engine.hands import hands_off
from runner.engine.steps.base import SLOW
from runner.engine.steps.person import ByPerson, SwitchedByPerson
from runner.engine.steps.ramp import HURRY, Provoke
from runner.engine.steps.stage import Substitute
from runner.engine.texts import by_hand as texts
from runner.engine.texts.ends import TIME_ELAPSED
from runner.engine.texts.ramps import less_flowed, mark_degrees, nothing_by
from runner.engine.watch.verdict import Verdict
from runner.events import PROBE_TEMPERATURE, Answered, Event, Sampled
from runner.orders import Ask, AskTaps, Guide, Order, Remark, SwitchOff, Withdraw
from runner.scale import whole
from runner.vocabulary import Observed, Outcome, Role, Until

FIRST_LOOK, AGAIN = 20.0, 20.0  # s after the load is on, and between two readings
STEADY = 0.05  # of each other
PART = 0.5  # of what flowed: less is no current that went on
LOOKS = 6
FARTHEST = (
    10.0  # K from the last mark that a thermometer is read while a clamp was looked at: farther off it is read again
)
SIGHT: dict[str, Observed] = {Until.STOPPED: Observed.CURRENT_GONE, Until.RETURNED: Observed.CURRENT_BACK}


class SteadyDrainByHand(SwitchedByPerson):
    """The load on, and readings of the clamp until two agree (it stays on), or for a time."""

    def begin(self, t: float) -> list[Order]:
        self._on_at = None
        self._next = 0.0
        self._readings: list[float] = []
        self._ended: tuple[str, str, str, float | None] | None = None
        say = texts.load_on(self.planned.values["current"])
        return [*self._pace(SLOW), *self._put(Observed.LOAD_ON, say, marks=True)]

    def _meantime(self, t: float, on_for: float) -> list[Order]:
        if self.planned.word("until") == Until.TIME and on_for >= self.planned.values["for"]:
            return self._over(Outcome.DONE, TIME_ELAPSED, "")
        return self._read_clamp() if t >= self._next else []

    def _read_clamp(self) -> list[Order]:
        return self._put(Observed.CLAMP_CURRENT, texts.READ_DISCHARGE_CURRENT)

    def _answered(self, event: Answered, asked: Ask) -> list[Order]:
        t = event.t
        if asked.of == Observed.LOAD_ON:
            self._on_at, self._next = t, t + FIRST_LOOK
            return [self._level(self.planned.values["current"], t)]
        if asked.of == Observed.LOAD_OFF:
            return self._concluded(t)
        if asked.of == Observed.CLAMP_CURRENT:
            self._readings.append(abs(float(event.value)))
            if self._reads(Role.METER):
                floor = self.planned.values["floor"]
                return self._put(Observed.LOADED_VOLTAGE, texts.READ_LOADED_VOLTAGE, lowest=floor)
            return self._look(t, self._meter)
        return self._look(t, float(event.value))

    def _look(self, t: float, volts: float | None) -> list[Order]:
        amps, floor = self._readings[-1], self.planned.values["floor"]
        before = self._readings[-2] if len(self._readings) > 1 else None
        if self._nothing_flows(amps):
            if before is not None and self._nothing_flows(before):
                return self._over(Outcome.NO_CURRENT, texts.NO_DISCHARGE, self.give_way)
            self._next = t + AGAIN
            return [Remark(texts.NO_DISCHARGE_YET)]
        if volts is not None and volts < floor:
            return self._over(Outcome.GAVE_UP, texts.below_the_floor(volts, floor), self.give_way, floor)
        if self.planned.word("until") == Until.TIME:
            self._next = t + self.around.program.every
            return []
        if before is not None and abs(amps - before) <= STEADY * amps:
            self._end()
            return []
        if len(self._readings) >= LOOKS:
            why = texts.not_steady("discharge", amps)
            return self._over(Outcome.UNCLEAR, why, self.give_way)
        self._next = t + max(AGAIN, self.planned.values.get("steady", 0.0))
        return []

    def _over(self, outcome: str, why: str, skip: str, limit: float | None = None) -> list[Order]:
        self._ended = (outcome, why, skip, limit)
        return self._put(Observed.LOAD_OFF, texts.LOAD_OFF, marks=True)

    def _concluded(self, t: float) -> list[Order]:
        assert self._ended is not None
        outcome, why, skip, limit = self._ended
        self._end(skip, why)
        return [self._level(0.0, t), self._conclusion(outcome, why, t, limit=limit, by_hand=True), SwitchOff()]


class _Watched(ByPerson):
    """The question about the current that stands while something else goes on, and the reading that follows its mark."""

    _marked: float | None = None  # s: when the person pressed Enter, until the clamp has been read
    _limit: float | None = None  # °C: how far it went without a mark, while the clamp is read
    _before = 0.0  # A that the clamp showed when the step began

    @property
    def _marks_degrees(self) -> bool:
        """Whether a person marks them at the same time."""
        return False

    def _watch(self) -> list[Order]:
        """Ask for the moment of the change."""
        return self._put(SIGHT[self._sought], texts.watch_clamp(self._sought, degrees=self._marks_degrees), marks=True)

    def _pressed(self, event: Answered, say: str = texts.READ_CLAMP_NOW) -> list[Order]:
        self._marked = event.t
        return self._put(Observed.CLAMP_CURRENT, say)

    def _is_so(self, amps: float) -> bool:
        """Whether the clamp shows what the mark said: next to nothing of what flowed, or more than what was left."""
        if self._sought == Until.STOPPED:
            return self._nothing_flows(amps, self._before)
        return amps > self._before + self.around.program.smallest_current.get(self.path, 0.0)

    @property
    def _sought(self) -> Until:
        return Until(self.planned.word("until"))

    def _why(self, amps: float) -> str:
        return texts.seen(self._sought, amps)

    def _ended_at(self, limit: float, amps: float) -> tuple[str, str, str]:
        """What it means that nobody pressed Enter up to ``limit`` (°C), by what the clamp shows: outcome, why, what is skipped."""
        if self._is_so(amps):
            return Outcome.UNCLEAR, texts.nobody_saw(self._sought, limit, amps), self.spoiled
        if self._sought == Until.STOPPED and amps < PART * self._before:
            return Outcome.UNCLEAR, less_flowed(limit, texts.shows(amps)), self.give_way
        return Outcome.GAVE_UP, nothing_by(self._sought, limit), self.give_way

    @staticmethod
    def _not_so(amps: float) -> Remark:
        return Remark(texts.not_so(amps))

    def _no_longer(self) -> list[Order]:
        """The question is taken back."""
        asked, self._standing = self._standing, None
        return [] if asked is None else [Withdraw(asked.question)]


class _ByClamp(_Watched, Provoke):
    @property
    def _marks_degrees(self) -> bool:
        return self._reads(Role.PROBE)

    def begin(self, t: float) -> list[Order]:
        self._before = self.around.known.hand_current or 0.0
        orders = super().begin(t)
        return orders if self.done else [*orders, *self._watch()]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        asked = self._is_answer(event)
        if asked is not None and isinstance(event, Answered):
            return [*self._noted(event, asked), *self._answered(event, asked)]
        if self._marked is not None or self._limit is not None:  # what the clamp shows is being typed
            if isinstance(event, Sampled):
                self._take(event)
            return []
        orders = super().receive(event, verdicts)
        return [*self._no_longer(), *orders] if self.done else orders

    def _answered(self, event: Answered, asked: Ask) -> list[Order]:
        if asked.of in SIGHT.values():  # both hands go to the clamp
            away = hands_off(self.planned.sensor)
            return [away, *self._no_taps(), *self._pressed(event, texts.at_the_end(away.say))]
        if asked.of == Observed.THERMOMETER:
            return self._going_on(event)
        marked, amps = self._marked, abs(float(event.value))
        if self._limit is not None:
            outcome, why, skip = self._ended_at(self._limit, amps)
            return self._conclude(outcome, why, event.t, skip, self._limit if outcome == Outcome.GAVE_UP else None)
        assert marked is not None
        if self._is_so(amps):
            return self._conclude(self._sought, self._why(amps), marked, "", by_hand=True)
        if self._reads(Role.PROBE):
            last = self.around.known.latest.get(PROBE_TEMPERATURE)
            low, high = (None, None) if last is None else (last - FARTHEST, last + FARTHEST)
            ask = self._put(Observed.THERMOMETER, texts.READ_THERMOMETER, lowest=low, highest=high)
            return [self._not_so(amps), *ask]
        self._marked = None
        return [self._not_so(amps), *self._begins_anew(), *self._watch()]

    def _begins_anew(self) -> list[Order]:
        """Heat or cool again after a mark that did not count; a slow ramp begins here."""
        self._mark = None
        return self._ramp() if self._ramping else [Guide(self._action, self.planned.sensor, HURRY, self._words)]

    def _gave_up(self, t: float, limit: float) -> list[Order]:
        self._limit = limit
        away = hands_off(self.planned.sensor)
        return [
            away,
            *self._no_taps(),
            *self._no_longer(),
            *self._put(Observed.CLAMP_CURRENT, texts.at_the_end(away.say)),
        ]

    def _going_on(self, event: Answered) -> list[Order]:
        """After a mark that did not count: the next degree is the one beyond what the thermometer shows."""
        self._marked, self._seen = None, event.t
        following = whole(float(event.value), self.sign, beyond=True)
        return [*self._begins_anew(), AskTaps(following, self.sign, mark_degrees(following)), *self._watch()]

    def _flows(self) -> bool:
        return not self._is_still()

    def _is_still(self) -> bool:
        return self._nothing_flows(self._before, self.around.known.hand_flowed)

    def sentence(self) -> str:
        return Provoke.sentence(self) if self._marked is self._limit is None else ByPerson.sentence(self)


class HeatByClamp(_ByClamp):
    """Heat until the person has seen the current stop, or return."""

    sign = 1.0


class CoolByClamp(_ByClamp):
    """Cool until the person has seen the current return, or stop."""

    sign = -1.0


class SubstituteByClamp(_Watched, Substitute):
    """The decade box level by level; on each, the person watches the clamp for as long as the level lasts."""

    def begin(self, t: float) -> list[Order]:
        self._before = self.around.known.hand_current or 0.0
        return Substitute.begin(self, t)

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        asked = self._is_answer(event)
        if asked is not None and isinstance(event, Answered):
            return [*self._noted(event, asked), *self._after(event, asked)]
        if self._marked is not None or self._limit is not None:
            return []
        orders = Substitute.receive(self, event, verdicts)
        if isinstance(event, Answered) and self._since is not None and self._standing is None:
            return [*orders, *self._watch()]
        return (
            [*self._no_longer(), *orders] if orders and isinstance(event, Sampled) and self._limit is None else orders
        )

    def _after(self, event: Answered, asked: Ask) -> list[Order]:
        if asked.of in SIGHT.values():
            return self._pressed(event)
        marked, amps = self._marked, abs(float(event.value))
        if self._limit is not None:
            outcome, why, skip = self._ended_at(self._limit, amps)
            limit = self._limit if outcome == Outcome.GAVE_UP else None
            return self._conclude_and_off(outcome, why, event.t, skip, limit)
        assert marked is not None
        if self._is_so(amps):
            self._end()
            return [self._conclusion(self._sought, self._why(amps), marked, by_hand=True)]
        self._marked, self._since = None, event.t  # the level lasts anew: the person looked away
        return [self._not_so(amps), *self._watch()]

    def _gave_up(self, t: float, limit: float) -> list[Order]:
        self._limit = limit
        return [*self._no_longer(), *self._put(Observed.CLAMP_CURRENT, texts.READ_CLAMP_NOW)]

    def sentence(self) -> str:
        return Substitute.sentence(self) if self._marked is self._limit is None else ByPerson.sentence(self)
