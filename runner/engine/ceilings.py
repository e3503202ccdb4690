"""Limits looked at on every sample, before anything else. Passing one ends the run and switches the bench off.

Rule 1: a ceiling is never averaged, filtered or waited for, with one exception: a voltage or current has to be over for
        two samples, because a supply overshoots for one when its load steps, and its own protection stands behind.
Rule 2: on a discharge the pack's voltage has a floor too, for a pack whose own protection fails; it counts while current
        flows, because a pack that cuts off leaves no voltage. The load's own voltage counts, and the pack's voltmeter by itself.
        With a load by hand, a voltage that falls below the floor in one step may be that of an open switch: whoever is at
        the load is told to look, and the run ends if nobody says in LOOK_FOR seconds that the load has stopped.
Rule 3: with everything off and nobody heating, only the time is a ceiling: what is warm from the test before may cool down.
Rule 4: of two instruments that read the pack's voltage, the one that makes it worse counts: a supply that shows nothing must
        not blind the ceiling while a voltmeter stands at the pack.
Rule 5: with the output on, a ceiling that cannot be watched is treated as passed after BLIND_AFTER seconds. A thermometer that a
        person reads is read only while something is heated or cooled: there the ramp itself says when a reading is overdue.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from math import inf

from runner.engine.bench_state import BenchState
from runner.engine.program import CeilingValues
from runner.engine.steps.switches import SIGHTS
from runner.engine.texts import ceilings as texts
from runner.engine.texts.ends import NOT_READ, no_answer
from runner.events import (
    CHARGE,
    CURRENT_OF,
    DISCHARGE,
    METER_VOLTAGE,
    PROBE_TEMPERATURE,
    VOLTAGE_OF,
    Answered,
    Event,
    Sampled,
    named_by,
)
from runner.orders import Ask, Order, Withdraw
from runner.vocabulary import Answer, Observed

# s without a valid reading of a channel that has a ceiling: nobody heats meanwhile, the supply's own protection stands, and an
# instrument that is reached again after ten seconds costs no run
BLIND_AFTER = 15.0
TO_READ, HOUR = 90.0, 3600.0  # s by a person's watch that a question and its answer take; s by the run's
_READ_BY = {
    PROBE_TEMPERATURE: "thermometer",
    VOLTAGE_OF[CHARGE]: "supply",
    CURRENT_OF[CHARGE]: "supply",
    VOLTAGE_OF[DISCHARGE]: "load",
    CURRENT_OF[DISCHARGE]: "load",
}
FLOWS = 0.05  # of the ceiling of the current: more than that flows
# of the floor: where nobody reads the current, a voltage that is lower, or that moves more from one reading to the next, may be
# that of a pack that has cut off
LEFT, STANDS = 0.8, 0.05
LOOK_FOR = 20.0  # s that a person is given to look at the load
TOLD_FOR = 120.0  # s that the word counts that the load has stopped, until it is confirmed off as well
MISSED = 3.5  # or so many times the interval at which it is polled, where that is longer


@dataclass(frozen=True)
class Headroom:
    """How far a reading is from its ceiling; ``value`` is None while nothing was read yet.

    ``wanted`` is what the supply was set to: a reading up to there is no cause for alarm, however close the ceiling.
    """

    name: str
    value: float | None
    ceiling: float
    unit: str
    wanted: float | None = None


def _watched(path: str, values: CeilingValues) -> tuple[tuple[str, str, str], ...]:
    found = (("voltage", VOLTAGE_OF[path], "V"), ("current", CURRENT_OF[path], "A"))
    return found if values.temperature is None else (("temperature", PROBE_TEMPERATURE, "°C"), *found)


class Ceilings:
    """Fed with every sample; says in words which ceiling was passed, or None."""

    def __init__(self, values: CeilingValues, patience: float = 1.0, by_hand: Collection[str] = ()) -> None:
        """``by_hand``: the roles that a person reads; ``patience`` as in Program."""
        self.values = values
        self._wanted: dict[str, float] = {}
        self._temperature_by_hand = "probe" in by_hand
        self._patience = patience
        self._blind_after = {"current": BLIND_AFTER * patience, "slow": BLIND_AFTER * patience}
        self._watched = _watched(CHARGE, values)
        self._path = CHARGE
        self._floor: float | None = None
        self._heated = False
        self._machine_heats: float | None = None  # s: since when, or since when the thermometer was seen last
        # readings in a row below the floor, of the load's own voltage and of the pack's voltmeter
        self._under = self._meter_under = 0
        self._flows: bool | None = None  # whether a discharge current was read last; None: it is not known
        self._flowed_at = self._metered_at = -math.inf  # s: when that was read last, and the pack's own voltmeter
        self._meters = (0.0, 0.0)  # V: what the pack's own voltmeter read last, twice
        self._by_hand = False  # whether a person has switched the path on
        self._fell_at: float | None = None  # s: when the pack's voltmeter fell below the floor in one step
        self._to_look = ""  # what whoever is at the load has to be told of that
        self._stopped_until = -math.inf  # s: up to when a person's word counts that the load has stopped
        self._latest: dict[str, float] = {}
        self._seen: dict[str, float] = {}
        self._over: dict[str, int] = {}
        self._lost: dict[str, str] = {}
        self.detail = ""  # of what was passed: what the instrument said, for the record

    def paced(self, interval: float, slow: float) -> None:
        """How often current and slow channels are polled from now on, in s: MISSED readings in a row are blindness."""
        least = BLIND_AFTER * self._patience
        self._blind_after = {"current": max(least, MISSED * interval), "slow": max(least, MISSED * slow)}

    def heated(self, yes: bool, by_machine_since: float | None = None) -> None:
        """Whether somebody heats or cools something now: then the temperature counts, whatever is on or off.

        A machine goes on heating where a person would stop: from ``by_machine_since`` (s) on the thermometer has to be seen.
        """
        self._heated = yes
        since = by_machine_since if yes else None
        self._machine_heats = since if self._machine_heats is None or since is None else self._machine_heats

    def armed(self, t: float, path: str, floor: float | None = None) -> None:
        """A path goes on: from now on its channels have to be seen. ``floor`` is the least pack voltage, in V."""
        self._on(path, floor)
        self._seen = {channel: t for _, channel, _ in self._watched}
        self._by_hand = False

    def _on(self, path: str, floor: float | None) -> None:
        self._path, self._floor, self._under, self._meter_under, self._flows = path, floor, 0, 0, None
        self._meters, self._watched = (0.0, 0.0), _watched(path, self.values)
        self._fell_at, self._to_look, self._stopped_until = None, "", -math.inf

    def armed_by_hand(self, t: float, path: str, floor: float | None = None) -> None:
        """A person is told to switch a path on: what is read by a cable counts, and only a thermometer on one has to be seen."""
        self._on(path, floor)
        self._seen = {} if self._temperature_by_hand else {PROBE_TEMPERATURE: t}
        self._by_hand = True

    def disarmed(self) -> None:
        """Everything is off: nothing needs to be seen, and nothing is left that could be switched off."""
        self._seen = {}
        self._by_hand = False
        self._latest.pop("current", None)

    def passed(self, sample: Sampled, rested: float = 0.0) -> str | None:
        """What was passed, as a sentence, or None. ``rested``: s that were no time of the test (`Rest`)."""
        if sample.t - rested > self.values.time:
            return texts.took_too_long(sample.t, rested, self.values.time)
        self._lost.update(sample.lost)
        for name, channel, unit in self._watched:
            ceiling = getattr(self.values, name)
            value = sample.readings.get(channel)
            if name == "voltage" and METER_VOLTAGE in sample.readings:
                self._meters = (self._meters[1], sample.readings[METER_VOLTAGE])
                if value is None and self._is_on and min(self._meters) > ceiling:
                    return texts.over(name, min(self._meters), ceiling, unit)
            if value is None:
                last = self._seen.get(channel, self._machine_heats if name == "temperature" else None)
                blind = self._blind_after["slow" if channel == PROBE_TEMPERATURE else "current"]
                by_hand = channel == PROBE_TEMPERATURE and self._temperature_by_hand
                if last is not None and sample.t - last > blind and not by_hand:
                    self.detail = self._lost.get(channel, NOT_READ)
                    return texts.blind(_READ_BY[channel], name, sample.t - last, on=self._is_on)
                continue
            if name == "voltage" and self._path == CHARGE:
                value = max(value, min(self._meters))
            self._latest[name] = value
            if name == "temperature" and self._machine_heats is not None:
                self._machine_heats = sample.t
            if channel in self._seen:
                self._seen[channel] = sample.t
            elif not self._by_hand and not (self._heated and name == "temperature"):
                continue  # everything is off
            self._over[name] = self._over.get(name, 0) + 1 if value > ceiling else 0
            if self._over[name] >= (1 if name == "temperature" else 2):
                return texts.over(name, value, ceiling, unit)
        return self._too_cold(sample) or self._further(sample) or self._under_the_floor(sample)

    @property
    def doubtful(self) -> bool:
        """Whether the last reading of one was over its ceiling, and the next one decides."""
        return self._is_on and 1 in self._over.values()

    @property
    def _is_on(self) -> bool:
        """Whether a path is on, or may be."""
        return bool(self._seen) or self._by_hand

    def _further(self, sample: Sampled) -> str | None:
        """The ceiling of the temperature holds at every thermometer that is there."""
        ceiling = self.values.temperature
        if ceiling is None or not (self._heated or self._is_on):
            return None
        for channel, value in sample.readings.items():
            who = named_by(channel)
            if who.startswith("probe") and value > ceiling:
                return texts.over("temperature", value, ceiling, "°C", who)
        return None

    def typed(self, name: str, value: float) -> str:
        """Which ceiling a reading passes that a person has typed, as a sentence, or nothing."""
        ceiling = getattr(self.values, name)
        value = abs(value) if name == "current" else value  # a clamp that is turned round shows it negative
        if ceiling is None or value <= ceiling:
            return ""
        unit = {"temperature": "°C", "voltage": "V", "current": "A"}[name]
        return texts.over(name, value, ceiling, unit)

    def _too_cold(self, sample: Sampled) -> str | None:
        value, lowest = sample.readings.get(PROBE_TEMPERATURE), self.values.lowest_temperature
        watched = self._heated or self._is_on
        if value is None or not watched or self.values.temperature is None or value >= lowest:
            return None
        return texts.too_cold(value, lowest)

    def _under_the_floor(self, sample: Sampled) -> str | None:
        if self._path != DISCHARGE or not self._is_on:
            return None
        voltage, current = sample.readings.get(VOLTAGE_OF[DISCHARGE]), sample.readings.get(CURRENT_OF[DISCHARGE])
        floor = max(self._floor or 0.0, self.values.lowest_voltage)
        if current is not None:
            self._flows = current > FLOWS * self.values.current
            self._flowed_at = sample.t - sample.ages.get(CURRENT_OF[DISCHARGE], 0.0)
        elif CURRENT_OF[DISCHARGE] in sample.lost:
            self._flows = None
        if voltage is not None and current is not None:
            self._under = self._under + 1 if voltage < floor and self._flows else 0
        low = voltage if self._under >= 2 else self._by_the_voltmeter(sample, floor)
        return None if low is None else texts.under_the_floor(low, floor)

    def _by_the_voltmeter(self, sample: Sampled, floor: float) -> float | None:
        """The pack's voltmeter, once it has been below the floor twice in a row under load; None until then.

        A current that was read before the last voltage says nothing of this one: a slow load shows what flowed before a cut-off.
        """
        volts, before = sample.readings.get(METER_VOLTAGE), self._metered_at
        if volts is None:
            self._meter_under = 0 if self._flows is False else self._meter_under
            return None
        stands = volts > LEFT * floor and abs(volts - self._meters[0]) < STANDS * floor  # [1] is this one
        self._metered_at = sample.t - sample.ages.get(METER_VOLTAGE, 0.0)
        self._fallen(sample.t, self._meters[0], volts, floor)
        if self._flows and self._flowed_at <= before and volts < floor and not stands:
            return None
        loaded = (stands and not self._open(sample.t)) if self._flows is None else self._flows
        self._meter_under = self._meter_under + 1 if volts < floor and loaded else 0
        return volts if self._meter_under >= 2 else None

    def _fallen(self, t: float, last: float, volts: float, floor: float) -> None:
        """Take in whether the pack's voltmeter (V) has fallen below the floor in one step, where nobody reads the current."""
        if volts >= floor:  # what was said before says nothing of a load that draws again
            self._fell_at = None
            self._stopped_until = self._stopped_until if self._stopped_until == inf else -inf
        elif self._by_hand and self._flows is None and last >= floor and last - volts >= STANDS * floor:
            self._fell_at = t
            self._to_look = texts.look_at_the_load(volts, floor, LOOK_FOR)

    def _open(self, t: float) -> bool:
        """Whether a voltage below the floor may be that of a pack whose switch is open, for as long as a person may look.

        The voltage of a pack under load sinks; it does not fall below the floor from one reading to the next.
        """
        return t <= self._stopped_until or (self._fell_at is not None and t - self._fell_at <= LOOK_FOR)

    def answered(self, event: Answered, asked: Ask | None) -> None:
        """Take in what a person answers to ``asked``: that the load on a discharge has stopped by itself, or that it is off."""
        if asked is None or event.question != asked.question or event.value == Answer.STOP:
            return
        if event.value == Answer.DRAWS:
            self._stopped_until = -inf
        elif asked.of == Observed.LOAD_OFF or (asked.of == Observed.LOAD_STOPPED and event.value == Answer.OFF):
            self._stopped_until = inf
        elif asked.of == Observed.LOAD_STOPPED:
            self._stopped_until = event.t + TOLD_FOR

    def to_look(self) -> str:
        """What whoever is at the load has to look at now, once; else nothing."""
        said, self._to_look = self._to_look, ""
        return said

    def set_to(self, voltage: float) -> None:
        """The supply is to hold this voltage (V)."""
        self._wanted["voltage"] = voltage

    def headroom(self) -> tuple[Headroom, ...]:
        """Every ceiling with the latest reading, for the screen."""
        return tuple(
            Headroom(name, self._latest.get(name), getattr(self.values, name), unit, self._wanted.get(name))
            for name, _, unit in self._watched
        )


class StandingQuestion:
    """The question that a person has not answered: while something is on, the run does not wait for ever.

    ``longest`` is how long it waits, in s of the run's time; ``speed`` how fast that passes. Where it passes fast a question waits
    longer, as long as a person needs to read and answer it, but for no more than an hour of a pack's charge.
    """

    def __init__(self, known: BenchState, longest: float, speed: float) -> None:
        to_read = min(TO_READ * speed, HOUR) if 1.0 < speed < inf else 0.0
        self._known, self._longest, self._speed = known, max(longest, to_read), speed
        self._waiting: tuple[str, float] | None = None  # the question that stands while something is on, and since when
        self.asked: Ask | None = None  # the question that was asked last, while it stands

    def keep(self, event: Event, orders: Sequence[Order]) -> None:
        """What an event and the orders that follow from it make of the question."""
        if isinstance(event, Answered):
            self._known.moves_anew()  # the probe may have been moved
            if self._waiting is not None and event.question == self._waiting[0]:
                self._waiting = None
            if self.asked is not None and event.question == self.asked.question:
                self.asked = None
        for order in orders:
            if isinstance(order, Ask):
                self.asked = order
                self._waiting = None if order.of in SIGHTS else (order.question, self._known.t)
            elif isinstance(order, Withdraw):  # only the one that stands is ever taken away
                self._waiting = self.asked = None

    def after(self, event: Event) -> Ask | None:
        """The question that stands after an event and before what follows from it."""
        answers = isinstance(event, Answered) and self.asked is not None and event.question == self.asked.question
        return None if answers else self.asked

    def waited_too_long(self) -> str:
        """Why the run ends for want of an answer, or nothing."""
        if self._waiting is None or not self._known.path:
            return ""
        question, since = self._waiting
        self._waiting = (question, max(since, self._known.path_since))
        waited = self._known.t - self._waiting[1]
        if waited <= self._longest:
            return ""
        really = waited / self._speed if 1.0 < self._speed < inf else None
        return no_answer(waited, self._known.path, really)

    @property
    def answer_within(self) -> float | None:
        """Seconds after which a question that stands ends the run; None while nothing is on."""
        if self._waiting is None or not self._known.path:
            return None
        since = max(self._waiting[1], self._known.path_since)
        return max(0.0, self._longest - (self._known.t - since))


def taken_back(stands: Ask | None, orders: list[Order], *, over: bool) -> list[Order]:
    """The orders of a step while a question of it stands: that question goes by the name under which it was put last.

    A step that is ``over`` leaves none standing, whether or not it says so.
    """
    if stands is None:
        return orders
    back = Withdraw(stands.question)
    said = [back if isinstance(order, Withdraw) else order for order in orders]
    return [back, *said] if over and back not in said else said
