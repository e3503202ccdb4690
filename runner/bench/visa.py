"""The transport through PyVISA: every kind of interface that it reaches.

PyVISA is imported where it is needed, so that whoever only holds an address loads nothing. What pyvisa-py does on a TCP
socket was measured: a refused port opens "successfully", a command and a question take 44 ms without TCP_NODELAY, and a
peer that has gone looks like one that is silent. Where there is a socket, it is asked.
"""

from __future__ import annotations

import contextlib
import os
import select
import socket
from typing import Any

BACKENDS = ("@py", "@ivi")


class VisaTransport:
    """A VISA session. ``timeout`` (s) is the backend's own, a little longer than the exchange's, which counts."""

    blocks = True

    def __init__(self, address: str, backend: str, timeout: float) -> None:
        self.address, self._backend, self._timeout = address, backend, timeout
        self._session: Any = None
        self._library: Any = None
        self._wire: socket.socket | None = None

    @property
    def sees_unread(self) -> bool:
        """Only on a socket: elsewhere a question without time would disturb the instrument."""
        return self._wire is not None

    def load(self) -> Any:
        """The backend's manager; loading it beforehand makes the first opening quick."""
        import pyvisa

        return pyvisa.ResourceManager(self._backend)

    def open(self, seconds: float) -> None:
        """Raises ValueError for an address that is none, else whatever the backend raises."""
        from pyvisa import constants, rname

        try:
            rname.to_canonical_name(self.address)
        except rname.InvalidResourceName as error:
            raise ValueError(str(error)) from error
        manager = self.load()
        milliseconds = int(seconds * 1000)
        session = manager.open_resource(
            self.address, open_timeout=milliseconds, read_termination="\n", write_termination="\n"
        )
        self._session, self._library = session, manager.visalib
        session.timeout = int(self._timeout * 1000)
        session.set_visa_attribute(constants.ResourceAttribute.termchar, 10)
        session.set_visa_attribute(constants.ResourceAttribute.termchar_enabled, True)
        self._wire = self._socket()
        if self._wire is None:
            return
        refused = self._wire.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
        if refused:
            raise ConnectionRefusedError(refused, os.strerror(refused))
        self._wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def write(self, message: bytes) -> None:
        """The whole message, in as many pieces as the backend likes."""
        if self._wire is None:
            self._session.write_raw(message)
        else:
            self._wire.sendall(message)

    def read(self, limit: int, seconds: float) -> bytes:
        """Up to a line end, ``limit``, or the end of a message; ConnectionError for a peer that has gone."""
        if self._wire is not None:
            if not select.select([self._wire], [], [], max(seconds, 0.0))[0]:
                raise TimeoutError
            came = self._wire.recv(limit)
            if not came:
                raise ConnectionResetError("end of file")
            return came
        from pyvisa import constants, errors

        try:
            data, _ = self._library.read(self._session.session, limit)
        except errors.VisaIOError as error:
            if error.error_code == constants.StatusCode.error_timeout:
                raise TimeoutError from error
            raise
        return bytes(data)

    def close(self) -> None:
        """Also ends a read that another thread is in, where there is a socket."""
        wire, self._wire = self._wire, None
        if wire is not None:
            with contextlib.suppress(OSError):
                wire.shutdown(socket.SHUT_RDWR)
        if self._session is not None:
            self._session.close()

    def _socket(self) -> socket.socket | None:
        """The TCP socket under the session, where there is one."""
        sessions = getattr(self._library, "sessions", {})
        interface = getattr(sessions.get(self._session.session), "interface", None)
        return interface if isinstance(interface, socket.socket) else None
