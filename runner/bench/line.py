"""A transport behind a deadline: nothing that a backend does can hold its caller up for longer than was agreed.

A transport is four calls. Text over VISA is one, the simulated bench of a test another; a new kind of interface is a new
transport and nothing else.

Rule 1: every call that may wait is made in the line's own thread. Its caller waits until the deadline, and no longer.
Rule 2: a call that is overdue is given up with its whole line: the connection is closed from outside, and whatever the
        thread brings back later is thrown away.
Rule 3: whatever a backend raises in the thread reaches the caller, as an Exception: what is more than that (SystemExit,
        KeyboardInterrupt, a library's own) as ``Foreign`` with its type named, so that it ends no program.
"""

from __future__ import annotations

import contextlib
import queue
import socket
import threading
from collections.abc import Callable
from typing import Any, Protocol

STOPS_SENDING = (
    1.0  # s after which the system gives up what nobody has acknowledged, also of a connection that was closed
)
CLOSE_TIME = 0.1  # s that a connection is given to close before nobody waits for it any more


class Transport(Protocol):
    """A connection to one instrument, in bytes. One is made for each opening and never used again after ``close``.

    ``blocks``: whether its calls may wait for the world outside this process. ``sees_unread``: whether ``read`` with no time
    gives what has come unasked; where it does not, such a read is never tried.
    """

    @property
    def blocks(self) -> bool: ...

    @property
    def sees_unread(self) -> bool: ...

    def open(self, seconds: float) -> None:
        """Connect. Raises whatever the backend raises; ValueError if the address is none."""

    def write(self, message: bytes) -> None:
        """Hand a whole message over."""

    def read(self, limit: int, seconds: float) -> bytes:
        """What has come, at most ``limit`` bytes, at the latest after ``seconds``.

        Raises TimeoutError if nothing has, ConnectionError if the other side has gone.
        """

    def close(self) -> None:
        """Close. May be called from any thread, also while another call is going on, which then has to end."""


def stops_sending(wire: socket.socket) -> None:
    """Have the system give up soon: a command that it sent again later could switch on what was switched off meanwhile.

    Where the system has no such time (TCP_USER_TIMEOUT, RFC 5482; Linux has it), nothing is changed.
    """
    with contextlib.suppress(AttributeError, OSError):
        wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, int(STOPS_SENDING * 1000))


def in_a_network(address: str) -> bool:
    """Whether what is sent to an address may be on its way for a while."""
    kind = address.upper()
    return kind.startswith("TCPIP") or (
        kind.startswith("MODBUS::") and not kind.startswith(("MODBUS::/", "MODBUS::COM"))
    )


class Overdue(Exception):
    """The backend did not come back in time. The line is closed."""


class Refused(Exception):
    """The instrument answered that it does not do what it was told, or with what cannot be its answer."""


class Foreign(Exception):
    """The backend raised something that is no Exception; the text names its type."""


class Line:
    """A transport and the thread that talks through it. After ``Overdue`` or ``close`` a new line has to be made."""

    def __init__(self, transport: Transport, name: str) -> None:
        self.transport = transport
        self._name = name
        self._work: queue.SimpleQueue[Callable[[], Any] | None] = queue.SimpleQueue()
        self._done: queue.SimpleQueue[tuple[Any, Exception | None]] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        self._given_up = False

    def do(self, work: Callable[[], Any], seconds: float) -> Any:
        """What ``work`` returns or raises. Raises Overdue after ``seconds``; then the line is closed."""
        if not self.transport.blocks:
            return work()
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name=f"line {self._name}", daemon=True)
            self._thread.start()
        self._work.put(work)
        try:
            result, error = self._done.get(timeout=seconds)
        except queue.Empty:
            self._given_up = True
            self._close_aside()
            raise Overdue from None
        except BaseException:  # a signal's exception in the caller: what comes back now belongs to nobody
            self._given_up = True
            self._close_aside()
            raise
        if error is not None:
            raise error
        return result

    def close(self) -> None:
        """Close the connection and end the thread. Never raises; takes at most CLOSE_TIME."""
        if not self._given_up:
            self._given_up = True
            self._close_aside()

    def _close_aside(self) -> None:
        self._work.put(None)
        if not self.transport.blocks:
            self._close()
            return
        try:
            closer = threading.Thread(target=self._close, name=f"closing {self._name}", daemon=True)
            closer.start()
        except RuntimeError:  # no thread can be made: better to wait for the backend than to leave it open
            self._close()
            return
        closer.join(CLOSE_TIME)

    def _close(self) -> None:
        with contextlib.suppress(BaseException):
            self.transport.close()

    def _run(self) -> None:
        while (work := self._work.get()) is not None:
            try:
                answer: tuple[Any, Exception | None] = (work(), None)
            except Exception as error:
                answer = (None, error)
            except BaseException as error:
                answer = (None, Foreign(f"{type(error).__name__}: {error}"))
            if self._given_up:
                self._close()  # also what was opened only now
                return
            self._done.put(answer)
