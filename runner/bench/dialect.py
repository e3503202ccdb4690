"""The built-in dialect of each role, and speaking a dialect over a link. SCPI words stand in this file and nowhere else.

SCPI-1999 volume 4 for supplies and meters, IEEE 488.2 for the common commands, short forms sent. The standard agrees on
no load class; the load speaks the usual INPut, CURRent, MEASure.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import partial
from typing import Any

from runner.bench.link import QUEUE_LENGTH, Link
from runner.bench.off import Asked, OffWords
from runner.bench.replies import Reading
from runner.bench.sessions.listening import Listener
from runner.errors import BenchError, NotAReading, SettingError
from runner.sheets.dialect import CHANNELLED, Command, Dialect, Mode, Query

BUILT_IN: dict[str, Dialect] = {
    "supply": Dialect(
        kind="dialect",
        name="scpi",
        role="supply",
        commands={
            "set_voltage": Command(say="VOLT {value}"),
            "set_current": Command(say="CURR {value}"),
            "set_overvoltage": Command(say="VOLT:PROT {value}"),
            "set_overcurrent": Command(say="CURR:PROT {value}"),
            "output_on": Command(say="OUTP ON"),
            "output_off": Command(say="OUTP OFF"),
            CHANNELLED: Command(say="INST:NSEL {channel}"),
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
        commands={
            "set_current": Command(say="FUNC CURR;:CURR {value}"),
            "input_on": Command(say="INP ON"),
            "input_off": Command(say="INP OFF"),
        },
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
            "set_temperature": Command(say="TEMP:SPO {value}"),
            "set_rate": Command(say="TEMP:RATE {value}"),
            "set_limit": Command(say="TEMP:PROT:HIGH {value}"),
            "output_on": Command(say="OUTP ON"),
            "output_off": Command(say="OUTP OFF"),
            "select": Command(say='INST:SEL "{place}"'),
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
    """Speaks a dialect over a link: settings with their error queue, questions with strict replies.

    Several of them may share a link: whoever speaks holds it until all that belongs together is said.
    """

    def __init__(self, link: Link, dialect: Dialect, channel: str = "") -> None:
        self.link, self.dialect, self.channel = link, dialect, channel
        self.age = 0.0  # s of real time since the last reading was sent, where the instrument talks unasked

    def command(self, name: str, value: float = 0.0, place: str = "") -> None:
        """Send a command and look into the error queue. ``place``: which of several outputs ``select`` chooses.

        Raises LinkError or SettingError; then whether it was taken is known only from a read-back.
        """
        text = self._text(name, value, place)
        with self.link.held():
            self.link.tell(self._chosen() + text, self.dialect.acknowledge, **self._manners)
            if complaint := self.complaint():
                raise SettingError.complained(self.link.instrument, text, complaint)

    def set(self, what: str, value: float, tolerance: float) -> float:
        """Set a value and what it reads back as; the value itself where the dialect cannot read it back.

        Raises SettingError if it reads back as something further off than ``tolerance`` and a thousandth.
        """
        with self.link.held():
            self.command(f"set_{what}", value)
            if f"{what}_setting" not in self.dialect.queries:
                return value
            got = self.number(f"{what}_setting")
        if abs(got - value) > max(tolerance, 1e-3 * abs(value)):
            raise SettingError.reads_back(self.link.instrument, what, value, got)
        return got

    def switch(self, state: str, on: bool) -> None:
        """Switch the ``output`` or ``input`` and read it back where the dialect can.

        Raises BenchError; then it may be on, and has to be switched off.
        """
        with self.link.held():
            self.command(f"{state}_{'on' if on else 'off'}")
            if state in self.dialect.queries and bool(self.number(state)) != on:
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
            (self.dialect.queries[name].text, partial(self.number, name)) for name in names
        ]
        if len(names) > 1 and self.dialect.join is not None:
            trials.append((self.dialect.join.join(ask for ask, _ in trials), partial(self._joined, names)))
        if self.dialect.mode is not None:
            trials.append((self.dialect.mode.text, self.mode))
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

    def off_words(self, command: str, query: str, places: Iterable[str] = (), below: float = 0.0) -> OffWords:
        """What switches this instrument off and how it reads as off, ready to be sent. ValueError if the dialect is wrong.

        ``places``: its outputs, if it has several, each of which is chosen with ``select``. Of one whose current is read, that is
        asked as well, which is at most ``below`` A when it is off. Without either query, the command alone has to do.
        """
        text, dialect = self._text(command), self.dialect
        chooses = "select" in dialect.commands
        each = tuple(self._text("select", place=place) for place in dict.fromkeys(places) if chooses)
        if self._chooses:
            each = (self._text(CHANNELLED),)
        return OffWords(
            text,
            dialect.acknowledge,
            self._asked(query),
            self._asked("current", below),
            each or ("",),
            dialect.confirms,
            dialect.pause,
            dialect.join if self._chooses else None,
        )

    def _asked(self, name: str, most: float = 0.0) -> Asked | None:
        """A query as the way to off asks it; None if the dialect has none."""
        query = self.dialect.queries.get(name)
        if query is None:
            return None
        return Asked(query.text.format(channel=self.channel), _reading(query), most, query.within)

    def number(self, name: str) -> float:
        """One reading. Raises LinkError or NotAReading."""
        query = self.dialect.queries[name]
        return self._parsed(query, self._ask(query))

    def numbers(self, *names: str) -> list[float | NotAReading]:
        """Several readings in one message where the dialect allows it. Raises LinkError; bad numbers stand in the list."""
        queries = [self.dialect.queries[name] for name in names]
        if self.dialect.join is None:
            replies = self._one_by_one(queries)
        else:
            asks = [query.text.format(channel=self.channel) for query in queries]
            with self.link.held():
                replies = self.link.ask(self._chosen() + self.dialect.join.join(asks), len(asks))
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
        reply = self._ask(mode)
        if not mode.modes:
            return mode.of(int(self._parsed(mode, reply)))
        found = re.fullmatch(mode.pattern, reply)
        return mode.modes.get(found[1].strip(), "") if found else ""

    def _one_by_one(self, queries: list[Query]) -> list[str]:
        """Their replies; what several of them ask alike is asked once."""
        replies: dict[str, str] = {}
        for query in queries:
            if query.text not in replies:
                replies[query.text] = self._ask(query)
        return [replies[query.text] for query in queries]

    def _ask(self, query: Query) -> str:
        if isinstance(self.link, Listener):
            reply, self.age = self.link.newest(query.pattern)
            return reply
        text = query.text.format(channel=self.channel)
        with self.link.held():
            if query.within is None:
                return self.link.ask(self._chosen() + text)[0]
            return self.link.ask_until(self._chosen() + text, query.pattern, query.within)

    @property
    def _chooses(self) -> bool:
        return bool(self.channel) and CHANNELLED in self.dialect.commands

    def _chosen(self) -> str:
        """What has to stand before a message, so that it goes to this channel whatever was chosen before; perhaps it is sent."""
        if not self._chooses:
            return ""
        choice = self._text(CHANNELLED)
        if self.dialect.join is not None:
            return choice + self.dialect.join
        self.link.tell(choice, self.dialect.acknowledge, **self._manners)
        return ""

    @property
    def _manners(self) -> dict[str, Any]:
        """How a command is taken, where that is not the usual way."""
        dialect = self.dialect
        return {name: value for name, value in (("confirms", dialect.confirms), ("pause", dialect.pause)) if value}

    def _text(self, name: str, value: float = 0.0, place: str = "") -> str:
        command = self.dialect.commands[name]
        return command.text.format(value=command.written(value), channel=self.channel, place=place)

    def _parsed(self, query: Query, reply: str) -> float:
        value = _reading(query).value(reply)
        if value is None:
            raise NotAReading.reply(self.link.instrument, query.text, reply)
        return value


def _reading(query: Query) -> Reading:
    return Reading(query.pattern, query.scale, query.offset, query.number, query.bit, dict(query.means))
