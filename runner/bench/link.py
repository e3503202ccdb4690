"""One instrument's connection: never a stale reply, never a truncated one, never an endless wait.

Rule 1: any error closes the session. The next use opens a new one and asks for the identity again. Nothing else cures a
        late reply: the backend hands it to the next question, and so on for ever (measured; pyvisa-py issue 376).
Rule 2: before speaking, nothing may be waiting. Bytes there are somebody's old reply; an end of file is a dead peer. Where a
        new connection does not get rid of them, nothing is asked before the line has been silent (framing.py).
Rule 3: opening and every exchange have one deadline and one limit in bytes, ours and not the backend's. After a failed
        opening the link stays shut for REOPEN_AFTER.
Rule 4: a reply has to have the number of fields that was asked for; parsing is the caller's, and strict.
Rule 5: whatever goes wrong, of whatever type, is a LinkError when it leaves this file.
Rule 6: an entry that is in the error queue when a session opens is older than everything that is sent then: it is taken
        out and noted, and never blamed on a setting.
Rule 7: whoever speaks first after an opening begins with the start commands and the identity of its own role, once for an opening;
        what another role has said in the same words is not said again. One that fails shuts out itself, not the others.

Links to one address share a session. It belongs to one thread at a time; a lock makes sure of it, because two threads on one
session swap replies silently.
"""

from __future__ import annotations

import contextlib
import re
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Any

from runner.bench.framing import PATIENT, Conversation, Framing
from runner.bench.line import Line, Overdue, Refused, Transport
from runner.bench.sessions.session import Session
from runner.errors import LinkError, MissingExtra, SettingError, printable

OPEN_TIMEOUT = 2.0  # s
REOPEN_AFTER = 1.0  # s on the bench's clock between two attempts to open
GRACE = 0.05  # s by which the thread's deadline is later, so that a backend that keeps to its own is heard
TURN = 6  # exchanges that somebody else's turn on a shared connection may take
QUEUE_LENGTH = 30  # entries of an error queue that are read at most before it is called endless


class Link:
    """A checked connection to one instrument.

    ``connect`` makes a transport for each opening; ``address`` and ``instrument`` (its role) are for messages; ``timeout`` is
    the deadline of an exchange in s; ``identity`` how its answer to ``identify`` has to begin (``identify`` None: not asked);
    ``queue`` the question for its error queue and the pattern of the reply that means empty; ``framing`` how messages and replies
    end; ``start`` and ``end`` what is sent when a session opens and before it closes; ``session`` is shared with others.
    ``now`` is the bench's clock in s; ``announce`` is told, before every wait, how long it may be at most, in s of real time.
    """

    def __init__(
        self,
        connect: Callable[[], Transport],
        address: str,
        instrument: str,
        *,
        timeout: float,
        identity: str = "",
        identify: str | None = None,
        queue: tuple[str, str] | None = None,
        framing: Framing | None = None,
        start: Sequence[str] = (),
        end: Sequence[str] = (),
        session: Session | None = None,
        now: Callable[[], float] = time.monotonic,
        announce: Callable[[float], None] = lambda seconds: None,
    ) -> None:
        self.address, self.instrument, self.timeout = address, instrument, timeout
        self.identity_wanted, self.identify, self.queue, self.now = identity, identify, queue, now
        self.announce = announce
        self.framing = framing or Framing()
        self.start, self.end = tuple(start), tuple(end)
        self._connect = connect
        self._session = session or Session()
        self._identity = ""
        self._greeted = 0  # the opening at which start commands and identity were seen to
        self._shut_until, self._last_fault = -1e30, ""  # of that, on the bench's clock

    def ask(self, message: str, fields: int = 1) -> list[str]:
        """The reply, cut at semicolons into ``fields`` parts.

        Raises LinkError; then the session is closed and no later question can get this one's answer.
        """
        with self._turn():
            self._ready(message)
            reply = self._exchange(message)
            parts = [part.strip() for part in reply.split(";")] if fields > 1 else [reply.strip()]
            if len(parts) != fields:
                self.close()
                raise LinkError.garbage(self.instrument, message, reply)
            return parts

    def ask_until(self, message: str, pattern: str, seconds: float) -> str:
        """The first line of the reply that the pattern fits, within ``seconds``; others are passed over. Raises LinkError."""
        with self._turn():
            self._ready(message)
            until = time.monotonic() + seconds + self.framing.gap
            work = partial(self._matching, message, pattern, until)
            return self._text(message, self._guarded(message, work, seconds + self.framing.gap)).strip()

    def tell(self, message: str, acknowledge: str | None = None, *, confirms: str = "", pause: float = 0.0) -> None:
        """Send a command; with ``acknowledge`` (such as ``*OPC?``) in the same message, wait until it was taken.

        ``confirms``: the pattern of the line with which the instrument answers every command; ``pause``: s that it needs after one.
        Raises LinkError; the command may or may not have been taken, which only a read-back can say. SettingError for another
        line than that.
        """
        with self._turn():
            self._ready(message)
            if acknowledge or confirms:
                said = self._exchange(f"{message};{acknowledge}" if acknowledge else message).strip()
                if confirms and not re.fullmatch(confirms, said):
                    raise SettingError.complained(self.instrument, message, said)
            else:
                until = time.monotonic() + self.timeout
                self._guarded(message, partial(self._said, message, until))
            if pause:
                self._guarded(message, partial(time.sleep, pause), pause + self.timeout)

    def overhear(self, silence: float) -> None:
        """Take what still comes, until nothing has for ``silence`` (s), out of the way of what follows. Raises LinkError."""
        with self._turn():
            if self._session.talk is not None:
                self._guarded("", partial(self._session.talk.overhear, silence), PATIENT * silence + self.timeout)

    @contextlib.contextmanager
    def held(self) -> Iterator[None]:
        """Nobody else speaks on this connection meanwhile: what belongs together is said together. Raises LinkError."""
        with self._turn():
            yield

    @property
    def identity(self) -> str:
        """What it said of itself when the session was opened; empty before."""
        return self._identity

    @property
    def session(self) -> Session:
        """What it shares with all who speak to the same address."""
        return self._session

    @property
    def openings(self) -> int:
        """How often its session was opened."""
        return self._session.openings

    def reach(self) -> None:
        """Open the session now, if it is not open; an earlier failure is no reason to wait. Raises LinkError."""
        with self._turn():
            if self._session.line is None:
                self._session.shut_until = self._shut_until = -1e30
                self._ready("")

    @contextlib.contextmanager
    def _turn(self) -> Iterator[None]:
        """Wait until nobody else speaks. Raises LinkError if that takes longer than anything may."""
        lock = self._session.lock
        if not lock.acquire(blocking=False):
            longest = OPEN_TIMEOUT + self.framing.settling + TURN * (self.timeout + self.framing.gap)
            self.announce(longest + GRACE)
            if not lock.acquire(timeout=longest):
                raise LinkError.timed_out(self.instrument, "", longest)
        try:
            yield
        finally:
            lock.release()

    @property
    def unsettled(self) -> bool:
        """Whether nothing can be asked at once, because the line has to be silent first. Sending is always possible."""
        return self._session.line is None and self.framing.quiet > 0

    def shout(self, *messages: str) -> bool:
        """Send commands on a new connection without waiting for any reply: the last resort to switch something off.

        True if the bytes were handed over. Never raises.
        """
        try:
            with self._turn():
                self._shout(messages)
        except LinkError:
            return False
        return True

    def _shout(self, messages: Sequence[str]) -> None:
        """Raises LinkError if one could not be handed over; the others are sent all the same."""
        self.close()
        self._session.shut_until = -1e30
        failed: LinkError | None = None
        try:
            for message in (*self.start, *messages):
                if self._session.line is None:
                    self._open()
                try:
                    self._guarded(message, partial(self._hand_over, message), self.timeout)
                except LinkError as fault:  # Modbus waits for a confirmation, which may be what is lost
                    failed = fault
            if failed is not None:
                raise failed
        finally:
            self.close()

    def close(self) -> None:
        """Close the session. Never raises."""
        session = self._session
        with session.lock:
            line, session.line, session.talk = session.line, None, None
            if line is not None:
                session.closed = time.monotonic() if line.transport.blocks else session.closed
                line.close()

    def finish(self) -> None:
        """Say what is to be said at the end, if there is a session to say it in, and close it. Never raises."""
        with contextlib.suppress(LinkError), self._turn():
            for message in self.end if self._session.line is not None else ():
                self._guarded(message, partial(self._said, message, time.monotonic() + self.timeout))
        self.close()

    def hurry(self) -> None:
        """Forget that the last opening failed, and wait for no silence: the next use tries at once."""
        talk = self._session.talk
        if talk is not None:
            talk.hurried = True
        self._session.shut_until = self._shut_until = -1e30

    def take_old_errors(self) -> list[str]:
        """What stood in the error queue when a session was opened, since the last call."""
        found, self._session.old_errors = self._session.old_errors, []
        return found

    # ---- opening ---------------------------------------------------------------------------------------------

    def _ready(self, message: str) -> None:
        session = self._session
        greeted = session.line is not None and self._greeted == session.openings
        if greeted:
            return
        if session.line is None and self.now() < session.shut_until:
            raise LinkError("closed", f"{session.last_fault} (waiting to reconnect)", self.instrument, message)
        if self.now() < self._shut_until:
            raise LinkError("closed", f"{self._last_fault} (waiting to reconnect)", self.instrument, message)
        if session.line is None:
            try:
                self._open()
                self._settle()
            except LinkError as fault:
                self.close()
                session.last_fault, session.shut_until = fault.what, self.now() + REOPEN_AFTER
                raise
        try:
            self._greet()
        except LinkError as fault:
            self.close()
            self._last_fault, self._shut_until = fault.what, self.now() + REOPEN_AFTER
            raise
        self._greeted = session.openings

    def _greet(self) -> None:
        """Start commands, identity and the error queue, so far as no other role has said the same since the opening."""
        self._once(("start", *self.start), self._say_start)
        self._check_identity()
        if self.queue is not None:
            self._once(("queue", *self.queue), self._empty_queue)

    def _once(self, what: tuple[str, ...], say: Callable[[], str]) -> str:
        """What was replied, now or to another role since the opening."""
        key, said = (self.framing.prefix, *what), self._session.said
        if key not in said:
            said[key] = say()
        return said[key]

    def _say_start(self) -> str:
        for message in self.start:
            self._guarded(message, partial(self._said, message, time.monotonic() + self.timeout))
        return ""

    def _open(self) -> None:
        self._session.openings += 1
        self._session.said.clear()
        try:
            transport = self._connect()
            self._session.line = Line(transport, self.instrument)
            self._session.talk = talk = Conversation(transport, self.framing)
            self.announce(OPEN_TIMEOUT)
            self._session.line.do(partial(transport.open, OPEN_TIMEOUT), OPEN_TIMEOUT)
            self._session.reached = True
            if self.framing.wake:
                self.announce(self.framing.wake + GRACE)
                self._session.line.do(talk.wake, self.framing.wake + 1.0)
        except Overdue:
            self.close()
            raise LinkError.refused(self.instrument, self.address, f"no connection within {OPEN_TIMEOUT:g} s") from None
        except ValueError as error:
            self.close()
            raise LinkError.bad_address(self.instrument, self.address) from error
        except MissingExtra as missing:
            self.close()
            raise LinkError.missing(self.instrument, self.address, missing.extra) from None
        except ConnectionRefusedError:
            self.close()
            raise LinkError.refused(self.instrument, self.address, "connection refused") from None
        except Exception as error:
            self.close()
            raise LinkError.refused(self.instrument, self.address, _named(error)) from error

    def _settle(self) -> None:
        if self.framing.quiet and self._session.talk is not None:
            talk = self._session.talk
            self._guarded("", partial(talk.settle, self.instrument), self.framing.settling)

    def _check_identity(self) -> None:
        if self.identify is None:
            return
        said = self._once(("identity", self.identify), partial(self._exchange, self.identify))
        self._identity = printable(said.strip())
        if self.identity_wanted and not self.identity.startswith(self.identity_wanted):
            raise LinkError.wrong_identity(self.instrument, self.identity_wanted, self.identity)

    def _empty_queue(self) -> str:
        assert self.queue is not None
        ask, none = self.queue
        for _ in range(QUEUE_LENGTH):
            reply = self._exchange(ask).strip()
            if re.fullmatch(none, reply):
                return reply
            self._session.old_errors.append(printable(reply))
        raise LinkError.endless_queue(self.instrument, ask, self._session.old_errors[-1])

    # ---- one exchange ----------------------------------------------------------------------------------------

    def _exchange(self, message: str) -> str:
        until = time.monotonic() + self.timeout + self.framing.gap
        return self._text(message, self._guarded(message, partial(self._replied, message, until)))

    def _text(self, message: str, reply: bytes) -> str:
        try:
            return reply.decode("ascii")
        except UnicodeDecodeError as error:
            self.close()
            raise LinkError.garbage(self.instrument, message, reply.decode("latin1")) from error

    def _guarded(self, message: str, work: Callable[[], Any], seconds: float | None = None) -> Any:
        """Do something on the line within the deadline; everything that goes wrong is a LinkError and closes the line."""
        seconds = self.timeout + self.framing.gap if seconds is None else seconds
        self.announce(seconds + GRACE)
        try:
            if self._session.line is None:
                raise ConnectionError("closed meanwhile")
            return self._session.line.do(work, seconds + GRACE)
        except LinkError:
            self.close()
            raise
        except (Overdue, TimeoutError):
            self.close()
            raise LinkError.timed_out(self.instrument, message, self.timeout) from None
        except Refused as refusal:
            self.close()
            raise LinkError.not_done(self.instrument, message, str(refusal)) from None
        except ConnectionError as error:
            self.close()
            raise LinkError.closed(self.instrument, message, str(error)) from error
        except Exception as error:
            self.close()
            raise LinkError.closed(self.instrument, message, _named(error)) from error
        except BaseException:  # somebody's wish to end this program: a backend's own never gets here
            self.close()
            raise

    # in the line's thread; a conversation that was closed meanwhile is a closed connection

    def _replied(self, message: str, until: float) -> bytes:
        return self._conversation.ask(self._addressed(message), until, self.instrument)

    def _matching(self, message: str, pattern: str, until: float) -> bytes:
        talk = self._conversation
        reply = talk.ask(self._addressed(message), until, self.instrument)
        while not re.fullmatch(pattern, reply.decode("latin1").strip()):
            reply = talk.listen(until, self.instrument)
        return reply

    def _said(self, message: str, until: float) -> None:
        self._conversation.tell(self._addressed(message), until, self.instrument)

    def _hand_over(self, message: str) -> None:
        self._conversation.hand_over(self._addressed(message))

    def _addressed(self, message: str) -> str:
        return self.framing.prefix + message

    @property
    def _conversation(self) -> Conversation:
        if self._session.talk is None:
            raise ConnectionError("closed meanwhile")
        return self._session.talk


def _named(error: BaseException) -> str:
    """An error of a backend, with its type: that alone may tell a maker's support what it was."""
    text = str(error)
    return f"{type(error).__name__}: {text}" if text else type(error).__name__
