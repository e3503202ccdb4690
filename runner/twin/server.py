"""The simulated instruments on TCP, one server an instrument, on the loopback interface only."""

from __future__ import annotations

import contextlib
import socket
import socketserver
import threading
from typing import Any

from runner.twin.instruments import devices
from runner.twin.scpi import Device
from runner.twin.world import World

LONGEST_MESSAGE = 4096  # bytes


class _Server(socketserver.ThreadingTCPServer):
    allow_reuse_address = True
    daemon_threads = True

    def __init__(self, port: int, role: str, device: Device, world: World) -> None:
        self.role, self.device, self.world = role, device, world
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
        world, role = self.server.world, self.server.role
        while line := self.rfile.readline(LONGEST_MESSAGE):
            with world.lock:
                world.catch_up()
                if world.faulty(f"{role} hangs up"):
                    return
                reply = self.server.device.handle(line.decode("latin1").rstrip("\r\n"))
                silent = world.faulty(f"{role} silent")
            if reply is not None and not silent:
                self.wfile.write(reply.encode("latin1") + b"\n")


class Servers:
    """All instruments of a world, listening. Use as a context manager, or call ``close``."""

    def __init__(self, world: World, first_port: int = 0) -> None:
        """``first_port`` 0 takes any free ports; else they are consecutive, in the order of the roles."""
        self.world = world
        self._servers: dict[str, _Server] = {}
        for index, (role, device) in enumerate(devices(world).items()):
            server = _Server(first_port + index if first_port else 0, role, device, world)
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
