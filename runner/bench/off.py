"""Switching one instrument off, from texts that were made ready before it was switched on.

The runner and the guard share this file: on the way to off nothing in it formats, looks up a dialect or loads a library.

Rule 1: off is confirmed by all that the instrument can tell: its state reads back off, and its own current is next to nothing. A
        state alone may be the order and not the output, as with a relay that sticks. A current may take a moment to go, or to be
        read as gone: it is looked at again. One that cannot be read holds nobody up whose state is off, and is said.
Rule 2: where the old connection fails, the command goes out once more on a new one, and no reply is waited for.
Rule 3: nothing here raises.
Rule 4: what was sent on a connection that was closed a moment ago may arrive behind off, where a network lies between: then off is
        said, and read back, once more when that is over.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from runner.bench.line import STOPS_SENDING, in_a_network
from runner.bench.link import Link
from runner.bench.replies import Reading

PAUSES = (0.0, 0.2, 0.5, 1.0, 2.0, 4.0)  # s before each attempt: a busy or rebooting interface needs a moment
LOOKS = (
    0.05,
    0.1,
    0.2,
    0.4,
    0.8,
    1.0,
)  # s before each while a current still flows: some read the mean of the last second
SURE = 2  # attempts in which the current of one that reads back off gave no number, until nobody waits for one
MOMENT = 0.1  # s: longer than a system is late with what it does after a time
NOT_CONFIRMED = "not confirmed off, may still be on"
WITHIN = 4.0  # s of real time after which no new attempt is begun: by then a person has to be told


def switch_off_by_hand(roles: Sequence[str], doubts: Mapping[str, str] | None = None) -> str:
    """What a person is told to do with the instruments (one at least) that did not confirm that they are off.

    ``doubts``: what else is known of one of them, by role.
    """
    known = {role: (doubts or {}).get(role) or NOT_CONFIRMED for role in roles}
    if len(known) == 1 or set(known.values()) == {NOT_CONFIRMED}:
        why = known[roles[0]]
    else:
        why = "; ".join(f"{role}: {doubt}" for role, doubt in known.items())
    return f"SWITCH {' AND '.join(roles).upper()} OFF BY HAND: {why}."


@dataclass(frozen=True)
class Asked:
    """A question, and how its reply is read. What is off reads ``most`` at most, either way.

    ``within``: for so many s, lines that are no reply are passed over.
    """

    ask: str
    reading: Reading
    most: float = 0.0
    within: float | None = None

    def shows_off(self, reply: str) -> bool:
        """Whether a reply is that of an instrument that is off. Never raises."""
        value = self.reading.value(reply)
        return value is not None and abs(value) <= self.most


@dataclass(frozen=True)
class OffWords:
    """The command, what it is acknowledged by (None: by nothing), and what is asked to know whether it is off.

    ``state``: whether it is on, in its own words (None: it cannot say). ``current``: the current through it, in A (None: none is
    read). With neither, the command alone has to do. ``each``: what chooses one of several outputs, all of which are switched
    off; ``join`` stands between a choice and the command in one message, None: they are two messages, between which somebody at
    the front may choose another output. ``confirms`` and ``pause``: how a command is taken (link.py).
    """

    command: str
    acknowledge: str | None
    state: Asked | None = None
    current: Asked | None = None
    each: tuple[str, ...] = ("",)
    confirms: str = ""
    pause: float = 0.0
    join: str | None = None

    @property
    def texts(self) -> tuple[str, ...]:
        """All that is sent, in its order, where nothing is waited for."""
        return tuple(text for choice in self.each for text in self.commands(choice))

    @property
    def ask(self) -> str:
        """What is asked first; empty if nothing can be."""
        asked = self.state or self.current
        return asked.ask if asked is not None else ""

    @property
    def reports(self) -> bool:
        """Whether the instrument itself says that it is off."""
        return self.state is not None

    def commands(self, choice: str) -> tuple[str, ...]:
        """What is sent to switch one output off, each a message."""
        if choice and self.join is not None:
            return (choice + self.join + self.command,)
        return tuple(text for text in (choice, self.command) if text)

    def question(self, choice: str, asked: Asked) -> str:
        """A question about one output."""
        return choice + self.join + asked.ask if choice and self.join is not None else asked.ask


@dataclass
class Proof:
    """What one instrument has told on its way off. It is kept up to date, so whoever stops waiting knows it too.

    ``off``: it reads back off, and nothing speaks against it. ``unread``: its current is still asked for, or gave no number.
    ``flows``: A that flowed, when its current was read last, though it was told to switch off, and read back so if it can.
    """

    off: bool = False
    unread: bool = False
    flows: float | None = None

    def doubt(self, words: OffWords) -> str:
        """Why a person is called, if it is more than that nothing confirmed it."""
        if self.flows is None:
            return ""
        return f"{'reads back off' if words.reports else 'told to switch off'}, but {abs(self.flows):.2f} A still flow"


def attempt(link: Link, words: OffWords, proof: Proof | None = None) -> bool:
    """One attempt. True if it reads back as off, every output of it. Never raises."""
    proof = Proof() if proof is None else proof
    link.hurry()
    try:
        if link.unsettled:  # what is asked has to wait until the line is silent; off does not
            link.shout(*words.texts)
            link.hurry()
        off = True
        for choice in words.each:
            with link.held():
                for text in words.commands(choice):
                    link.tell(text, words.acknowledge, confirms=words.confirms, pause=words.pause)
                off = off and _reads_off(link, words, choice, proof)
        proof.off = off
        return off
    except Exception:  # a BenchError, or a defect: whatever it is, the command has to go out
        proof.off = proof.unread = False
        with contextlib.suppress(Exception):
            link.shout(*words.texts)
        return False


def insist(link: Link, words: OffWords, pause: Callable[[float], None], proof: Proof | None = None) -> bool:
    """Attempts with pauses between them, for about WITHIN seconds of real time. True if it reads back as off. Never raises."""
    proof = Proof() if proof is None else proof
    until = time.monotonic() + WITHIN
    pauses, looks, unread = iter(PAUSES), iter(LOOKS), 0
    while (seconds := next(pauses if proof.flows is None else looks, None)) is not None:
        if seconds and time.monotonic() + seconds > until:
            break
        with contextlib.suppress(Exception):
            pause(seconds)
        off = attempt(link, words, proof)
        unread += proof.unread
        if off and (not proof.unread or unread >= SURE) and not _echoes(link, words, pause, proof):
            return True
    return proof.off and proof.unread


def stays_off(link: Link, words: OffWords) -> bool:
    """Whether it reads back as off still, without being told once more; True where it cannot be asked. Never raises."""
    try:
        with link.held():
            return all(_reads_off(link, words, choice, Proof()) for choice in words.each)
    except Exception:
        return False


def _reads_off(link: Link, words: OffWords, choice: str, proof: Proof) -> bool:
    """Whether all that it can be asked says that this output is off; True where that is nothing. Raises BenchError."""
    state, current, said = words.state, words.current, ""
    if state is not None:
        said = _reply(link, words.question(choice, state), state)
        if not state.shows_off(said):
            proof.off, proof.unread, proof.flows = False, False, None
            return False
    if current is None:
        return True
    proof.off = proof.unread = state is not None and proof.flows is None
    if state is None or state.ask != current.ask:
        said = _of_current(link, words.question(choice, current), current, alone=state is None)
    amperes = current.reading.value(said)
    if amperes is None:
        return proof.off
    proof.unread, proof.flows = False, None if current.shows_off(said) else amperes
    proof.off = proof.flows is None
    return proof.off


def _of_current(link: Link, question: str, asked: Asked, *, alone: bool) -> str:
    """The reply about the current; none is "", unless there is nothing else to go by: then it raises BenchError."""
    closed = link.session.closed
    try:
        return _reply(link, question, asked)
    except Exception:
        if alone:
            raise
        link.session.closed = closed  # all that was sent before was answered: only this question can arrive late
        return ""


def _reply(link: Link, question: str, asked: Asked) -> str:
    if asked.within is None:
        return link.ask(question)[0]
    return link.ask_until(question, asked.reading.pattern, asked.within)


def _echoes(link: Link, words: OffWords, pause: Callable[[float], None], proof: Proof) -> bool:
    """Whether it is on again, or not known to be off, once nothing of a closed connection can arrive any more."""
    if not in_a_network(link.address):
        return False
    while (left := link.session.closed + STOPS_SENDING + MOMENT - time.monotonic()) > 0:
        with contextlib.suppress(Exception):
            pause(left)
        if not attempt(link, words, proof):
            return True
    return False
