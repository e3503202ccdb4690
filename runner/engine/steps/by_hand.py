"""Steps at a bench where a person switches the load and reads the displays: an inverter and a lamp, a meter in the line.

Rule 1: what the program cannot switch, it tells the person to switch, and takes their key for it; nothing is assumed on or
        off that nobody has said is.
Rule 2: the moment of a cut-off is the person's key, a reaction late; while a reading is typed no moment is claimed.
        Until it was said that the load is off, that key can be taken back: it may have been a slip of the thumb.
Rule 3: a load that the person switched off at the floor is no cut-off; they say which of the two it was.
Rule 4: a run that ends while a hand-switched load is on says so until a person has switched it off.
"""

from __future__ import annotations

from dataclasses import replace

from runner.engine.steps.base import SLOW, Step
from runner.engine.texts import by_hand as texts
from runner.engine.texts.asking import confirmed
from runner.engine.texts.discharging import did_not_cut_off, no_recovery
from runner.engine.texts.ends import FLOOR_REACHED
from runner.engine.watch.verdict import Verdict
from runner.events import Answered, Event, OutputIsOff
from runner.notation.quantity import shown
from runner.orders import Ask, Note, Order, Remark, SwitchOff
from runner.vocabulary import Answer, Observed, Outcome, Role, Wants

BEFORE = (Observed.CHARGE_BEFORE, Observed.ENERGY_BEFORE)  # the totals of the counter
AFTER = (Observed.CHARGE_AFTER, Observed.ENERGY_AFTER)
EARLY = 0.2  # of the cut-off voltage: a load that stops further above it may have stopped by itself (common practice, no source)
NEAR = 0.12  # of the cut-off voltage: nearer than this, no more readings are asked for, only the moment


class DrainByHand(Step):
    """The totals before; the load on; readings at intervals; the moment of the cut-off; the load off; the totals after."""

    def begin(self, t: float) -> list[Order]:
        self._readings: list[tuple[float, float]] = []
        self._stopped_at: float | None = None
        self._given_up = False
        self._slips = 0  # keys at the load that were taken back
        self._by_pack = True  # as far as anybody has said
        self._since = t
        self._queue = [
            *self._totals(BEFORE),
            self._go(Observed.LOAD_ON, self._switch_on()),
        ]
        return [*self._pace(SLOW), self._queue[0]]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, Answered) and self._queue and event.question == self._queue[0].question:
            return self._answered(event, self._queue.pop(0))
        due = self.around.known.hand_load and event.t - self._since >= self.around.program.every
        if due and self._standing and self._wants_readings:
            self._since = event.t
            self._queue = [self._reading(), self._moment()]
            return [self._queue[0]]
        return []

    def sentence(self) -> str:
        return self._queue[0].say if self._queue else self.planned.title

    # ---- one answer after the other --------------------------------------------------------------------------

    def _answered(self, event: Answered, ask: Ask) -> list[Order]:
        orders: list[Order] = self._noted(event, ask)
        if ask.of == Observed.LOAD_ON:
            self.around.known.hand_load, self._since = True, event.t
            self._queue = [self._moment()]
        elif ask.of == Observed.LOAD_STOPPED and event.value == Answer.OFF:
            self.around.known.hand_load, self._given_up = False, True
            self._queue = self._totals(AFTER)
        elif ask.of == Observed.LOAD_STOPPED:
            self._stopped_at = event.t
            self._queue = [self._off_again(), self._last_voltage(), *self._totals(AFTER)]
        elif ask.of == Observed.LOAD_OFF and event.value == Answer.DRAWS:
            self._stopped_at, self._slips = None, self._slips + 1
            self._queue = [self._moment()]
            orders.append(Remark(texts.MARK_TAKEN_BACK))
        elif ask.of == Observed.LOAD_OFF:
            self.around.known.hand_load = False
        elif ask.of == Observed.LAST_VOLTAGE and self._is_early(float(event.value)):
            self._queue.insert(0, self._who_stopped(float(event.value)))
        elif Answer.PACK in ask.choices:
            self._by_pack = event.value == Answer.PACK
        elif ask.of == Observed.LOADED_VOLTAGE and float(event.value) < self.planned.values["floor"]:
            self._given_up = True
            self._queue = [self._off(), *self._totals(AFTER)]
        if self._queue:
            return [*orders, self._queue[0]]
        return [*orders, *self._over(event.t)]

    def _over(self, t: float) -> list[Order]:
        self.around.awake = False
        if self._given_up or self._stopped_at is None:
            floor = self.planned.values["floor"]
            self._end(self.give_way, FLOOR_REACHED)
            return [self._conclusion(Outcome.GAVE_UP, did_not_cut_off(floor), t, limit=floor), SwitchOff()]
        if not self._by_pack:
            self._end(self.give_way, texts.STOPPED_BY_ITSELF)
            return [self._conclusion(Outcome.UNCLEAR, texts.STOPPED_BY_ITSELF, t, by_hand=True), SwitchOff()]
        self._end()
        return [self._conclusion(Outcome.STOPPED, texts.LOAD_STOPPED, self._stopped_at, by_hand=True), SwitchOff()]

    def _is_early(self, volts: float) -> bool:
        """Whether the load stopped so far above the cut-off that it may not have been the pack."""
        trip = self.around.program.trip
        return trip is not None and volts > trip * (1 + EARLY)

    def _noted(self, event: Answered, ask: Ask) -> list[Order]:
        if ask.wants != Wants.NUMBER:
            return []
        value = float(event.value)
        if ask.of == Observed.LOADED_VOLTAGE:
            self._readings.append((event.t, value))
        return [Note(self.planned.index, ask.record, shown(value, ask.dimension), value, ask.dimension, of=ask.of)]

    # ---- questions -------------------------------------------------------------------------------------------

    @property
    def _standing(self) -> bool:
        return bool(self._queue) and self._queue[0].of == Observed.LOAD_STOPPED

    @property
    def _wants_readings(self) -> bool:
        if Role.METER not in self.around.program.has:
            return False
        cut_off = self.around.program.trip or self.planned.values["floor"]
        return not self._readings or self._readings[-1][1] > cut_off * (1 + NEAR)

    def _question(self, name: str) -> str:
        return f"step-{self.planned.index}-{name.replace(' ', '-')}-{len(self._readings)}{self._slips or ''}"

    def _go(self, of: Observed, say: str) -> Ask:
        return Ask(self._question(of), say, of.value, Wants.MARK, of=of)

    def _switch_on(self) -> str:
        values = self.planned.values
        return texts.load_on_to_the_end(values["current"], values["floor"], self.around.program.trip)

    def _off(self) -> Ask:
        return self._go(Observed.LOAD_OFF, texts.confirm_off(Role.LOAD))

    def _off_again(self) -> Ask:
        ask = self._go(Observed.LOAD_OFF, texts.off_after_the_mark())
        return replace(ask, instead=Answer.DRAWS.value)

    def _moment(self) -> Ask:
        say = texts.watch_load(self.planned.values["floor"])
        return replace(self._go(Observed.LOAD_STOPPED, say), instead=Answer.OFF.value)

    def _number(self, of: Observed, say: str, unit: str, role: Role) -> Ask:
        return Ask(self._question(of), say, of.value, Wants.NUMBER, unit, of.dimension, (), role, of=of)

    def _reading(self) -> Ask:
        ask = self._number(Observed.LOADED_VOLTAGE, texts.READ_LOADED_VOLTAGE, "V", Role.METER)
        return replace(ask, lowest=self.planned.values["floor"])  # below that it decides, and is shown again

    def _who_stopped(self, volts: float) -> Ask:
        say = texts.who_stopped(volts, self.around.program.trip or 0.0)
        choices = (Answer.PACK.value, Answer.OTHER.value)
        return Ask(self._question("who"), say, texts.WHO_STOPPED, Wants.CHOICE, choices=choices)

    def _last_voltage(self) -> Ask:
        return self._number(Observed.LAST_VOLTAGE, texts.TYPE_LAST_VOLTAGE, "V", Role.METER)

    def _totals(self, totals: tuple[Observed, Observed]) -> list[Ask]:
        if Role.COUNTER not in self.around.program.has:
            return []
        units = ("Ah", "Wh")
        return [
            self._number(of, texts.read_counter(of), unit, Role.COUNTER) for of, unit in zip(totals, units, strict=True)
        ]


class RecoverByHand(Step):
    """Everything off; the person's key says when the voltmeter shows the pack again, unless they then say that it was a slip.

    After a cut-off by hand they switch the load off and read totals first: a pack that came back meanwhile has no moment to mark.
    """

    def begin(self, t: float) -> list[Order]:
        self._off_at: float | None = None
        self._marked: float | None = None  # s: when the key was pressed, until it is said that it was meant
        self._slips = 0
        return [*self._pace(SLOW), SwitchOff()]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, OutputIsOff) and self._off_at is None:
            self._off_at = event.t
            return [self._watch()]
        if self._off_at is None:
            return []
        if isinstance(event, Answered) and event.question == self._question and event.value == Answer.ALREADY:
            self._end()
            self.around.awake = True
            return [self._conclusion(Outcome.NOT_SEEN, texts.BACK_BEFORE, event.t, by_hand=True)]
        if isinstance(event, Answered) and event.question == self._question:
            return self._pressed(event.t) if self._marked is None else self._meant(event, self._marked)
        if self._marked is not None:  # it has been seen, or it is about to be said that it has not
            return []
        limit = self.planned.values["give_up"]
        if event.t - self._off_at > limit:
            self._end()
            return [self._conclusion(Outcome.GAVE_UP, no_recovery(limit), event.t, limit=limit)]
        return []

    def _watch(self) -> Ask:
        came_back = Observed.CAME_BACK
        ask = Ask(self._question, texts.WATCH_VOLTMETER, came_back.value, Wants.MARK, of=came_back)
        return replace(ask, instead=Answer.ALREADY.value)

    def _pressed(self, t: float) -> list[Order]:
        self._marked = t
        choices = (Answer.GO_ON.value, Answer.WRONG.value)
        record = confirmed(Observed.CAME_BACK)
        return [Ask(self._question, texts.IS_IT_BACK, record, Wants.CHOICE, choices=choices)]

    def _meant(self, event: Answered, marked: float) -> list[Order]:
        if event.value == Answer.WRONG:
            self._marked, self._slips = None, self._slips + 1
            return [Remark(texts.NOT_BACK), self._watch()]
        self._end()
        self.around.awake = True
        return [self._conclusion(Outcome.RETURNED, texts.VOLTAGE_BACK, marked, by_hand=True)]

    @property
    def _question(self) -> str:
        meant = "" if self._marked is None else "-meant"
        return f"step-{self.planned.index}-back{self._slips or ''}{meant}"
