"""One instrument's connection: never a stale reply, never a truncated one, never an endless wait.

Rule 1: any error closes the session. The next use opens a new one and asks for the identity again. Nothing else cures a
        late reply: the backend hands it to the next question, and so on for ever (measured; pyvisa-py issue 376).
Rule 2: before speaking, nothing may be waiting. Bytes there are somebody's old reply; an end of file is a dead peer.
Rule 3: opening, asking and reopening are bounded in time. After a failed opening the link stays shut for REOPEN_AFTER.
Rule 4: a reply has to have the number of fields that was asked for; parsing is the caller's, and strict.

A link belongs to one thread at a time; a lock makes sure of it, because two threads on one session swap replies silently.
"""

from __future__ import annotations

import contextlib
import os
import select
import socket
import threading
from collections.abc import Callable
from typing import Any

import pyvisa
from pyvisa import constants, rname

from runner.errors import LinkError

OPEN_TIMEOUT = 2.0  # s
REOPEN_AFTER = 1.0  # s on the bench's clock between two attempts to open
# what PyVISA and pyvisa-py were seen to raise on a broken session, beside VisaIOError
_BROKEN = (OSError, TypeError, ValueError, pyvisa.errors.InvalidSession)


class Link:
    """A checked connection to one instrument.

    ``instrument`` is its role, for messages; ``identity`` how its answer to ``identify`` has to begin (None: not asked);
    ``now`` the bench's clock in seconds.
    """

    def __init__(
        self,
        manager: pyvisa.ResourceManager,
        address: str,
        instrument: str,
        *,
        timeout: float,
        identity: str,
        identify: str | None,
        now: Callable[[], float],
    ) -> None:
        self.address, self.instrument, self.timeout = address, instrument, timeout
        self.identity_wanted, self.identify, self.now = identity, identify, now
        self.identity = ""
        self.openings = 0
        self._manager = manager
        self._session: Any = None
        self._shut_until = -1e30
        self._last_fault = ""
        self._lock = threading.RLock()

    def ask(self, message: str, fields: int = 1) -> list[str]:
        """The reply, cut at semicolons into ``fields`` parts.

        Raises LinkError; then the session is closed and no later question can get this one's answer.
        """
        with self._lock:
            self._ready(message)
            reply = self._exchange(message)
            parts = [part.strip() for part in reply.split(";")] if fields > 1 else [reply.strip()]
            if len(parts) != fields:
                self.close()
                raise LinkError.garbage(self.instrument, message, reply)
            return parts

    def tell(self, message: str, acknowledge: str | None = None) -> None:
        """Send a command; with ``acknowledge`` (such as ``*OPC?``) in the same message, wait until it was taken.

        Raises LinkError; the command may or may not have been taken, which only a read-back can say.
        """
        with self._lock:
            self._ready(message)
            if acknowledge:
                self._exchange(f"{message};{acknowledge}")
                return
            try:
                self._session.write(message)
            except pyvisa.errors.VisaIOError as error:
                self.close()
                raise LinkError.closed(self.instrument, message, error.abbreviation) from error
            except _BROKEN as error:
                self.close()
                raise LinkError.closed(self.instrument, message, str(error)) from error

    def shout(self, message: str) -> bool:
        """Send a command on a new connection without waiting for anything: the last resort to switch something off.

        True if the bytes were handed over. Never raises.
        """
        with self._lock:
            self.close()
            self._shut_until = -1e30
            try:
                self._connect()
                self._session.write(message)
            except (LinkError, pyvisa.errors.VisaIOError, *_BROKEN):
                return False
            finally:
                self.close()
            return True

    def close(self) -> None:
        """Close the session. Never raises."""
        with self._lock:
            session, self._session = self._session, None
            if session is not None:
                with contextlib.suppress(pyvisa.errors.Error, *_BROKEN):
                    session.close()

    def hurry(self) -> None:
        """Forget that the last opening failed: the next use tries at once."""
        self._shut_until = -1e30

    # ---- opening ---------------------------------------------------------------------------------------------

    def _ready(self, message: str) -> None:
        if self._session is not None:
            return
        if self.now() < self._shut_until:
            raise LinkError("closed", f"{self._last_fault} (waiting to reconnect)", self.instrument, message)
        try:
            self._connect()
            self._check_identity()
        except LinkError as fault:
            self.close()
            self._last_fault = fault.what
            self._shut_until = self.now() + REOPEN_AFTER
            raise

    def _connect(self) -> None:
        try:
            rname.to_canonical_name(self.address)
        except rname.InvalidResourceName as error:
            raise LinkError.bad_address(self.instrument, self.address) from error
        try:
            session = self._manager.open_resource(
                self.address, open_timeout=int(OPEN_TIMEOUT * 1000), read_termination="\n", write_termination="\n"
            )
        except pyvisa.errors.VisaIOError as error:
            raise LinkError.refused(self.instrument, self.address, error.abbreviation) from error
        except Exception as error:  # pyvisa-py raises a bare Exception for an unknown or silent host
            raise LinkError.refused(self.instrument, self.address, str(error)) from error
        session.timeout = int(self.timeout * 1000)
        self._session = session
        self.openings += 1
        wire = self._wire()
        if wire is None:
            return
        refused = wire.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)  # pyvisa-py opens a refused port "successfully"
        if refused:
            self.close()
            raise LinkError.refused(self.instrument, self.address, os.strerror(refused))
        wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)  # else command and question take 44 ms

    def _check_identity(self) -> None:
        if self.identify is None:
            return
        self.identity = self._exchange(self.identify).strip()
        if self.identity_wanted and not self.identity.startswith(self.identity_wanted):
            got = self.identity
            raise LinkError.wrong_identity(self.instrument, self.identity_wanted, got)

    def _wire(self) -> socket.socket | None:
        """The TCP socket under the session, where there is one."""
        sessions = getattr(self._manager.visalib, "sessions", {})
        interface = getattr(sessions.get(self._session.session), "interface", None)
        return interface if isinstance(interface, socket.socket) else None

    # ---- one exchange ----------------------------------------------------------------------------------------

    def _exchange(self, message: str) -> str:
        try:
            self._check_quiet(message)
            return str(self._session.query(message))
        except LinkError:
            self.close()
            raise
        except pyvisa.errors.VisaIOError as error:
            gone = error.error_code == constants.StatusCode.error_timeout and self._peer_is_gone()
            self.close()
            if gone or error.error_code != constants.StatusCode.error_timeout:
                raise LinkError.closed(self.instrument, message, "" if gone else error.abbreviation) from error
            raise LinkError.timed_out(self.instrument, message, self.timeout) from error
        except UnicodeDecodeError as error:
            self.close()
            raise LinkError.garbage(self.instrument, message, repr(error.object[:40])) from error
        except ConnectionRefusedError as error:
            self.close()
            raise LinkError.refused(self.instrument, self.address, str(error)) from error
        except _BROKEN as error:
            self.close()
            raise LinkError.closed(self.instrument, message, f"{type(error).__name__} {error}") from error

    def _check_quiet(self, message: str) -> None:
        wire = self._wire()
        if wire is None:
            return
        pending = getattr(self._manager.visalib.sessions[self._session.session], "_pending_buffer", b"")  # type: ignore[attr-defined]
        if pending:
            raise LinkError.stale(self.instrument, message, bytes(pending[:40]).decode("latin1"))
        if select.select([wire], [], [], 0)[0]:
            waiting = wire.recv(64, socket.MSG_PEEK)
            if not waiting:
                raise LinkError.closed(self.instrument, message)
            raise LinkError.stale(self.instrument, message, waiting.decode("latin1"))

    def _peer_is_gone(self) -> bool:
        wire = self._wire()
        if wire is None:
            return False
        try:
            return bool(select.select([wire], [], [], 0)[0]) and not wire.recv(1, socket.MSG_PEEK)
        except OSError:
            return True
