"""Switching one instrument off, from texts that were made ready before it was switched on.

The runner and the guard share this file: on the way to off nothing in it formats, looks up a dialect or loads a library.

Rule 1: off is confirmed only by a read-back that means off; of an instrument that has none, by its current, if it reads that.
Rule 2: where the old connection fails, the command goes out once more on a new one, and no reply is waited for.
Rule 3: nothing here raises.
Rule 4: what was sent on a connection that was closed a moment ago may arrive behind off, where a network lies between: then off is
        said, and read back, once more when that is over.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from runner.bench.line import STOPS_SENDING, in_a_network
from runner.bench.link import Link
from runner.bench.replies import Reading

PAUSES = (0.0, 0.2, 0.5, 1.0, 2.0, 4.0)  # s before each attempt: a busy or rebooting interface needs a moment
MOMENT = 0.1  # s: longer than a system is late with what it does after a time
WITHIN = 4.0  # s of real time after which no new attempt is begun: by then a person has to be told


def switch_off_by_hand(roles: Sequence[str]) -> str:
    """What a person is told to do with the instruments (one at least) that did not confirm that they are off."""
    return f"SWITCH {' AND '.join(roles).upper()} OFF BY HAND: not confirmed off, may still be on."


@dataclass(frozen=True)
class OffWords:
    """The command, what it is acknowledged by (None: by nothing), the question, and how its reply is read.

    ``reply`` is a pattern with one group, the number; ``scale`` and what follows it say how that is read; zero means off. An empty
    ``ask``: nothing can be asked, and the command alone has to do. ``each``: what chooses one of several outputs, all of which
    are switched off; ``join`` stands between a choice and the command in one message, None: they are two messages, between which
    somebody at the front may choose another output. ``below``: it cannot say whether it is on, and the question is for its current,
    which is at most so many A when it is off. ``confirms`` and ``pause``: how a command is taken (link.py).
    """

    command: str
    acknowledge: str | None
    ask: str
    reply: str
    scale: float = 1.0
    each: tuple[str, ...] = ("",)
    confirms: str = ""
    pause: float = 0.0
    offset: float = 0.0
    number: str = "decimal"
    bit: int | None = None
    means: Mapping[str, float] = field(default_factory=dict)
    join: str | None = None
    below: float | None = None

    @property
    def texts(self) -> tuple[str, ...]:
        """All that is sent, in its order, where nothing is waited for."""
        return tuple(text for choice in self.each for text in self.commands(choice))

    @property
    def reports(self) -> bool:
        """Whether the instrument itself says that it is off."""
        return bool(self.ask) and self.below is None

    def commands(self, choice: str) -> tuple[str, ...]:
        """What is sent to switch one output off, each a message."""
        if choice and self.join is not None:
            return (choice + self.join + self.command,)
        return tuple(text for text in (choice, self.command) if text)

    def question(self, choice: str) -> str:
        """What is asked to know whether this output is off; empty if nothing can be."""
        return choice + self.join + self.ask if choice and self.ask and self.join is not None else self.ask

    def mean_off(self, reply: str) -> bool:
        """Whether a reply says that it is off. Never raises."""
        reading = Reading(self.reply, self.scale, self.offset, self.number, self.bit, self.means)
        value = reading.value(reply)
        return value == 0.0 if self.below is None or value is None else abs(value) <= self.below


def attempt(link: Link, words: OffWords) -> bool:
    """One attempt. True if it reads back as off, every output of it. Never raises."""
    link.hurry()
    off = True
    try:
        if link.unsettled:  # what is asked has to wait until the line is silent; off does not
            link.shout(*words.texts)
            link.hurry()
        for choice in words.each:
            with link.held():
                for text in words.commands(choice):
                    link.tell(text, words.acknowledge, confirms=words.confirms, pause=words.pause)
                off = off and (not words.ask or words.mean_off(link.ask(words.question(choice))[0]))
        return off
    except Exception:  # a BenchError, or a defect: whatever it is, the command has to go out
        with contextlib.suppress(Exception):
            link.shout(*words.texts)
        return False


def insist(link: Link, words: OffWords, pause: Callable[[float], None]) -> bool:
    """Attempts with pauses between them, for about WITHIN seconds of real time. True if it reads back as off. Never raises."""
    until = time.monotonic() + WITHIN
    for seconds in PAUSES:
        if seconds and time.monotonic() + seconds > until:
            return False
        with contextlib.suppress(Exception):
            pause(seconds)
        if attempt(link, words) and not _echoes(link, words, pause):
            return True
    return False


def stays_off(link: Link, words: OffWords) -> bool:
    """Whether it reads back as off still, without being told once more; True where it cannot be asked. Never raises."""
    try:
        with link.held():
            return not words.ask or all(words.mean_off(link.ask(words.question(each))[0]) for each in words.each)
    except Exception:
        return False


def _echoes(link: Link, words: OffWords, pause: Callable[[float], None]) -> bool:
    """Whether it is on again, or not known to be off, once nothing of a closed connection can arrive any more."""
    if not in_a_network(link.address):
        return False
    while (left := link.session.closed + STOPS_SENDING + MOMENT - time.monotonic()) > 0:
        with contextlib.suppress(Exception):
            pause(left)
        if not attempt(link, words):
            return True
    return False
