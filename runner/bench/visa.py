"""The transport through PyVISA: every kind of interface that it reaches.

PyVISA is imported where it is needed, so that whoever only holds an address loads nothing. What pyvisa-py does on a TCP
socket was measured: a refused port opens "successfully", a command and a question take 44 ms without TCP_NODELAY, and a
peer that has gone looks like one that is silent. Where there is a socket, it is asked. On VXI-11 it reads on as long as bytes
come, however many, also while it closes (measured: 60 MB/s of memory): its socket is cut from outside.
"""

from __future__ import annotations

import contextlib
import os
import select
import socket
import struct
import threading
from typing import Any

from runner.bench.line import stops_sending

CUT_AFTER = 1.0  # s that the backend may take to close by itself
DESTROY_LINK = 23  # of VXI-11, rev. 1.0, B.6
BACKENDS = ("@py", "@ivi")


class VisaTransport:
    """A VISA session. ``timeout`` (s) is the backend's own, a little longer than the exchange's, which counts."""

    blocks = True

    def __init__(self, address: str, backend: str, timeout: float) -> None:
        self.address, self._backend, self._timeout = address, backend, timeout
        self._session: Any = None
        self._library: Any = None
        self._wire: socket.socket | None = None
        self._channel: Any = None  # of VXI-11: the backend's client, with its socket and what it calls
        self._reading = False

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
        interface = self._interface()
        self._wire = interface if isinstance(interface, socket.socket) else None
        for wire in (interface, *getattr(interface, "__dict__", {}).values()):
            if isinstance(wire, socket.socket):
                stops_sending(wire)
        if self._wire is None:
            self._channel = interface if isinstance(getattr(interface, "sock", None), socket.socket) else None
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
            self._reading = True
            data, _ = self._library.read(self._session.session, limit)
            self._reading = False
        except errors.VisaIOError as error:
            self._reading = False
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
        if self._session is None:
            return
        if self._channel is None:
            self._session.close()
            return
        if self._reading:
            self._let_go()
            self._cut()
        cut = threading.Timer(CUT_AFTER, self._cut)
        cut.daemon = True
        try:
            with contextlib.suppress(RuntimeError):  # no thread can be made
                cut.start()
            try:
                self._session.close()
            except (OSError, ValueError):  # it was cut meanwhile
                self._session.close()
        finally:
            cut.cancel()

    def _interface(self) -> Any:
        """What the backend has under the session; None where it does not show it."""
        sessions = getattr(self._library, "sessions", {})
        return getattr(sessions.get(self._session.session), "interface", None)

    def _let_go(self) -> None:
        """Tell a VXI-11 device that its link is not needed any more, past the client, which waits for something else.

        It may have few of them, and off needs one. A call of RPC version 2 without credentials (RFC 5531).
        """
        link = getattr(self._library.sessions.get(self._session.session), "link", 0)
        channel = self._channel
        call = struct.pack(">10I", channel.lastxid + 1, 0, 2, channel.prog, channel.vers, DESTROY_LINK, 0, 0, 0, 0)
        call += struct.pack(">I", link)
        with contextlib.suppress(OSError):
            channel.sock.send(struct.pack(">I", 1 << 31 | len(call)) + call, socket.MSG_DONTWAIT)

    def _cut(self) -> None:
        self._channel.destroy_link = lambda link: None  # nobody would answer
        with contextlib.suppress(OSError):
            self._channel.sock.shutdown(socket.SHUT_RDWR)
        self._channel.sock.close()
