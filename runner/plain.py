"""The operator on standard input and output, line by line: for ssh, logs, screen readers and scripts.

It says everything the screen says. Nothing here blocks: a thread reads the input, the run asks what has come.
"""

from __future__ import annotations

import math
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from typing import TextIO

from runner.conduct.answer_parsing import GO_WORDS, NotUnderstood, hint, is_stop, marks_current, stopped_by, understood
from runner.conduct.interfaces import StopFlag
from runner.conduct.log_lines import said, stamp
from runner.engine.opening import CAUTIONS
from runner.engine.steps.clamp import FARTHEST
from runner.engine.steps.switches import SIGHTS
from runner.engine.view import View
from runner.errors import OperatorGone
from runner.events import CHARGE, CURRENT_OF, METER_VOLTAGE, PROBE_TEMPERATURE, VOLTAGE_OF, Answered, Event, Sampled
from runner.orders import Ask, AskTaps, Order, Withdraw, next_degree
from runner.scale import as_read, celsius, degrees, per_minute
from runner.vocabulary import CURRENT_KEY, as_told

DISPLAYS_EVERY = 5.0  # s, where a person reads simulated displays in these lines
AGREE = 3.0  # K from a degree that was too far: when it is typed once more it has moved on
MISSED = "[Enter] at each whole degree. If one was missed: type the degree that it shows, then [Enter]."
ASIDE, TIME_OF_DAY = 15, 9  # columns before a line that belongs to the one before, and of the time of day
REACTION = 0.6  # s after a question is printed: an Enter pressed sooner was meant for something before it
APART = 2.0  # s after the last line: an end of the input that comes then is a connection that was lost, no end of a prepared text
PROGRESS_EVERY = 60.0  # s of the run's time between two lines of readings


LEGEND = (
    "HOLD: answer this · DO: what to do or keep clear of · STEP, RAMP, LEVEL: what begins · READ: readings",
    "WATCH: what the current does · RESULT: how a step ended (STOPPED: the current stopped, RETURNED: it flows again,",
    "VOLTAGE BACK: the terminals carry voltage again) · FOUND: first result of a sensor · NOTED: kept as evidence",
    "INFO: worth knowing · END: the run is over",
    "To stop at any time: type x and press Enter, or press Ctrl-C.",
)


class Printer:
    """Prints what the run says. ``cautions`` and ``prepare`` are printed before the first question."""

    def __init__(
        self,
        cautions: Sequence[str],
        prepare: Sequence[str],
        out: TextIO | None = None,
        utc: Callable[[], str] | None = None,
    ) -> None:
        """``utc`` gives the moment as the journal writes it (UTC, ISO 8601); then each line begins with the time of day."""
        self._out = out or sys.stdout
        self._utc, self._date = utc, ""
        self._cautions, self._prepare = cautions, prepare
        self._last_progress = -1e9
        self.every = PROGRESS_EVERY
        self._said = ""
        self._first: list[str] = []

    def line(self, text: str) -> None:
        """Raises OperatorGone where nobody can read it any more."""
        lines, self._first = [*self._first, text], []
        try:
            print(*lines, sep="\n", file=self._out, flush=True)
        except OSError as error:
            raise OperatorGone.output_closed() from error

    def begin(self, text: str) -> None:
        """The first line, and when it began: both come with what is said next, so that what is refused has not begun."""
        self._first = [text]
        if self._utc is not None:
            self._date, clock = self._day_and_time()
            self._first += [f"Begun {self._date} {clock} UTC. Each line: time of day (UTC), run time, what happened."]

    def timed(self, t: float, text: str) -> None:
        """A line with the time of day, where that is known, and the run's time ``t`` in s."""
        if self._utc is None:
            self.line(f"{stamp(t)}  {text}")
            return
        day, clock = self._day_and_time()
        if day != self._date:
            self._date = day
            self.line(f"{day} UTC")
        self.line(f"{clock} {stamp(t)}  {text}")

    def aside(self, text: str) -> None:
        """A line that belongs to the one before it."""
        self.line(f"{' ' * (ASIDE if self._utc is None else ASIDE + TIME_OF_DAY)}{text}")

    def _day_and_time(self) -> tuple[str, str]:
        assert self._utc is not None
        day, _, rest = self._utc().partition("T")
        return day, rest[: TIME_OF_DAY - 1]

    def told(self, what: Order | Event, t: float) -> None:
        """One order or event of those that concern a person, as a line."""
        if isinstance(what, Ask) and what.question == CAUTIONS:
            self._before_the_first()
        for text in said(what):
            if text != self._said:  # what the end of a run orders once more was ordered a line before
                self.timed(t, text)
            self._said = text

    def show(self, look: Callable[[], View], t: float) -> None:
        """A line of readings now and then; a view is built only where one may be due."""
        if t - self._last_progress < self.every:
            return
        view = look()
        if view.t - self._last_progress < self.every or not view.output_on:
            return
        self._last_progress = view.t
        if view.readings or view.lost:  # with nothing on a cable there is nothing to say
            self.timed(view.t, f"READ   {readings_line(view)}")

    def _before_the_first(self) -> None:
        self.line("CAUTIONS")
        for caution in self._cautions:
            self.line(f"  ! {caution}")
        if self._prepare:
            self.line("BEFORE YOU BEGIN")
        for item in self._prepare:
            self.line(f"  - {item}")
        for text in LEGEND:
            self.line(text)


def readings_line(view: View) -> str:
    """The readings of a view in one line; what was not read is named as missing."""
    parts = []
    path = view.path or CHARGE
    for channel, text in (
        (PROBE_TEMPERATURE, "{:.2f} {}"),
        (CURRENT_OF[path], "{:.3f} A"),
        (VOLTAGE_OF[path], "{:.2f} V"),
        (METER_VOLTAGE, "{:.3f} V at the pack"),
    ):
        if channel in view.lost:
            parts.append(f"{channel} NOT READ")
        elif channel in view.readings:
            age = view.mark_age if channel == PROBE_TEMPERATURE else None
            value = as_read(view.readings[channel], "°C") if channel == PROBE_TEMPERATURE else (view.readings[channel],)
            parts.append(text.format(*value) + ("" if age is None else f" (mark {age:.0f} s ago)"))
    if view.rate is not None:
        parts.append(per_minute(view.rate, "+.2f"))
    if view.coach is not None and view.coach.word in ("slower", "faster"):
        parts.append(f"GO {view.coach.word.upper()}")
    return ", ".join([*parts, as_told(view.word)])


class PlainOperator:
    """A person at a terminal, or lines from a pipe. Enter goes on, "stop" stops; a person may write it at any time.

    What a person types while nothing is asked, or before they can have read what is asked, agrees to nothing; lines from a pipe
    wait for their question. A pipe may have a person at its other end: a stop word that comes while nothing is asked and nothing
    waits counts at once, and so does the end of the input some time after the last line.
    """

    def __init__(self, printer: Printer, stop: StopFlag, name: str, source: TextIO | None = None) -> None:
        self._printer, self._stop, self._name = printer, stop, name
        self._lines: deque[tuple[float, str | None]] = deque()  # with the moment of each, on ``now``
        self._typed_at = 0.0  # the moment of the last one
        self._hung_up = False  # the end of the input came while nothing was asked, and nothing waited
        self.now: Callable[[], float] = time.monotonic
        self._asked_at = 0.0
        self._asked: Ask | None = None
        self._taps: AskTaps | None = None
        self._degree = 0.0
        self._far: float | None = None  # a degree that was typed, and is far from the next mark
        self._ended = False
        self._person = (source or sys.stdin).isatty()  # else lines wait in a pipe until something is asked
        self._reader = threading.Thread(target=self._read, args=(source or sys.stdin,), name="plain input", daemon=True)

    def told(self, order: Order, t: float) -> None:
        self._printer.told(order, t)
        if isinstance(order, AskTaps):
            self._taps = order if order.step else None
            self._degree = order.first
            if order.step:
                self._printer.aside(MISSED)
                if self._asked is not None and marks_current(self._asked, order):
                    self._printer.aside(hint(self._asked, two=True))
        if isinstance(order, Withdraw) and self._asked is not None and self._asked.question == order.question:
            self._asked = None
        if isinstance(order, Ask):
            self._asked = order
            if self._reader.ident is None:
                self._reader.start()  # not before: what was typed earlier agreed to nothing
            self._printer.aside(hint(order, two=marks_current(order, self._taps)))
            self._asked_at = self.now()

    def show(self, look: Callable[[], View], t: float) -> None:
        self._printer.show(look, t)

    def answers(self, t: float) -> list[Answered | Sampled]:
        found: list[Answered | Sampled] = []
        if self._hung_up:
            self._hung_up, self._ended = False, True
            raise OperatorGone.input_ended("")
        while self._lines and (self._asked is not None or self._person or self._taps):
            at, line = self._lines.popleft()
            if line is None:
                self._ended = True
                break
            found += self._understood(line.strip(), t, too_soon=self._person and at < self._asked_at + REACTION)
        if self._ended and self._asked is not None:
            raise OperatorGone.input_ended(self._asked.say)
        return found

    def _understood(self, text: str, t: float, *, too_soon: bool) -> list[Answered | Sampled]:
        if is_stop(self._asked, text):
            self._stop.press(stopped_by(self._name, text))
            return []
        sight = self._asked is not None and self._asked.of in SIGHTS and text.lower() == CURRENT_KEY
        words = sight or (self._asked is not None and text and text.lower() in GO_WORDS)
        if (self._asked is None or marks_current(self._asked, self._taps)) and self._taps is not None and not words:
            return self._degrees(text, t, self._taps, too_soon=too_soon)
        if sight:
            text, too_soon = "", False  # a letter of its own, which nobody presses for another question
        if self._asked is None:
            self._printer.aside("no question is open; to end the run, type x and press Enter")
            return []
        if too_soon:
            self._printer.aside(
                "that came too soon after the question, so it is not taken; read the question and answer again"
            )
            return []
        try:
            reply = understood(self._asked, text)
        except NotUnderstood as error:
            self._printer.aside(str(error))
            return []
        question, self._asked = self._asked.question, None
        return [Answered(t, question, reply.value, self._name, reply.note, reply.files)]

    def _degrees(self, text: str, t: float, taps: AskTaps, *, too_soon: bool) -> list[Answered | Sampled]:
        """A mark: Enter, or the degree that it shows where one was missed."""
        if text and not self._other_degree(text):
            return []
        if not text and too_soon and self._degree == taps.first:
            self._printer.aside("that came too soon for the first mark, so it is not taken")
            return []
        self._far = None
        return [self._tapped(t)]

    def _other_degree(self, text: str) -> bool:
        """Whether a degree was typed that is to be marked; one that is far from the next mark is, when it comes twice."""
        try:
            degree = celsius(float(text.replace(",", ".")))
        except ValueError:
            degree = math.nan
        if not math.isfinite(degree):
            two = [] if self._asked is None else [hint(self._asked, two=True)]
            self._printer.aside(" ".join([f"{text!r} is no degree; nothing was marked.", *(two or [MISSED])]))
            return False
        far, self._far = self._far, None
        if abs(degree - self._degree) > FARTHEST and (far is None or abs(degree - far) > AGREE):
            self._far = degree
            what = f"{degrees(degree, '.4g')} is far from {degrees(self._degree, '.0f')}, the next mark; nothing was marked"
            self._printer.aside(f"{what}. If it is what the thermometer shows, type it once more.")
            return False
        self._degree = degree
        return True

    def _tapped(self, t: float) -> Sampled:
        assert self._taps is not None
        degree, self._degree = self._degree, next_degree(self._degree, self._taps.step)
        self._printer.aside(degrees(degree, ".0f"))
        return Sampled(t, {PROBE_TEMPERATURE: degree}, by_hand=True)

    def _read(self, source: TextIO) -> None:
        try:
            for line in source:
                self.typed(line)
        except (OSError, ValueError):
            pass  # the terminal is gone: the end of the input
        self.typed(None)

    def typed(self, line: str | None) -> None:
        """A line has come, or None: the end of the input."""
        now, alone = self.now(), self._asked is None and not self._lines
        if alone and line is None and now - self._typed_at > APART:
            self._hung_up = True
        elif alone and line is not None and is_stop(None, line.strip()):
            self._stop.press(stopped_by(self._name, line.strip()))
        else:
            self._lines.append((now, line))
        self._typed_at = now
