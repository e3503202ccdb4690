"""Steps in which nothing goes on until a person has said so: hold points, readings, inspections."""

from __future__ import annotations

from math import inf

from runner.engine.program import Planned
from runner.engine.steps.base import SLOW, Step
from runner.engine.texts import asking as texts
from runner.engine.watch.verdict import Verdict
from runner.events import Answered, Event, Reckoned, Sampled, named_by
from runner.notation.quantity import shown
from runner.orders import Ask, Note, Order, Reckon
from runner.sheets.instrument_parts import less_its_error
from runner.vocabulary import Answer, Observed, Seen, Wants

SEEN = tuple(Seen)
IMPOSSIBLE = 2.0  # times the most that is usual: no cell has that, but a display in mV shows such a number
PATIENT = 10.0  # s that an instrument is given for a reading that a procedure takes from it


def _read_in(sample: Sampled, planned: Planned) -> dict[str, float]:
    """What a sample has of the channels that a step reads from, less the errors that their certificates say."""
    said = planned.words.get("certified", {})
    reads = {channel: sample.readings[channel] for channel in planned.words["reads"] if channel in sample.readings}
    return {channel: less_its_error(said.get(channel, ()), value) for channel, value in reads.items()}


class Confirm(Step):
    """A hold point."""

    asks = True

    def begin(self, t: float) -> list[Order]:
        self.question = f"step-{self.planned.index}"
        return [
            *self._pace(SLOW),
            Ask(self.question, self.planned.say, self.planned.record, box=self.planned.word("box")),
        ]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, Answered) and event.question == self.question and event.value == Answer.GO_ON:
            self._end()
        return []


class Read(Step):
    """A typed reading or a picked word. What does not fit is asked for a second time, and kept if it is given again.

    Where an instrument of the bench gives it, nobody is asked, unless it does not come within PATIENT or does not fit.
    A lowest cell that was read twice and must not be charged ends the run, where a charge would follow. One that no cell can have
    says nothing about that, and is asked for again however often it comes.
    """

    asks = True

    def begin(self, t: float) -> list[Order]:
        self._turn = 0
        self._first: str | None = None
        self._now = self.planned.say
        self._until = t + PATIENT * self.around.program.patience
        self._seen: dict[str, float] = {}
        self._by_itself = bool(self.planned.words.get("reads"))
        return [*self._pace(SLOW), *([] if self._by_itself else [self._ask()])]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if self._by_itself:
            return self._read_off(event) if isinstance(event, Sampled) else []
        if not isinstance(event, Answered) or event.question != self._question:
            return []
        doubt = self._doubt(event.value)
        if doubt and (self._first != event.value or self._is_no_cell(event.value)):
            self._first, self._turn = event.value, self._turn + 1
            no_cell = texts.no_cell_has(float(event.value)) if self._is_no_cell(event.value) else ""
            self._now = texts.read_again(doubt, self.planned.say, self._reference, no_cell)
            return [self._ask()]
        self._end(*self._refused(event.value))
        return [self._note(event.value, texts.twice(doubt) if doubt else "")]

    def _is_no_cell(self, value: str) -> bool:
        """Whether no cell can have this lowest voltage."""
        if self.planned.word("as") != Observed.LOWEST_CELL_VOLTAGE or "highest" not in self.planned.values:
            return False
        return float(value) > IMPOSSIBLE * self.planned.values["highest"]

    def _refused(self, value: str) -> tuple[str, str]:
        """How the run ends on a lowest cell that must not be charged, where a charge would follow; else twice nothing."""
        if self.planned.word("as") != Observed.LOWEST_CELL_VOLTAGE or "lowest" not in self.planned.values:
            return "", ""
        steps, around = self.around.program.steps, self.around
        compared = [step.values["lowest"] for step in steps if step.kind == "cells" and "lowest" in step.values]
        least, later = min([*compared, self.planned.values["lowest"]]), steps[self.planned.index + 1 :]
        charges = any(step.kind == "charge" or (step.kind == "wake" and not around.awake) for step in later)
        if float(value) >= least or not charges:
            return "", ""
        return "early", texts.too_low_to_charge(float(value), least)

    def _read_off(self, sample: Sampled) -> list[Order]:
        """What the instruments say, once all of them have; of several, the extreme that the reading is of."""
        channels = tuple(self.planned.words["reads"])
        self._seen |= _read_in(sample, self.planned)
        if len(self._seen) == len(channels):
            highest = self.planned.word("as") == Observed.HIGHEST_CELL_VOLTAGE
            channel = (max if highest else min)(self._seen, key=self._seen.__getitem__)
            value = f"{self._seen[channel]:.9g}"
            doubt = self._doubt(value)
            if not doubt:
                self._end()
                corrected = channel in self.planned.words.get("certified", {})
                return [self._note(value, by=texts.read_by(named_by(channel), corrected=corrected))]
            return self._asks_a_person(f"{named_by(channel)}: {doubt}")
        if sample.t < self._until:
            return []
        silent = [named_by(channel) for channel in channels if channel not in self._seen]
        return self._asks_a_person(texts.no_reading_from(silent))

    def _asks_a_person(self, why: str) -> list[Order]:
        self._by_itself, self._now = False, f"{why}. {self.planned.say}"
        return [self._ask()]

    def sentence(self) -> str:
        return self._now

    @property
    def _question(self) -> str:
        return f"step-{self.planned.index}" + (f"-look-{self._turn}" if self._turn else "")

    def _ask(self) -> Ask:
        words = self.planned.words
        choices = tuple(words.get("choices", ()))
        wants = Wants.CHOICE if choices else Wants.NUMBER
        return Ask(
            self._question,
            self._now,
            self.planned.record,
            wants,
            str(words.get("unit", "")),
            str(words.get("dimension", "")),
            choices,
            str(words.get("role", "")),
            self.planned.values.get("lowest"),
            self.planned.values.get("highest"),
            of=self.planned.word("as"),
        )

    def _doubt(self, value: str) -> str:
        words, values = self.planned.words, self.planned.values
        if words.get("choices"):
            return ""
        number, dimension = float(value), str(words["dimension"])
        if ("lowest" in values and number < values["lowest"]) or ("highest" in values and number > values["highest"]):
            return texts.outside(number, dimension, values.get("lowest"), values.get("highest"))
        return ""

    @property
    def _reference(self) -> float | None:
        """What the reference thermometer shows, °C, where that stands beside a temperature that the pack shows."""
        words, planned = self.planned.words, self.planned
        in_the_box = any(
            each.group == planned.group and each.kind == "substitute" for each in self.around.program.steps
        )
        if words.get("role") != "display" or words.get("dimension") != "temperature" or in_the_box:
            return None
        return self.around.known.temperature

    def _note(self, value: str, why: str = "", by: str = "") -> Note:
        planned, words = self.planned, self.planned.words
        name = f"{planned.sensor}: {planned.record}" if planned.sensor else planned.record
        if words.get("choices"):
            doubtful = texts.DOUBTFUL if value in words.get("doubtful", ()) else ""
            return Note(planned.index, name, value, why=doubtful, of=planned.word("as"))
        dimension = str(words["dimension"])
        text = shown(float(value), dimension) + by
        if self._reference is not None:
            text = texts.beside_reference(text, self._reference, dimension)
        return Note(planned.index, name, text, float(value), dimension, why, planned.word("as"))


class CompareCells(Step):
    """The highest and the lowest cell, before anything goes on.

    Rule: it goes on by itself only with voltages that were read and are close enough. A wider spread, and cells that nobody has
    seen, need a person who agrees and says why; the reason is in the record. Whoever does not agree leaves the procedure out, as
    long as nothing has flowed in it. A cell that is too low to be charged goes no further, and a session neither: what comes next
    would charge it too.
    """

    asks = True

    def begin(self, t: float) -> list[Order]:
        self._count = 0
        self._standing: Ask | None = None
        self._read: list[float] = []  # V: what was typed, the highest first
        self._found = self._doubt = ""
        self._until = t + PATIENT * self.around.program.patience
        self._seen: dict[str, float] = {}
        self._by_itself = bool(self.planned.words.get("reads"))
        return [*self._pace(SLOW), *([] if self._by_itself else self._look())]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if self._by_itself:
            return self._read_off(event) if isinstance(event, Sampled) else []
        asked = self._standing
        if not isinstance(event, Answered) or asked is None or event.question != asked.question:
            return []
        if asked.choices and event.value not in asked.choices:
            return []
        if event.value == Answer.AGREE:
            return self._agreed(event)
        if event.value == Answer.LEAVE_OUT:
            return self._left_out(event)
        if event.value == Seen.NOT_SEEN:
            return self._decide(texts.CELLS_NOT_SEEN)
        if event.value == Answer.READ_AGAIN:
            return self.begin(event.t)
        if event.value == Answer.READ:
            return self._number(Observed.HIGHEST_CELL_VOLTAGE)
        self._read.append(float(event.value))
        if len(self._read) == 1:
            return self._number(Observed.LOWEST_CELL_VOLTAGE)
        return self._compared(self._read, texts.typed_by(event.by))

    def _read_off(self, sample: Sampled) -> list[Order]:
        """What the meters at the cells say, once all of them have; a person is asked where one says nothing."""
        channels = tuple(self.planned.words["reads"])
        self._seen |= _read_in(sample, self.planned)
        if len(self._seen) == len(channels):
            self._by_itself = False
            return self._compared(list(self._seen.values()), texts.BY_METERS)
        if sample.t < self._until:
            return []
        self._by_itself = False
        silent = [named_by(channel) for channel in channels if channel not in self._seen]
        return self._look(f"{texts.no_reading_from(silent)}. ")

    def _compared(self, volts: list[float], how: str) -> list[Order]:
        low, high, within = min(volts), max(volts), self.planned.values["within"]
        self._found, spread = texts.spread(high, low), high - low
        if low < self.planned.values.get("lowest", low):
            return self._too_low(low)
        if high > IMPOSSIBLE * self._most:
            return self._no_cell(high)
        if spread <= within + 1e-9:
            self._end()
            return [Note(self.planned.index, self.planned.record, f"{self._found}, {how}", spread, "voltage")]
        return self._decide(texts.too_far_apart(self._found, within))

    def _decide(self, doubt: str, *, again: bool = False) -> list[Order]:
        """Whether to go on in spite of ``doubt``; ``again``: a person has agreed and not said why."""
        self._doubt, may_leave_out = doubt, self.around.untouched
        say = texts.go_on_with(doubt, again=again, may_leave_out=may_leave_out)
        leave_out = (Answer.LEAVE_OUT,) if may_leave_out else ()
        return self._put(say, Wants.CHOICE, choices=(Answer.AGREE, Answer.READ_AGAIN, *leave_out))

    def _left_out(self, event: Answered) -> list[Order]:
        """A person does not agree: nothing was switched on, and the session goes on with the next procedure."""
        self._end(Answer.LEAVE_OUT, texts.cells_not_accepted(event.by, event.note.strip(), self._found))
        return []

    @property
    def _most(self) -> float:
        """V that a cell of this pack has at most, as far as that is known."""
        return self.around.program.usual.get(Observed.HIGHEST_CELL_VOLTAGE, (0.0, inf))[1]

    def _no_cell(self, volts: float) -> list[Order]:
        """Nor is there anything to agree to where a number is no voltage of a cell: its unit was left out, or a digit slipped."""
        return self._put(texts.no_cell_read_again(volts), Wants.CHOICE, choices=(Answer.READ_AGAIN,))

    def _too_low(self, volts: float) -> list[Order]:
        """There is nothing to agree to: stop, or read again what was read wrongly."""
        say = texts.a_cell_too_low(volts, self.planned.values["lowest"])
        return self._put(say, Wants.CHOICE, choices=(Answer.READ_AGAIN,))

    def _agreed(self, event: Answered) -> list[Order]:
        reason = event.note.strip()
        if not reason:
            return self._decide(self._doubt, again=True)
        self._end()
        found, why = self._found or texts.SPREAD_NOT_SEEN, texts.cells_accepted(event.by, reason)
        return [Note(self.planned.index, self.planned.record, found, why=why)]

    def _look(self, before: str = "") -> list[Order]:
        return self._put(f"{before}{self.planned.say}", Wants.CHOICE, choices=(Answer.READ, Seen.NOT_SEEN))

    def _number(self, of: Observed) -> list[Order]:
        return self._put(texts.type_the(of), Wants.NUMBER, of=of)

    def _put(self, say: str, wants: Wants, choices: tuple[str, ...] = (), of: Observed | None = None) -> list[Order]:
        self._count += 1
        question, unit, kind = f"step-{self.planned.index}-cells-{self._count}", "V" if of else "", of or ""
        dimension = of.dimension if of else ""
        self._standing = Ask(question, say, of or self.planned.record, wants, unit, dimension, choices, of=kind)
        return [self._standing]

    def sentence(self) -> str:
        return self._standing.say if self._standing is not None else self.planned.say


class Offer(Step):
    """Asks whether the steps that follow are wanted, where the findings would gain by them; else passes over them."""

    asks = True

    def begin(self, t: float) -> list[Order]:
        self._question = f"step-{self.planned.index}"
        self._now = texts.CALCULATING
        return [*self._pace(SLOW), Reckon(self.planned.sensor)]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if isinstance(event, Reckoned) and event.sensor == self.planned.sensor:
            if not event.gain:
                self._end("offer", event.why)
                return []
            self._now = f"{event.why}. {self.planned.say}"
            choices = (Answer.GO_ON, Answer.ONE_MORE)
            return [Ask(self._question, self._now, texts.ONE_MORE, Wants.CHOICE, choices=choices)]
        if isinstance(event, Answered) and event.question == self._question:
            if event.value == Answer.ONE_MORE:
                self._end()
            else:
                self._end("offer", texts.CONTINUED_WITHOUT)
        return []

    def sentence(self) -> str:
        return self._now


class Inspect(Step):
    """Things to look at, one after the other."""

    asks = True

    def begin(self, t: float) -> list[Order]:
        self._item = 0
        return [*self._pace(SLOW), self._ask()]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if not isinstance(event, Answered) or event.question != self._question:
            return []
        item, word = self._items[self._item], event.value
        why = "" if word == Seen.GOOD else event.note or word
        note = Note(self.planned.index, self._record(item), word, why=why, of=self.planned.word("as"))
        self._item += 1
        if self._item < len(self._items):
            return [note, self._ask()]
        self._end()
        return [note]

    def sentence(self) -> str:
        item = self._items[min(self._item, len(self._items) - 1)]
        return f"{self.planned.say} {item[0].upper()}{item[1:]}:"

    @property
    def _items(self) -> tuple[str, ...]:
        return tuple(self.planned.words["items"])

    @property
    def _question(self) -> str:
        return f"step-{self.planned.index}-item-{self._item}"

    def _ask(self) -> Ask:
        return Ask(self._question, self.sentence(), self._record(self._items[self._item]), Wants.CHOICE, choices=SEEN)

    def _record(self, item: str) -> str:
        return f"{self.planned.sensor}: {item}" if self.planned.sensor else item
