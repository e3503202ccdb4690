"""How messages and replies are cut out of a stream of bytes, and a conversation that keeps to it.

A conversation belongs to one opening of one transport; all its calls are made in the line's own thread.

Rule 1: before a question nothing may be waiting. Bytes there are an old reply, somebody else's, or noise.
Rule 2: where a new connection does not get rid of an old reply (a serial line), nothing is asked before the line has been
        silent for ``quiet``; what comes meanwhile is thrown away.
Rule 3: an echo has to be what was sent, byte for byte. It is the only check that such a line has.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

from runner.bench.line import Transport
from runner.errors import LinkError

MOST_BYTES = 64 * 1024  # of a reply
LOOK_EVERY = 0.05  # s
PATIENT = 3.0  # how many times ``quiet`` a line may take to fall silent


@dataclass(frozen=True)
class Framing:
    """``prefix`` stands before every message (which of several on one line is meant), ``write_end`` follows it,
    ``read_end`` every reply; characters of Latin-1, so that they travel as JSON.

    ``length``: a reply is so many bytes; without it and without ``read_end``, a reply ends when nothing has come for
    ``silence``. ``echo``: the instrument sends back what it hears. Times in s: ``gap`` between two messages, ``wake`` from
    opening to the first message, ``quiet`` as in rule 2 (0: a new connection has nothing of the old one).
    """

    prefix: str = ""
    write_end: str = "\n"
    read_end: str = "\n"
    length: int = 0
    silence: float = 0.05
    echo: bool = False
    gap: float = 0.0
    wake: float = 0.0
    quiet: float = 0.0

    @property
    def settling(self) -> float:
        """s that a new connection may take at most until something may be asked."""
        return self.wake + PATIENT * self.quiet

    def sent(self, message: str) -> bytes:
        """A message as it goes out."""
        return (message + self.write_end).encode("latin1", "replace")


class Conversation:
    """Messages and replies over an open transport, until something goes wrong; then a new one has to be made."""

    def __init__(self, transport: Transport, framing: Framing) -> None:
        self.transport, self.framing = transport, framing
        self._unread = b""  # what came behind the last reply's end
        self.hurried = False  # somebody has something to switch off: that does not wait for silence
        self._free_at = 0.0  # on the machine's monotonic clock: the instrument takes nothing before

    def wake(self) -> None:
        """Give the instrument the time it needs after the opening."""
        if self.framing.wake:
            time.sleep(self.framing.wake)

    def settle(self, instrument: str) -> None:
        """Wait until the line has been silent for ``quiet``.

        Raises LinkError if it does not fall silent, ConnectionError if it is ``hurried``.
        """
        quiet = self.framing.quiet
        if not quiet:
            return
        looked, last = 0.0, time.monotonic()  # s of looking: what this program was held up meanwhile does not count
        while True:
            now = time.monotonic()
            left = quiet - (now - last)
            if left > 0 and looked > PATIENT * quiet - quiet:
                raise LinkError.never_silent(instrument, looked)
            if self.hurried:
                raise ConnectionError("given up, something has to be switched off")
            try:
                if self.transport.read(4096, min(LOOK_EVERY, max(left, 0.0))):
                    last = time.monotonic()
            except TimeoutError:
                if left <= 0:  # only a look at the end shows it
                    return
            looked += min(time.monotonic() - now, LOOK_EVERY)

    def tell(self, message: str, until: float, instrument: str) -> None:
        """Send a message that has no reply. ``until`` is on the machine's monotonic clock, in s. Raises what goes wrong."""
        self._wait()
        if self._unread or self.framing.echo:
            self._check_nothing_waits(message, instrument)
        self._send(message)
        if self.framing.echo:
            self._unread = self._behind_echo(message, until, instrument)
        self._rest()

    def hand_over(self, message: str) -> None:
        """Send a message and look for nothing, not even its echo."""
        self._wait()
        self._send(message)
        self._rest()

    def ask(self, message: str, until: float, instrument: str) -> bytes:
        """Send a question; its reply without its end. Raises TimeoutError, ConnectionError, LinkError or what a backend raises."""
        self._wait()
        if self._unread or self.transport.sees_unread:
            self._check_nothing_waits(message, instrument)
        self._send(message)
        came = self._behind_echo(message, until, instrument) if self.framing.echo else b""
        reply = self._reply(came, message, until, instrument)
        self._rest()
        return reply

    def overhear(self, silence: float) -> None:
        """Take what still comes, until nothing has come for ``silence`` (s). Raises ConnectionError or what a backend raises."""
        self._unread, ends = b"", time.monotonic() + PATIENT * silence
        while self.transport.sees_unread and time.monotonic() < ends:
            try:
                self.transport.read(4096, silence)
            except TimeoutError:
                return

    def listen(self, until: float, instrument: str) -> bytes:
        """What comes next by itself, whole. Raises as ``ask`` does."""
        return self._reply(b"", "", until, instrument)

    # ---- one message, one reply ------------------------------------------------------------------------------

    def _wait(self) -> None:
        """Until the instrument takes a message; what comes meanwhile is looked for after it."""
        if self.framing.gap:
            time.sleep(max(0.0, self._free_at - time.monotonic()))

    def _send(self, message: str) -> None:
        self.transport.write(self.framing.sent(message))

    def _rest(self) -> None:
        if self.framing.gap:
            self._free_at = time.monotonic() + self.framing.gap

    def _behind_echo(self, message: str, until: float, instrument: str) -> bytes:
        """What has come behind the echo of a message."""
        sent = self.framing.sent(message)
        came, self._unread = self._unread, b""
        while len(came) < len(sent):
            came = self._more(came, message, until, instrument)
            if not sent.startswith(came[: len(sent)]):
                raise LinkError.wrong_echo(instrument, message, came.decode("latin1"))
        return came[len(sent) :]

    def _reply(self, came: bytes, message: str, until: float, instrument: str) -> bytes:
        end, length = self.framing.read_end.encode("latin1"), self.framing.length
        came, self._unread = self._unread + came, b""
        if length:
            while len(came) < length:
                came = self._more(came, message, until, instrument)
            self._unread = came[length:]
            return came[:length]
        if not end:
            return self._until_silent(came, message, until, instrument)
        while end not in came:
            came = self._more(came, message, until, instrument)
        first, _, self._unread = came.partition(end)
        return first

    def _until_silent(self, came: bytes, message: str, until: float, instrument: str) -> bytes:
        while not came:
            came = self._more(came, message, until, instrument)
        while True:
            if time.monotonic() > until:
                raise TimeoutError
            try:
                came += self.transport.read(MOST_BYTES + 1 - len(came), self.framing.silence)
            except TimeoutError:
                return came
            self._check_length(came, message, instrument)

    def _more(self, came: bytes, message: str, until: float, instrument: str) -> bytes:
        left = until - time.monotonic()
        if left <= 0 and self.transport.blocks:
            raise TimeoutError
        came += self.transport.read(MOST_BYTES + 1 - len(came), left)
        self._check_length(came, message, instrument)
        return came

    @staticmethod
    def _check_length(came: bytes, message: str, instrument: str) -> None:
        if len(came) > MOST_BYTES:
            raise LinkError.too_long(instrument, message, MOST_BYTES, came[:40].decode("latin1"))

    def _check_nothing_waits(self, message: str, instrument: str) -> None:
        waiting = self._unread
        if self.transport.sees_unread and not waiting:
            try:
                waiting = self.transport.read(64, 0.0)
            except TimeoutError:
                return
        if self.framing.echo and not waiting.strip():
            return  # a line end that the instrument's echo adds is no reply
        raise LinkError.stale(instrument, message, waiting.decode("latin1"))
