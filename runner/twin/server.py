"""The simulated instruments on TCP, one server an instrument, on the loopback interface only."""

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
ANSWER_TIME = (
    0.004,
    0.030,
)  # s that an instrument takes to answer, where the clock is not a real one with its own delays


class _Server(socketserver.ThreadingTCPServer):
    allow_reuse_address = True
    daemon_threads = True

    def __init__(
        self, port: int, role: str, device: Device, world: World, sleep: Callable[[float], None] | None
    ) -> None:
        self.role, self.device, self.world = role, device, world
        self._sleep = sleep
        self._dice = random.Random(f"answers of {role} {world.truth.seed}")
        self.open: set[socket.socket] = set()
        super().__init__(("127.0.0.1", port), _Handler)

    def take_time(self, message: str) -> None:
        """Let half of the time pass that an answer takes. Commands that are not answered take none: nobody waits."""
        if self._sleep is not None and "?" in message:
            self._sleep(self._dice.uniform(*ANSWER_TIME) / 2)

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
        world, role = self.server.world, self.server.role
        while line := self.rfile.readline(LONGEST_MESSAGE):
            message = line.decode("latin1").rstrip("\r\n")
            self.server.take_time(message)
            with world.lock:
                world.catch_up()
                if world.faulty(f"{role} hangs up"):
                    return
                reply = self.server.device.handle(message)
                silent = world.faulty(f"{role} silent")
            self.server.take_time(message)
            if reply is not None and not silent:
                self.wfile.write(reply.encode("latin1") + b"\n")


class Servers:
    """All instruments of a world, listening. Use as a context manager, or call ``close``."""

    def __init__(self, world: World, first_port: int = 0, sleep: Callable[[float], None] | None = None) -> None:
        """``first_port`` 0 takes any free ports; else they are consecutive, in the order of the roles.

        ``sleep`` lets time pass on a clock that only moves so, for what the instruments take to answer.
        """
        self.world = world
        self._servers: dict[str, _Server] = {}
        for index, (role, device) in enumerate(devices(world).items()):
            server = _Server(first_port + index if first_port else 0, role, device, world, sleep)
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
