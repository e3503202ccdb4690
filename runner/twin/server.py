"""The simulated instruments on TCP, one server an instrument, on the loopback interface only; or without any socket.

Either way a message goes through ``Instrument.answer``, takes its time there, and meets the same faults.
"""

from __future__ import annotations

import contextlib
import random
import socket
import socketserver
import threading
from collections.abc import Callable
from typing import Any

from runner.twin.instruments import devices
from runner.twin.scpi import Device
from runner.twin.world import World

LONGEST_MESSAGE = 4096  # bytes
# s that an instrument takes to answer, where the clock is not a real one with its own delays
ANSWER_TIME = (0.004, 0.030)


class HangsUp(Exception):
    """The instrument closes its connection."""


class Instrument:
    """One instrument and what it does with a message."""

    def __init__(self, role: str, device: Device, world: World, sleep: Callable[[float], None] | None) -> None:
        self.role, self._device, self._world, self._sleep = role, device, world, sleep
        self._dice = random.Random(f"answers of {role} {world.truth.seed}")

    def answer(self, message: str) -> str | None:
        """The reply, or None. Raises HangsUp."""
        self._take_time(message)
        with self._world.lock:
            self._world.catch_up()
            if self._world.faulty(f"{self.role} hangs up"):
                raise HangsUp
            reply = self._device.handle(message)
            silent = self._world.faulty(f"{self.role} silent")
        self._take_time(message)
        return None if silent else reply

    def _take_time(self, message: str) -> None:
        """Let half of the time pass that an answer takes. Commands that are not answered take none: nobody waits."""
        if self._sleep is not None and "?" in message:
            self._sleep(self._dice.uniform(*ANSWER_TIME) / 2)


def instruments(world: World, sleep: Callable[[float], None] | None) -> dict[str, Instrument]:
    """All instruments of a world, by role."""
    return {role: Instrument(role, device, world, sleep) for role, device in devices(world).items()}


class _Server(socketserver.ThreadingTCPServer):
    allow_reuse_address = True
    daemon_threads = True

    def __init__(self, port: int, instrument: Instrument) -> None:
        self.instrument = instrument
        self.open: set[socket.socket] = set()
        super().__init__(("127.0.0.1", port), _Handler)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A client that went away is no event here."""


class _Handler(socketserver.StreamRequestHandler):
    server: _Server

    def setup(self) -> None:
        super().setup()
        self.connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.server.open.add(self.connection)

    def finish(self) -> None:
        self.server.open.discard(self.connection)
        with contextlib.suppress(OSError):
            super().finish()

    def handle(self) -> None:
        while line := self.rfile.readline(LONGEST_MESSAGE):
            try:
                reply = self.server.instrument.answer(line.decode("latin1").rstrip("\r\n"))
            except HangsUp:
                return
            if reply is not None:
                self.wfile.write(reply.encode("latin1") + b"\n")


class Servers:
    """All instruments of a world, listening. Use as a context manager, or call ``close``."""

    def __init__(self, world: World, first_port: int = 0, sleep: Callable[[float], None] | None = None) -> None:
        """``first_port`` 0 takes any free ports; else they are consecutive, in the order of the roles.

        ``sleep`` lets time pass on a clock that only moves so, for what the instruments take to answer.
        """
        self.world = world
        self._servers: dict[str, _Server] = {}
        for index, (role, instrument) in enumerate(instruments(world, sleep).items()):
            server = _Server(first_port + index if first_port else 0, instrument)
            self._servers[role] = server
            threading.Thread(
                target=server.serve_forever, kwargs={"poll_interval": 0.05}, name=f"twin {role}", daemon=True
            ).start()

    def address(self, role: str) -> str:
        """The VISA address of an instrument."""
        return f"TCPIP::127.0.0.1::{self._servers[role].server_address[1]}::SOCKET"

    @property
    def roles(self) -> tuple[str, ...]:
        return tuple(self._servers)

    def close(self) -> None:
        """Stop listening and close what is open."""
        for server in self._servers.values():
            server.shutdown()
            for connection in list(server.open):
                with contextlib.suppress(OSError):
                    connection.shutdown(socket.SHUT_RDWR)
            server.server_close()

    def __enter__(self) -> Servers:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class Inside:
    """The same instruments for a program in this process, without sockets and threads: what ``Servers`` is for the others."""

    def __init__(self, world: World, sleep: Callable[[float], None]) -> None:
        self.world = world
        self._instruments, self._sleep = instruments(world, sleep), sleep

    def address(self, role: str) -> str:
        """An address for the bench file; nobody listens there."""
        return f"TCPIP::127.0.0.1::{1 + self.roles.index(role)}::SOCKET"

    @property
    def roles(self) -> tuple[str, ...]:
        return tuple(self._instruments)

    def connection(self, role: str) -> Connection:
        """A new connection to an instrument."""
        return Connection(self._instruments[role], self._sleep)

    def close(self) -> None:
        """Nothing is open."""


class Connection:
    """A connection in bytes, without a socket: a message is handled as it is written, and silence only takes simulated time."""

    blocks = False
    sees_unread = False

    def __init__(self, instrument: Instrument, sleep: Callable[[float], None]) -> None:
        self._instrument, self._sleep = instrument, sleep
        self._reply = b""
        self._gone = False

    def open(self, seconds: float) -> None:
        """There is nothing to open."""

    def write(self, message: bytes) -> None:
        """The instrument handles every line at once."""
        for line in message.decode("latin1").splitlines():
            try:
                reply = self._instrument.answer(line)
            except HangsUp:
                self._gone = True
                return
            self._reply += b"" if reply is None else reply.encode("latin1") + b"\n"

    def read(self, limit: int, seconds: float) -> bytes:
        """Raises ConnectionError after a hang-up, TimeoutError once ``seconds`` have passed without a reply."""
        if self._gone:
            raise ConnectionResetError("end of file")
        if not self._reply:
            self._sleep(max(seconds, 0.0))
            raise TimeoutError
        came, self._reply = self._reply[:limit], self._reply[limit:]
        return came

    def close(self) -> None:
        """What was not read is gone."""
        self._reply = b""
