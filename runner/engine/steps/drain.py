"""Steps at the low end: drain through the load, wait for the pack to come back by itself, wake it.

Rule 1: a discharge ends at the floor whatever the pack does; a pack that did not cut off by then has failed.
Rule 2: that a pack has come back is seen on the voltage of its terminals, which collapsed before; where they kept it,
        nothing can be said by looking, and nothing is.
Rule 3: one instrument is looked at, never two by turns: the pack's own voltmeter, else the load, else a supply that was seen
        to show the terminals while it is off. Some show 0 V then, whatever the pack does.
"""

from __future__ import annotations

from runner.engine.steps.base import FAST, LAZY, NO_CURRENT_TIME, SLOW, SPOILED, Step, Surroundings
from runner.engine.texts import charging
from runner.engine.texts import discharging as texts
from runner.engine.texts.ends import TIME_ELAPSED, not_steady
from runner.engine.watch.fall import CONFIRM
from runner.engine.watch.verdict import Verdict
from runner.events import (
    CHARGE,
    DISCHARGE,
    LOAD_CURRENT,
    LOAD_VOLTAGE,
    METER_VOLTAGE,
    SUPPLY_CURRENT,
    SUPPLY_VOLTAGE,
    Answered,
    Event,
    Foreseen,
    LoadIsOn,
    OutputIsOff,
    OutputIsOn,
    Sampled,
)
from runner.orders import (
    Ask,
    Note,
    Order,
    Remark,
    SwitchOff,
    Withdraw,
)
from runner.vocabulary import Observed, Outcome, Role, Until, Wants, WatchWord

SETTLING_TIME = 120.0  # s in which a discharge current has to become steady
NEAR = 0.06  # of the cut-off voltage: nearer than this the pack is polled fast
HALF = 0.5  # of the nominal voltage: terminals with less have collapsed
COLLAPSE_TIME = 10.0  # s after off in which they have to be seen collapsed
LOOK_EVERY, LOOK_SHARE = 15.0, 0.2  # s, and of the time waited: from one look at the pack's own display to the next
MOST_DRAWN = 1.3  # of the rated capacity: more than any sound cell has (common practice, no source)
BEYOND_DELAY = 10.0  # s
LEADS = 0.05  # Ω that leads to a load may have (common practice, no source)
LONGEST_GAP = 20.0  # s between two readings over which a current is taken to have flowed


class Drain(Step):
    """Set the load, switch it on, and discharge until what was asked for."""

    def begin(self, t: float) -> list[Order]:
        self._on_at: float | None = None
        self._since: float | None = None
        self._under = 0
        self._drawn, self._counted = 0.0, 0.0  # A·s, and up to when
        self._below_since: float | None = None
        self.around.awake = True
        return [*self._pace(SLOW, DISCHARGE), *self._bring_on(DISCHARGE, self.planned.values["current"])]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, LoadIsOn):
            self._on_at = event.t
        if isinstance(event, Sampled) and self._on_at is not None:
            return self._watch(event)
        return self._coming_on(event)

    def remaining(self) -> float | None:
        if self._on_at is None or "for" not in self.planned.values:
            return None
        return max(0.0, self._on_at + self.planned.values["for"] - self.around.known.t)

    def _watch(self, sample: Sampled) -> list[Order]:
        assert self._on_at is not None
        values, watcher, t = self.planned.values, self.around.watcher, sample.t
        verdict, until = watcher.verdict, self.planned.word("until")
        if verdict.word == WatchWord.LOST:
            return []  # it comes back, or a ceiling that cannot be seen ends the run
        if verdict.word in SPOILED:
            return self._conclude_and_off(verdict.word, verdict.why, t, self.spoiled)
        if self._releasing is not None and watcher.level > 0:
            self._on_at = t
            return self._released(t)
        if watcher.level == 0 and t - self._on_at > NO_CURRENT_TIME:
            if why := self._nothing_comes(DISCHARGE, 0.0):
                return self._conclude_and_off(WatchWord.LIMITED, why, t, self.spoiled)
            if (orders := self._past_release(t)) is not None:
                return orders
            return self._conclude_and_off(Outcome.NO_CURRENT, texts.NO_CURRENT, t, self.give_way)
        if verdict.word == WatchWord.STOPPED:
            self.around.awake = False
            return self._conclude_and_off(
                Outcome.STOPPED, verdict.why, verdict.since, "" if until != Until.STEADY else "group"
            )
        if orders := self._enough(sample):
            return orders
        if until == Until.STEADY:
            return self._until_steady(t)
        if until == "time" and t - self._on_at >= values["for"]:
            return self._conclude_and_off(Outcome.DONE, TIME_ELAPSED, t)
        return self._pace(self._how_near(), DISCHARGE)

    def _enough(self, sample: Sampled) -> list[Order]:
        """The end of a discharge that the pack does not end: at the floor, where it should have cut off, or after too much."""
        assert self._on_at is not None
        values, t = self.planned.values, sample.t
        if self._at_the_floor(sample):
            floor = values["floor"]
            return self._conclude_and_off(Outcome.GAVE_UP, texts.did_not_cut_off(floor), t, self.give_way, floor)
        if why := self._should_have_cut_off(sample):
            return self._conclude_and_off(Outcome.GAVE_UP, why, t, self.give_way, self._clearly_below)
        if "give_up" in values and t - self._on_at > values["give_up"]:
            return self._conclude_and_off(Outcome.NO_END, texts.gave_up(values["give_up"]), t, self.give_way)
        if self._drawn > MOST_DRAWN * self.around.program.rated_capacity > 0:
            why = texts.too_much(self._drawn, MOST_DRAWN)
            return self._conclude_and_off(Outcome.NO_END, why, t, self.give_way)
        return []

    @property
    def _clearly_below(self) -> float:
        limits = self.around.program.trip_limits
        return 0.0 if limits is None else limits[0] - self.around.program.voltage_error

    def _should_have_cut_off(self, sample: Sampled) -> str:
        """Whether a cut-off has been seen not to come: clearly below its lower limit, longer than its delay can be.

        Clearly: by three times what the voltmeter may be wrong, which is more than the uncertainty of any finding here. It is the
        pack's own terminals that count; where only the load reads a voltage, its leads are allowed for.
        """
        program, known = self.around.program, self.around.known
        voltage, current = sample.readings.get(LOAD_VOLTAGE), sample.readings.get(LOAD_CURRENT)
        if voltage is not None and current is not None:
            voltage = known.latest.get(METER_VOLTAGE, voltage + LEADS * current)
        if current is not None:
            since = sample.t - self._counted if self._counted else 0.0
            self._drawn, self._counted = self._drawn + current * min(since, LONGEST_GAP), sample.t
        if program.protection != "under_voltage" or program.trip_limits is None or voltage is None or current is None:
            return ""
        below = voltage < self._clearly_below and current > self.around.watcher.nothing
        self._below_since = (sample.t if self._below_since is None else self._below_since) if below else None
        if self._below_since is None or sample.t - self._below_since <= program.delay + BEYOND_DELAY:
            return ""
        return texts.did_not_cut_off_in_time(sample.t - self._below_since, program.trip_limits[0])

    def _until_steady(self, t: float) -> list[Order]:
        assert self._on_at is not None
        if self.around.watcher.verdict.word != WatchWord.STEADY:
            self._since = None
            if t - self._on_at > SETTLING_TIME:
                why = not_steady(DISCHARGE, self.around.watcher.verdict.why)
                return self._conclude_and_off("no steady current", why, t, self.give_way)
            return []
        self._since = t if self._since is None else self._since
        if t - self._since >= self.planned.values["steady"]:
            self._end()
        return []

    def _at_the_floor(self, sample: Sampled) -> bool:
        voltage, current = sample.readings.get(LOAD_VOLTAGE), sample.readings.get(LOAD_CURRENT)
        if voltage is None or current is None:
            return False
        flows = current > self.around.watcher.nothing
        self._under = self._under + 1 if flows and voltage < self.planned.values["floor"] else 0
        return self._under >= 2

    def _how_near(self) -> tuple[float, float]:
        voltage = self.around.known.latest.get(LOAD_VOLTAGE, 0.0)
        cut_off = self.around.program.trip if self.around.program.protection == "under_voltage" else None
        return FAST if voltage < (cut_off or self.planned.values["floor"]) * (1 + NEAR) else LAZY


class _Terminals:
    """The voltage at the pack's terminals: down after two readings below half the nominal, up after CONFIRM above."""

    def __init__(self, around: Surroundings) -> None:
        program, known = around.program, around.known
        self._half = HALF * program.nominal_voltage
        wired = [role for role in ("meter", "load") if role in program.has and role not in program.by_hand]
        self._channel = {"meter": METER_VOLTAGE, "load": LOAD_VOLTAGE}[wired[0]] if wired else SUPPLY_VOLTAGE
        self.blind = not wired and known.highest_while_off < self._half
        self._longest_try = around.watcher.declared.longest_try
        self._down = 0
        self._up: list[float] = []

    def take(self, sample: Sampled) -> None:
        """One more sample, if it has a reading of the instrument that is looked at."""
        value = sample.readings.get(self._channel)
        if value is None or self.blind:
            return
        if value < self._half:
            self._down, self._up = self._down + 1, []
        else:
            self._up.append(sample.t)

    @property
    def collapsed(self) -> bool:
        return self._down >= 2

    @property
    def up_since(self) -> float | None:
        """When the voltage was first seen up, if it has stayed so for CONFIRM samples, and longer than a try of the pack's."""
        stays = len(self._up) >= CONFIRM and self._up[-1] - self._up[0] >= self._longest_try
        return self._up[0] if stays else None


class Recover(Step):
    """Everything off; wait until the terminals carry voltage again.

    Where the pack has a display, its lowest cell is asked for while waiting, so that it can be foreseen how long.
    """

    def begin(self, t: float) -> list[Order]:
        self._off_at: float | None = None
        self._asked_at, self._asking, self._number = t, False, 0
        self._foreseen: Foreseen | None = None
        self._terminals = _Terminals(self.around)
        wired = "load" in self.around.program.has and "load" not in self.around.program.by_hand
        self._polled = DISCHARGE if wired else CHARGE
        return [*self._pace((0.5, 0.5), self._polled), SwitchOff()]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, OutputIsOff) and self._off_at is None:
            self._off_at = self._asked_at = event.t
        if isinstance(event, Foreseen):
            before, self._foreseen = self._foreseen, event
            words = foreseen_in_words(event)
            return [] if before is not None and foreseen_in_words(before) == words else [Remark(words)]
        if isinstance(event, Answered) and event.question == self._question and self._asking:
            return self._noted(event)
        if not isinstance(event, Sampled) or self._off_at is None:
            return []
        return self._waits(event)

    def sentence(self) -> str:
        say = super().sentence()
        return f"{say} {foreseen_in_words(self._foreseen)}" if self._foreseen is not None else say

    def _waits(self, event: Sampled) -> list[Order]:
        assert self._off_at is not None
        self._terminals.take(event)
        orders = self._seen(event)
        if self.done and self._asking:
            return [Withdraw(self._question), *orders]
        if self.done or "display" not in self.around.program.has or self._asking:
            return orders
        if event.t - self._asked_at < max(LOOK_EVERY, LOOK_SHARE * (event.t - self._off_at)):
            return orders
        self._asked_at, self._asking, self._number = event.t, True, self._number + 1
        say, record, of = texts.READ_LOWEST_CELL, texts.LOWEST_CELL, Observed.LOWEST_CELL_VOLTAGE
        ask = Ask(self._question, say, record, Wants.NUMBER, "V", of.dimension, (), Role.DISPLAY, of=of)
        return [*orders, ask]

    @property
    def _question(self) -> str:
        return f"step-{self.planned.index}-cell-{self._number}"

    def _noted(self, event: Answered) -> list[Order]:
        self._asking = False
        value, of = float(event.value), Observed.LOWEST_CELL_VOLTAGE
        return [Note(self.planned.index, texts.LOWEST_CELL, f"{value:.3f} V", value, of.dimension, of=of)]

    def _seen(self, event: Sampled) -> list[Order]:
        assert self._off_at is not None
        waited, up = event.t - self._off_at, self._terminals.up_since
        if not self._terminals.collapsed:
            if waited < COLLAPSE_TIME:
                return []
            self._end()
            return [self._conclusion(Outcome.NOT_SEEN, texts.NOT_SEEN, event.t)]
        if up is not None:
            self._end()
            self.around.awake = True
            return [self._conclusion(Outcome.RETURNED, texts.BACK, up)]
        if waited > self.planned.values["give_up"]:
            self._end()
            limit = self.planned.values["give_up"]
            return [self._conclusion(Outcome.GAVE_UP, texts.no_recovery(limit), event.t, limit=limit)]
        return self._pace(SLOW, self._polled) if waited > 60.0 else []

    def remaining(self) -> float | None:
        return (
            None
            if self._off_at is None
            else max(0.0, self._off_at + self.planned.values["give_up"] - self.around.known.t)
        )


def foreseen_in_words(event: Foreseen) -> str:
    """The forecast as people read it."""
    if event.expected is None:
        return texts.NOT_FORESEEN
    if event.expected <= event.t:
        return texts.DUE
    latest = None if event.latest is None else event.latest - event.t
    return texts.foreseen(event.expected - event.t, max(event.earliest - event.t, 0.0), latest)


class Wake(Step):
    """Charge gently for a while, then look whether the terminals stay up; again, until they do or it is given up."""

    def begin(self, t: float) -> list[Order]:
        if self.around.awake:
            self._end()
            return [Remark(charging.NEEDS_NO_WAKING)]
        self._began = t
        self._flows_since: float | None = None
        self._looking: _Terminals | None = None
        self._on = False
        self._off_at = t
        return [*self._pace(SLOW), *self._charge()]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, OutputIsOn):
            self._on, self._flows_since = True, None
        if isinstance(event, OutputIsOff) and self._on:
            self._on = False
            self._looking, self._off_at = _Terminals(self.around), event.t
        if not isinstance(event, Sampled):
            return self._coming_on(event)
        if self._on:
            return self._charging(event)
        return self._looks(event) if self._looking is not None else []

    def _charge(self) -> list[Order]:
        return self._bring_on(CHARGE, self.planned.values["current"], self.planned.values["voltage"])

    def _charging(self, sample: Sampled) -> list[Order]:
        current = sample.readings.get(SUPPLY_CURRENT)
        if self._flows_since is None and current is not None and current > self.around.watcher.nothing:
            self._flows_since = sample.t
        why = self._nothing_comes(CHARGE, self.planned.values["voltage"]) if self._flows_since is None else ""
        if why and sample.t - self.around.known.path_since > NO_CURRENT_TIME:
            return self._conclude_and_off(WatchWord.LIMITED, why, sample.t, "early")
        if self._flows_since is not None and sample.t - self._flows_since >= self.planned.values["for"]:
            return [SwitchOff()]
        return self._too_long(sample.t)

    def _looks(self, sample: Sampled) -> list[Order]:
        assert self._looking is not None
        self._looking.take(sample)
        if self._looking.up_since is not None:
            self._end()
            self.around.awake = True
            return [self._conclusion(Outcome.RETURNED, charging.WOKEN, self._looking.up_since)]
        if self._looking.collapsed:
            self._looking = None
            return self._too_long(sample.t) or self._charge()
        longest_try = self.around.watcher.declared.longest_try
        if self._looking.blind or sample.t - self._off_at > COLLAPSE_TIME + longest_try:
            self._end("rest", charging.AWAKE_NOT_SEEN)
            return [self._conclusion(Outcome.NOT_SEEN, charging.TERMINALS_NOT_SEEN, sample.t)]
        return []

    def _too_long(self, t: float) -> list[Order]:
        limit = self.planned.values["give_up"]
        if t - self._began <= limit:
            return []
        return self._conclude_and_off(Outcome.GAVE_UP, charging.not_woken(limit), t, "rest", limit)
