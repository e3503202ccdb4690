"""Steps that change one thing level by level: a current through a path, a decade box in a sensor's place; and that try
again and again whether a path is back.

Rule 1: a level counts from when it was there (read back, or marked by a person's key), not from when it was asked for.
Rule 2: a level is not left, and nothing is given up, while a current that has fallen may have been stopped in it.
Rule 3: the change belongs to the level during which it was first seen; ``measure`` decides what that says.
"""

from __future__ import annotations

from collections.abc import Sequence

from runner.engine.steps.base import FAST, SPOILED, Step
from runner.engine.steps.explanations import Explanations
from runner.engine.texts import stages as texts
from runner.engine.texts.ramps import nothing_by
from runner.engine.watch.fall import CONFIRM
from runner.engine.watch.verdict import Verdict
from runner.events import (
    CHARGE,
    CURRENT_OF,
    DISCHARGE,
    LOAD_CURRENT,
    LOAD_VOLTAGE,
    METER_VOLTAGE,
    Answered,
    Event,
    LoadIsOn,
    LoadIsSet,
    OutputIsOff,
    OutputIsOn,
    Sampled,
    SupplyIsSet,
)
from runner.orders import (
    Ask,
    Guide,
    Level,
    Order,
    Remark,
    SwitchOff,
    Withdraw,
)
from runner.vocabulary import Outcome, Until, Wants, WatchWord

BEGUN = 0.1  # of the current that is asked for: more than this has begun to flow
PATIENCE = 10.0  # s beyond its end that a look waits for a reading of the current
SETTLE = 3.0  # s that a voltage gets after off before it is taken for the pack's own


class Stage(Step):
    """Raise the current step by step until the pack stops it, or to the end."""

    def begin(self, t: float) -> list[Order]:
        values = self.planned.values
        self._path = self.planned.word("path")
        count = int((values["to"] - values["from"]) / values["step"] + 1e-6) + 1
        self._levels = [values["from"] + values["step"] * i for i in range(count)]
        self._number = 0
        self._since: float | None = None
        self._on = False
        self._flowed = 0.0  # A, the most that was read since it is on
        first = self._bring_on(self._path, self._levels[0], values.get("voltage"))
        return [*self._pace(FAST, self._path), *first]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, OutputIsOn | LoadIsOn) or (self._on and isinstance(event, SupplyIsSet | LoadIsSet)):
            self._on = True
            return self._begun(event.t)
        if not isinstance(event, Sampled) or self._since is None:
            return self._coming_on(event)
        self._flowed = max(self._flowed, abs(self.around.known.since_on(CURRENT_OF[self._path]) or 0.0))
        verdict = self.around.watcher.verdict
        if verdict.word == WatchWord.STOPPED:
            return self._conclude_and_off(Outcome.STOPPED, verdict.why, verdict.since)
        if verdict.word == WatchWord.LOST:
            return []
        if verdict.word in SPOILED:
            return self._conclude_and_off(verdict.word, verdict.why, event.t, self.spoiled)
        if verdict.word in (WatchWord.TAPERING, WatchWord.FULL) and self.planned.word("until") != Until.DONE:
            return self._conclude_and_off(verdict.word, verdict.why, event.t, self.give_way)
        if event.t - self._since < self.planned.values["dwell"] or self.around.watcher.undecided:
            return []
        if self.around.watcher.level == 0 and self.planned.word("until") != Until.DONE:
            return self._nothing_flowed(event.t)
        return self._next(event.t)

    def _nothing_flowed(self, t: float) -> list[Order]:
        """A level is over and no current stands: what was seen of that, which is nothing where nobody has looked."""
        assert self._since is not None
        if self.around.known.since_on(CURRENT_OF[self._path]) is None:
            if t - self._since < self.planned.values["dwell"] + PATIENCE:
                return []
            return self._conclude_and_off(Outcome.LOST, texts.NOT_READ, t, self.spoiled)
        if self._flowed > BEGUN * self._levels[self._number]:
            return self._conclude_and_off(Outcome.UNCLEAR, texts.gone_at_once(self._flowed), t, self.give_way)
        if why := self._nothing_comes(self._path, self.planned.values.get("voltage", 0.0)):
            return self._conclude_and_off(WatchWord.LIMITED, why, t, self.spoiled)
        return self._conclude_and_off(Outcome.NO_CURRENT, texts.NO_CURRENT, t, self.give_way)

    def sentence(self) -> str:
        say = self.planned.say or self.planned.title
        return texts.at_level(say, self._levels[self._number]) if self._since is not None else say

    def remaining(self) -> float | None:
        left = len(self._levels) - self._number
        return left * self.planned.values["dwell"] if self._since is not None else None

    def _begun(self, t: float) -> list[Order]:
        self._since = t
        return [Level(self.planned.index, self._levels[self._number], t, asked=self._asked, unit="A")]

    def _next(self, t: float) -> list[Order]:
        if self._number + 1 < len(self._levels):
            self._number, self._since = self._number + 1, None
            return self._change(self._levels[self._number], t)
        if self.planned.word("until") == Until.DONE:
            return self._conclude_and_off(Outcome.DONE, texts.EVERY_LEVEL_HELD, t)
        limit = self._levels[-1]
        return self._conclude_and_off(Outcome.GAVE_UP, texts.did_not_trip(limit), t, self.give_way, limit)


class Try(Step):
    """Look again and again whether the path is back; in between rest, or drain.

    Each look writes a Level when supply or load are on and, if no current came, one at its end.
    """

    def begin(self, t: float) -> list[Order]:
        self._path = self.planned.word("path")
        self._began = t
        self._phase = "before"
        self._until = 0.0
        self._flows: list[float] = []
        self._voltage = 0.0
        self._drew = False
        return [*self._pace((0.5, 0.5), self._path), SwitchOff()]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        values = self.planned.values
        if isinstance(event, OutputIsOff) and self._phase in ("before", "drained"):
            self._phase, self._until = "settling", event.t + SETTLE
        elif isinstance(event, OutputIsOff):
            return self._between(event.t)
        if isinstance(event, OutputIsOn | LoadIsOn):
            if self._phase == "look":
                self._until = event.t + values["look"]
                return [Level(self.planned.index, self._voltage, event.t, unit="V")]
            self._drew, self._until = False, event.t + values["pause"]
        return self._on_sample(event) if isinstance(event, Sampled) else self._coming_on(event)

    def _on_sample(self, sample: Sampled) -> list[Order]:
        if self._phase == "look":
            return self._look(sample)
        self._drew = self._drew or sample.readings.get(LOAD_CURRENT, 0.0) > 0.5 * self.planned.values.get("drain", 0.0)
        if sample.t < self._until or self._phase == "before":
            return []
        if self._phase == "settling":
            return self._begin_look(sample)
        if self._phase == "drain" and not self._drew:
            return self._conclude_and_off(Outcome.NO_CURRENT, texts.LOAD_DRAWS_NOTHING, sample.t, self.give_way)
        if self._phase == "drain":
            self._phase = "drained"
            return [SwitchOff()]
        self._phase, self._until = "settling", sample.t
        return []

    def _begin_look(self, sample: Sampled) -> list[Order]:
        known = self.around.known.latest
        voltage = sample.readings.get(METER_VOLTAGE, known.get(METER_VOLTAGE, known.get(LOAD_VOLTAGE)))
        if self._path == CHARGE and voltage is not None and voltage < self.planned.values["floor"]:
            limit = self.planned.values["floor"]
            return self._conclude_and_off(Outcome.GAVE_UP, texts.did_not_release(limit), sample.t, limit=limit)
        if sample.t - self._began > self.planned.values["give_up"]:
            limit = self.planned.values["give_up"]
            return self._conclude_and_off(Outcome.GAVE_UP, texts.no_release(limit), sample.t, self.give_way, limit)
        self._phase, self._flows, self._until = "look", [], sample.t + 1e9
        self._voltage, values = voltage or 0.0, self.planned.values
        return [*self._repace(self._path), *self._bring_on(self._path, values["current"], values.get("voltage"))]

    def _look(self, sample: Sampled) -> list[Order]:
        current = sample.readings.get(CURRENT_OF[self._path])
        if current is None:  # a look ends with a reading, so that its end is a time at which nothing flowed
            return [] if sample.t < self._until + PATIENCE else self._lost(sample)
        declared, smallest = self.around.watcher.declared, self.around.program.smallest_current.get(self._path, 0.0)
        # what the path may leave flowing, and what the reading can tell from none
        flows = current > max(BEGUN * self.planned.values["current"], self.around.watcher.nothing, smallest)
        self._flows = [*self._flows, sample.t] if flows else []
        if len(self._flows) >= CONFIRM and sample.t - self._flows[0] >= declared.longest_try:
            return self._conclude_and_off(Outcome.RETURNED, texts.CONDUCTS_AGAIN, self._flows[0])
        if sample.t < self._until or self._flows:  # what has just begun to flow is looked at until it is certain
            return []
        if why := self._nothing_comes(self._path, self.planned.values.get("voltage", 0.0)):
            return self._conclude_and_off(WatchWord.LIMITED, why, sample.t, "early")
        voltage = self.around.known.latest.get(METER_VOLTAGE, 0.0)
        level = Level(self.planned.index, voltage, sample.t, unit="V", flowed=False)
        return [level, SwitchOff()]  # so long, and nothing flowed

    def _lost(self, sample: Sampled) -> list[Order]:
        return self._conclude_and_off(Outcome.LOST, texts.no_reading(PATIENCE), sample.t, "early")

    def _between(self, t: float) -> list[Order]:
        if self._phase != "look" or self.done:
            return []
        if "drain" in self.planned.values:
            self._phase, self._until = "drain", t + 1e9
            return [*self._repace(DISCHARGE), *self._bring_on(DISCHARGE, self.planned.values["drain"])]
        self._phase, self._until = "pause", t + self.planned.values["pause"]
        return []

    def _repace(self, path: str) -> list[Order]:
        self._paced = None
        return self._pace((0.5, 0.5), path)


class Substitute(Step):
    """Set the decade box level by level; the person's key marks the moment."""

    def begin(self, t: float) -> list[Order]:
        self._number = 0
        self._since: float | None = None
        self._lost = ""
        self._explanations = Explanations(self)
        already = self.around.watcher.verdict
        if already.word == self._wanted:
            self._end()
            return [Remark(texts.already(self.planned.title, self._wanted))]
        return [*self._pace(FAST), self._ask()]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, Answered) and event.question == self._question:
            self._since = event.t
            temperature, resistance = self.planned.levels[self._number]
            return [
                Guide("substitute", self.planned.sensor, resistance, self.sentence()),
                Level(self.planned.index, temperature, event.t, by_hand=True, unit="°C"),
            ]
        if (orders := self._explanations.look(event)) is not None:
            return orders
        if (doubted := self._explanations.answered(event)) is not None:
            pressed = self._since is not None
            return self._judged(verdicts or [doubted], event.t) or ([] if pressed else [self._ask()])
        verdict = self.around.watcher.verdict
        if not isinstance(event, Sampled) or self._explanations.stands(verdict):
            return []
        if verdict.word == WatchWord.LOST:
            self._lost = verdict.why
            return []  # it comes back, or a ceiling that cannot be seen ends the run
        if self._lost:  # when the current changed, if it did, nobody knows
            return self._conclude_and_off(Outcome.LOST, self._lost, event.t, self.spoiled)
        withdrawn = self._explanations.withdrawn()
        if verdict.between:
            other = [Withdraw(self._question)] if self._since is None else []
            return [*other, *self._explanations.ask(verdict)]
        if orders := self._judged([*verdicts, verdict], event.t):
            return [*withdrawn, *orders]
        if self._since is None or event.t - self._since < self.planned.values["dwell"]:
            return []
        return self._next(event.t)

    def _judged(self, verdicts: Sequence[Verdict], t: float) -> list[Order]:
        """The end of the step, by verdicts of which the last one stands; else nothing."""
        for each in verdicts:
            if each.word == self._wanted:
                self._end()
                return [self._conclusion(self._wanted, each.why, each.since)]
        stands = verdicts[-1]
        tapered = stands.word in (WatchWord.TAPERING, WatchWord.FULL)
        if stands.word in SPOILED or tapered:
            return self._conclude_and_off(stands.word, stands.why, t, "rest" if tapered else self.spoiled)
        return []

    def sentence(self) -> str:
        # the smallest first: then no resistance on the way lies beyond the one that is wanted
        temperature, resistance = self.planned.levels[self._number]
        return texts.set_the_box(self.planned.say, resistance, temperature)

    @property
    def _wanted(self) -> str:
        return self.planned.word("until")

    @property
    def _question(self) -> str:
        return f"step-{self.planned.index}-level-{self._number}"

    def _ask(self) -> Ask:
        say = texts.mark_the_last_knob(self.sentence())
        return Ask(self._question, say, texts.BOX_SET, Wants.MARK, setting=self.planned.levels[self._number][1])

    def _next(self, t: float) -> list[Order]:
        self._since = None
        if self._number + 1 < len(self.planned.levels):
            self._number += 1
            return [self._ask()]
        return self._gave_up(t, self.planned.levels[-1][0])

    def _gave_up(self, t: float, limit: float) -> list[Order]:
        """The last level (°C) is over, and nothing was seen."""
        return self._conclude_and_off(Outcome.GAVE_UP, nothing_by(self._wanted, limit), t, self.give_way, limit)
