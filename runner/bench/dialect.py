"""The built-in dialect of each role, and speaking a dialect over a link. SCPI words stand in this file and nowhere else.

SCPI-1999 volume 4 for supplies and meters, IEEE 488.2 for the common commands, short forms sent. The standard agrees on
no load class; the load speaks the usual INPut, CURRent, MEASure.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import partial

from runner.bench.link import QUEUE_LENGTH, Link
from runner.bench.off import OffWords
from runner.errors import BenchError, NotAReading, SettingError
from runner.sheets.dialect import Dialect, Mode, Query

INFINITE = 9.9e37  # SCPI-1999: ±9.9E37 are infinity, 9.91E37 is not a number
LONGEST_NUMBER = 1000  # characters: a reply that is longer is no reading, and no pattern is tried on it

BUILT_IN: dict[str, Dialect] = {
    "supply": Dialect(
        kind="dialect",
        name="scpi",
        role="supply",
        commands={
            "set_voltage": "VOLT {value}",
            "set_current": "CURR {value}",
            "set_overvoltage": "VOLT:PROT {value}",
            "set_overcurrent": "CURR:PROT {value}",
            "output_on": "OUTP ON",
            "output_off": "OUTP OFF",
        },
        queries={
            "voltage_setting": Query(ask="VOLT?"),
            "current_setting": Query(ask="CURR?"),
            "overvoltage_setting": Query(ask="VOLT:PROT?"),
            "overcurrent_setting": Query(ask="CURR:PROT?"),
            "output": Query(ask="OUTP?"),
            "voltage": Query(ask="MEAS:VOLT?"),
            "current": Query(ask="MEAS:CURR?"),
        },
        # QUEStionable bit 0: the voltage is not regulated, so the current is; bit 1: the reverse
        mode=Mode(ask="STAT:QUES:COND?", constant_current_bit=0, constant_voltage_bit=1),
    ),
    "probe": Dialect(
        kind="dialect",
        name="scpi",
        role="probe",
        queries={
            "temperature": Query(ask="MEAS:TEMP?"),
            "resistance": Query(ask="MEAS:RES?"),
            "voltage": Query(ask="MEAS:VOLT?"),
        },
    ),
    "meter": Dialect(kind="dialect", name="scpi", role="meter", queries={"voltage": Query(ask="MEAS:VOLT?")}),
    "load": Dialect(
        kind="dialect",
        name="scpi",
        role="load",
        commands={"set_current": "FUNC CURR;:CURR {value}", "input_on": "INP ON", "input_off": "INP OFF"},
        queries={
            "current_setting": Query(ask="CURR?"),
            "input": Query(ask="INP?"),
            "voltage": Query(ask="MEAS:VOLT?"),
            "current": Query(ask="MEAS:CURR?"),
        },
    ),
    # SOURce:TEMPerature of SCPI-1999, volume 2 (from memory); its rate is no word of the standard
    "actuator": Dialect(
        kind="dialect",
        name="scpi",
        role="actuator",
        commands={
            "set_temperature": "TEMP:SPO {value}",
            "set_rate": "TEMP:RATE {value}",
            "set_limit": "TEMP:PROT:HIGH {value}",
            "output_on": "OUTP ON",
            "output_off": "OUTP OFF",
            "select": 'INST:SEL "{place}"',
        },
        queries={
            "temperature_setting": Query(ask="TEMP:SPO?"),
            "rate_setting": Query(ask="TEMP:RATE?"),
            "limit_setting": Query(ask="TEMP:PROT:HIGH?"),
            "output": Query(ask="OUTP?"),
            "temperature": Query(ask="MEAS:TEMP?"),
        },
    ),
}


class Driver:
    """Speaks a dialect over a link: settings with their error queue, questions with strict replies."""

    def __init__(self, link: Link, dialect: Dialect, channel: str = "") -> None:
        self.link, self.dialect, self.channel = link, dialect, channel

    def command(self, name: str, value: float = 0.0, place: str = "") -> None:
        """Send a command and look into the error queue. ``place``: which of several outputs ``select`` chooses.

        Raises LinkError or SettingError; then whether it was taken is known only from a read-back.
        """
        text = self._text(name, value, place)
        self.link.tell(text, self.dialect.acknowledge)
        if complaint := self.complaint():
            raise SettingError.complained(self.link.instrument, text, complaint)

    def set(self, what: str, value: float, tolerance: float) -> float:
        """Set a value and what it reads back as. Raises SettingError if that is further off than ``tolerance`` and a thousandth."""
        self.command(f"set_{what}", value)
        got = self.number(f"{what}_setting")
        if abs(got - value) > max(tolerance, 1e-3 * abs(value)):
            raise SettingError.reads_back(self.link.instrument, what, value, got)
        return got

    def switch(self, state: str, on: bool) -> None:
        """Switch the ``output`` or ``input`` and read it back. Raises BenchError; then it may be on, and has to be switched off."""
        self.command(f"{state}_{'on' if on else 'off'}")
        if bool(self.number(state)) != on:
            raise SettingError.not_switched(self.link.instrument, state, on=on)

    def complaint(self) -> str:
        """The oldest entry of the error queue, which is emptied; nothing if it is empty. Raises LinkError."""
        errors = self.dialect.errors
        if errors is None:
            return ""
        first = ""
        for _ in range(QUEUE_LENGTH):
            reply = self.link.ask(errors.ask)[0]
            if re.fullmatch(errors.none, reply):
                break
            first = first or reply
        return first

    def try_out(self, names: Iterable[str]) -> None:
        """Ask everything that a run will ask: these queries one by one, together where the dialect joins them, and the mode.

        Raises BenchError that names the question, with the instrument's own error where it has a queue.
        """
        names = tuple(names)
        trials: list[tuple[str, Callable[[], object]]] = [
            (self.dialect.queries[name].ask, partial(self.number, name)) for name in names
        ]
        if len(names) > 1 and self.dialect.join is not None:
            trials.append((self.dialect.join.join(ask for ask, _ in trials), partial(self._joined, names)))
        if self.dialect.mode is not None:
            trials.append((self.dialect.mode.ask, self.mode))
        if self.dialect.acknowledge is not None:
            trials.append((self.dialect.acknowledge, partial(self.link.ask, self.dialect.acknowledge)))
        for ask, trial in trials:
            self._try(ask.format(channel=self.channel), trial)

    def _joined(self, names: tuple[str, ...]) -> None:
        for value in self.numbers(*names):
            if isinstance(value, NotAReading):
                raise value

    def _try(self, ask: str, trial: Callable[[], object]) -> None:
        try:
            trial()
        except BenchError as fault:
            self.link.hurry()
            self.link.take_old_errors()
            try:
                own = self.complaint()
            except BenchError:
                raise fault from None  # it says nothing at all: the first fault is the one to know
            own = next(iter(self.link.take_old_errors()), own)
            if own:
                raise SettingError.complained(self.link.instrument, ask, own) from fault
            raise
        if own := self.complaint():
            raise SettingError.complained(self.link.instrument, ask, own)

    def off_words(self, command: str, query: str, places: Iterable[str] = ()) -> OffWords:
        """What switches this instrument off and how it reads as off, ready to be sent. ValueError if the dialect is wrong.

        ``places``: its outputs, if it has several, each of which is chosen with ``select``.
        """
        asked = self.dialect.queries[query]
        text = self._text(command)
        ask = asked.ask.format(channel=self.channel)
        chooses = "select" in self.dialect.commands
        each = tuple(self._text("select", place=place) for place in dict.fromkeys(places) if chooses) or ("",)
        return OffWords(text, self.dialect.acknowledge, ask, asked.reply, asked.scale, each)

    def number(self, name: str) -> float:
        """One reading. Raises LinkError or NotAReading."""
        query = self.dialect.queries[name]
        return self._parsed(query, self.link.ask(query.ask.format(channel=self.channel))[0])

    def numbers(self, *names: str) -> list[float | NotAReading]:
        """Several readings in one message where the dialect allows it. Raises LinkError; bad numbers stand in the list."""
        queries = [self.dialect.queries[name] for name in names]
        asks = [query.ask.format(channel=self.channel) for query in queries]
        if self.dialect.join is None:
            replies = [self.link.ask(ask)[0] for ask in asks]
        else:
            replies = self.link.ask(self.dialect.join.join(asks), len(asks))
        found: list[float | NotAReading] = []
        for query, reply in zip(queries, replies, strict=True):
            try:
                found.append(self._parsed(query, reply))
            except NotAReading as error:
                found.append(error)
        return found

    def mode(self) -> str:
        """CC, CV, or empty where the instrument does not say. Raises LinkError or NotAReading."""
        mode = self.dialect.mode
        if mode is None:
            return ""
        ask = mode.ask.format(channel=self.channel)
        bits = int(self._parsed(Query(ask=ask), self.link.ask(ask)[0]))
        if bits >> mode.constant_voltage_bit & 1:
            return "CV"
        return "CC" if bits >> mode.constant_current_bit & 1 else ""

    def _text(self, name: str, value: float = 0.0, place: str = "") -> str:
        return self.dialect.commands[name].format(value=f"{value:.6g}", channel=self.channel, place=place)

    def _parsed(self, query: Query, reply: str) -> float:
        match = re.fullmatch(query.reply, reply) if len(reply) <= LONGEST_NUMBER else None
        try:
            value = float(match[1]) if match and match[1] is not None else None
        except ValueError:
            value = None
        if value is None or not abs(value) < INFINITE:
            raise NotAReading.reply(self.link.instrument, query.ask, reply)
        return value * query.scale
