"""A serial line through PyVISA. pyvisa-py reaches it with pyserial, which is an extra.

The backend knows of no line ends here: it hands over bytes as they come, and a conversation cuts replies out of them.
"""

from __future__ import annotations

import importlib.util
import time
from dataclasses import dataclass
from typing import Any

from runner.errors import MissingExtra

SLICE = 0.05  # s that one call of the backend waits at most; a close from outside is noticed after it


@dataclass(frozen=True)
class Port:
    """How the line is set. ``parity``: none, odd, even, mark or space; ``flow``: none, xon_xoff, rts_cts or dtr_dsr."""

    baud: int = 9600
    data_bits: int = 8
    parity: str = "none"
    stop_bits: float = 1
    flow: str = "none"


class SerialTransport:
    """A VISA session on a serial line."""

    blocks = True
    sees_unread = True

    def __init__(self, address: str, backend: str, port: Port) -> None:
        self.address, self._backend, self._port = address, backend, port
        self._session: Any = None
        self._library: Any = None
        self._closed = False

    def open(self, seconds: float) -> None:
        """Raises ValueError for an address that is none, MissingExtra, else whatever the backend raises."""
        import pyvisa
        from pyvisa import constants, rname

        try:
            rname.to_canonical_name(self.address)
        except rname.InvalidResourceName as error:
            raise ValueError(str(error)) from error
        if self._backend == "@py" and importlib.util.find_spec("serial") is None:
            raise MissingExtra("serial")
        manager = pyvisa.ResourceManager(self._backend)
        session: Any = manager.open_resource(self.address, open_timeout=int(seconds * 1000))
        self._session, self._library = session, manager.visalib
        port = self._port
        session.baud_rate, session.data_bits = port.baud, port.data_bits
        session.parity = constants.Parity[port.parity]
        names = {1: "one", 1.5: "one_and_a_half", 2: "two"}
        session.stop_bits = constants.StopBits[names[port.stop_bits]]
        session.flow_control = 0 if port.flow == "none" else constants.ControlFlow[port.flow]
        session.end_input = constants.SerialTermination.none
        session.set_visa_attribute(constants.ResourceAttribute.asrl_end_out, constants.SerialTermination.none)
        session.timeout = int(SLICE * 1000)

    def write(self, message: bytes) -> None:
        """The whole message. Raises TimeoutError if flow control holds it up."""
        from pyvisa import constants, errors

        try:
            sent, status = self._library.write(self._session.session, message)
        except errors.VisaIOError as error:
            if error.error_code == constants.StatusCode.error_timeout:
                raise TimeoutError from error
            raise
        if sent != len(message) or status == constants.StatusCode.error_timeout:
            raise TimeoutError

    def read(self, limit: int, seconds: float) -> bytes:
        """What has come, as soon as something has; TimeoutError if nothing does."""
        until = time.monotonic() + seconds
        while not self._waiting:
            if time.monotonic() >= until:
                raise TimeoutError
            if first := self._read(1):
                return first + (self._read(min(limit - 1, self._waiting)) if limit > 1 and self._waiting else b"")
        return self._read(min(limit, self._waiting))

    def close(self) -> None:
        """Close the session."""
        self._closed = True
        if self._session is not None:
            self._session.close()

    @property
    def _waiting(self) -> int:
        if self._closed:
            raise ConnectionError("closed meanwhile")
        return int(self._session.bytes_in_buffer)

    def _read(self, count: int) -> bytes:
        """At most so many bytes, none if nothing comes within SLICE."""
        from pyvisa import constants, errors

        if self._closed:
            raise ConnectionError("closed meanwhile")
        try:
            with self._session.ignore_warning(constants.StatusCode.success_max_count_read):
                came, _ = self._library.read(self._session.session, count)
        except errors.VisaIOError as error:
            if error.error_code == constants.StatusCode.error_timeout:
                return b""
            raise
        return bytes(came)
