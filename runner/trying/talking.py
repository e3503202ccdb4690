"""Talking to one instrument line by line: what goes out, what comes back and when, and what is understood of it.

Rule 1: the instrument's lock is held, and a guard stands by, as in a run.
Rule 2: however it ends, what can be switched off is switched off and read back; where no connection was ever made, that is said.
Rule 3: a word of the dialect that sets something keeps to the limits of the bench file; a text of one's own cannot be looked into.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TextIO

from runner.bench.dialect import Driver
from runner.bench.line import Transport
from runner.bench.wired import wiring
from runner.conduct.clock import ScaledClock
from runner.conduct.guarding import Watched
from runner.conduct.interfaces import RunOutcome
from runner.conduct.site import Site
from runner.errors import BenchError, Problem, SheetError, printable
from runner.sheets.bench import BenchFile
from runner.sheets.instrument_parts import InstrumentSheet
from runner.sheets.instruments import UNITS
from runner.vocabulary import Exit
from runner.workspace.job import load_bench
from runner.workspace.locks import Locks

LONGEST_PAUSE = 3600.0  # s that a person may think before the guard takes the program for hung
HELP = 'Type a word of the dialect, such as {example}; "? TEXT" asks, "! TEXT" sends; "words" lists them; "end" ends.'
OVERHEARD = 0.3  # s of silence after which an answer that nobody asked for is taken to be over
SWITCH_ON = ("output_on", "input_on")
SETS_THE_OUTPUT = (
    "voltage",
    "current",
    "temperature",
    "limit",
)  # what may not be beyond the bench file when it goes on
ROUNDING = 1e-3  # of a limit that an instrument was set to, when it reads it back
END = ("end", "quit", "exit")


class Tapped:
    """A transport that shows every byte that passes, with the time since the line was typed in ms."""

    def __init__(self, transport: Transport, show: Callable[[str, bytes], None]) -> None:
        self._transport, self._show = transport, show

    @property
    def blocks(self) -> bool:
        """As the transport's."""
        return self._transport.blocks

    @property
    def sees_unread(self) -> bool:
        """As the transport's."""
        return self._transport.sees_unread

    def open(self, seconds: float) -> None:
        """As the transport's."""
        self._transport.open(seconds)

    def write(self, message: bytes) -> None:
        """As the transport's, shown."""
        self._show("sent", message)
        self._transport.write(message)

    def read(self, limit: int, seconds: float) -> bytes:
        """As the transport's, shown."""
        came = self._transport.read(limit, seconds)
        self._show("received", came)
        return came

    def close(self) -> None:
        """As the transport's."""
        self._transport.close()


class Talk:
    """One conversation of a person with an instrument. ``lines`` are what is typed, ``out`` takes what is shown."""

    def __init__(self, role: str, sheet: InstrumentSheet, out: TextIO) -> None:
        self.role, self.sheet, self._out = role, sheet, out
        self._began = time.monotonic()

    def connect(self, backend: str) -> Callable[[str, InstrumentSheet], Transport]:
        """What makes transports that show what passes."""
        return lambda role, sheet: Tapped(wiring(sheet, backend).transport(), self._show)

    def reach(self, speaker: Driver) -> None:
        """Connect before anything is typed, and say if that fails."""
        try:
            speaker.link.reach()
        except BenchError as fault:
            self.say(f"  not connected: {fault}\n  Every line that is typed tries again.")

    def line(self, text: str, speaker: Driver) -> None:
        """Do what one line says, and say what was understood."""
        self._began = time.monotonic()
        try:
            if not speaker.dialect.listen:
                speaker.link.reach()
            said = self._done(text, speaker)
        except BenchError as fault:
            said = f"failed: {fault}"
        self.say(f"  {said}")

    def say(self, text: str) -> None:
        """A line to the person."""
        print(text, file=self._out, flush=True)

    def _done(self, text: str, speaker: Driver) -> str:
        word, _, rest = text.partition(" ")
        dialect = speaker.dialect
        if word == "?":
            return f"reply: '{printable(speaker.link.ask(rest)[0])}'"
        if word == "!":
            speaker.link.tell(rest)
            speaker.link.overhear(OVERHEARD)
            return "sent; what came after it is shown and taken for nothing"
        if word == "words":
            return ", ".join([*dialect.commands, *dialect.queries, *(["mode"] if dialect.mode else [])])
        if word == "mode" and dialect.mode is not None:
            return f"mode = {speaker.mode() or 'neither CV nor CC'}"
        if word in dialect.queries:
            unit = UNITS.get(word.removesuffix("_setting"), "")
            return f"{word} = {speaker.number(word):.6g} {unit}".rstrip()
        if word not in dialect.commands:
            return f'{word!r} is no word of this dialect; "words" lists them, "? {text}" asks just that'
        return self._commanded(word, rest.strip(), speaker)

    def _commanded(self, word: str, rest: str, speaker: Driver) -> str:
        if not word.startswith("set_"):
            if refused := self._beyond(word, speaker):
                return refused
            speaker.command(word, place=rest)
            return "done"
        try:
            value = float(rest)
        except ValueError:
            return f"{word} needs a number, such as {word} 1.5"
        what = word.removeprefix("set_")
        least, most = self.sheet.bounds.get(what, (0.0, math.inf))
        if value > most:
            return f"not sent: {value:g} is more than the {most:g} that the bench file allows"
        if not value >= least:
            return f"not sent: {rest} is no {what} that is set here; it has to be {least:g} or more"
        speaker.command(word, value)
        if f"{what}_setting" not in speaker.dialect.queries:
            return "done; it cannot be read back"
        return f"reads back {speaker.number(f'{what}_setting'):.6g}"

    def _beyond(self, word: str, speaker: Driver) -> str:
        """Why it is not switched on: what is set at it, at its front perhaps, is outside of what the bench file allows."""
        if word not in SWITCH_ON:
            return ""
        for what, (least, most) in self.sheet.bounds.items():
            if what in SETS_THE_OUTPUT and f"{what}_setting" in speaker.dialect.queries:
                value = speaker.number(f"{what}_setting")
                if not least <= value <= most + ROUNDING * abs(most):
                    return f"not sent: its {what} is set to {value:g}, outside {least:g} to {most:g} of the bench file"
        return ""

    def _show(self, what: str, content: bytes) -> None:
        text = printable(content.decode("latin1"))
        self.say(f"  {(time.monotonic() - self._began) * 1e3:8.1f} ms  {what:8}  '{text}'")


def talk(path: Path, role: str, typed: TextIO, out: TextIO) -> int:
    """Talk to an instrument of a bench file until the input ends; the exit status. Raises SheetError, Busy or GuardMissing."""
    file, sheet, dialects = load_bench(path)
    wired = sheet.wired()
    if role not in wired:
        known = ", ".join(wired) or "none"
        raise SheetError(
            [Problem(file.name, 0, 0, f"no instrument {role!r} with an address", f"choose one of: {known}")]
        )
    alone = sheet.alone(role)
    speaks = {name: dialect for name, dialect in dialects.items() if name == role}
    with Locks(f"talking to the {role}") as locks:
        locks.instrument(role, wired[role].address)
        conversation = Talk(role, wired[role], out)
        site = Site(ScaledClock(), conversation.connect(sheet.backend), locks, guarded=True)
        with Watched(alone, speaks, site) as watched:
            watched.armed(None)  # nothing is recorded, and there is nothing to resume
            return _until_the_end(conversation, watched, alone, typed)


def _until_the_end(conversation: Talk, watched: Watched, sheet: BenchFile, typed: TextIO) -> int:
    role = conversation.role
    speaker = watched.bench.speakers[role]
    watched.begins()
    conversation.say(f"{role} at {sheet.wired()[role].address}, dialect {speaker.dialect.name}")
    conversation.say(HELP.format(example=next(iter(speaker.dialect.queries), "output_off")))
    try:
        if not speaker.dialect.listen:
            conversation.reach(speaker)
        _take_lines(conversation, watched, speaker, typed)
    except KeyboardInterrupt:
        conversation.say("interrupted")
    finally:
        left = _left_off(conversation, watched, speaker)
    return Exit.PASS if left else Exit.ENDED_EARLY


def _left_off(conversation: Talk, watched: Watched, speaker: Driver) -> bool:
    """Whether there was a conversation, and what could be switched on in it is off again."""
    if not speaker.link.session.reached:
        conversation.say(f"no connection was ever made: nothing was sent, and the {conversation.role} is as it was")
        watched.ended(RunOutcome(early=True, safe=True, reason="", off=True))
        return False
    confirmed, remark = watched.bench.off()
    watched.ended(RunOutcome(early=False, safe=confirmed, reason="", off=confirmed, urgent=remark))
    words = watched.bench.off_words.get(conversation.role)
    if words is not None:
        proved = "off was sent; it cannot be read back"
        if words.ask:
            proved = "off, read back" if words.reports else "off was sent, and no current flows"
        conversation.say(remark or proved)
    return confirmed


def _take_lines(conversation: Talk, watched: Watched, speaker: Driver, typed: TextIO) -> None:
    guard = watched.watch
    if guard is not None:
        guard.own()
    while True:
        if guard is not None:
            guard.beat(LONGEST_PAUSE)
        if typed.isatty():
            print(f"{conversation.role}> ", end="", file=sys.stderr, flush=True)
        line = typed.readline()
        text = line.strip()
        if not line or text in END:
            return
        if text:
            conversation.line(text, speaker)
