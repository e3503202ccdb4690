"""A command that a network delivers late, from a connection that was given up, behind off.

TCP sends again what was not acknowledged, with growing pauses, also after a connection was closed (RFC 9293, 3.8.1; RFC 5482).
"""

import socket
import threading
import time

import pytest

from runner.bench.line import STOPS_SENDING, in_a_network, stops_sending
from runner.bench.link import Link
from runner.bench.off import Asked, OffWords, insist
from runner.bench.replies import Reading
from runner.bench.visa import VisaTransport

WORDS = OffWords("OUTP OFF", "*OPC?", Asked("OUTP?", Reading(r"\s*([01])\s*")))


class Switch:
    """An instrument that takes several connections, and what it was told."""

    def __init__(self):
        self.on = True
        self.told = []
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.address = f"TCPIP::127.0.0.1::{self.listener.getsockname()[1]}::SOCKET"
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self):
        while True:
            try:
                connection, _ = self.listener.accept()
            except OSError:
                return
            threading.Thread(target=self._talk, args=(connection,), daemon=True).start()

    def _talk(self, connection):
        with connection, connection.makefile("rb") as lines:
            for line in lines:
                self.take(line)
                if b"?" in line:
                    connection.sendall(b"1\n" if b"*OPC?" in line else f"{int(self.on)}\n".encode())

    def take(self, line):
        self.told.append(line)
        if b"OUTP OFF" in line or b"OUTP ON" in line:
            self.on = b"ON" in line


@pytest.fixture
def switch():
    made = Switch()
    yield made
    made.listener.close()


def linked(switch):
    return Link(lambda: VisaTransport(switch.address, "@py", 1.0), switch.address, "supply", timeout=0.5)


def test_a_command_that_arrives_behind_off_is_taken_back(switch):
    link = linked(switch)
    assert link.ask("OUTP?") == ["1"]
    link.close()  # given up, with a command on its way that comes half a second later
    threading.Timer(0.5, lambda: switch.take(b"OUTP ON\n")).start()
    began = time.monotonic()
    assert insist(link, WORDS, time.sleep)
    assert not switch.on
    assert time.monotonic() - began > STOPS_SENDING
    assert [line for line in switch.told if b"OFF" in line][-1:] == switch.told[-2:-1]
    link.close()


def test_where_no_connection_was_closed_off_is_said_once(switch):
    link = linked(switch)
    link.ask("OUTP?")
    began = time.monotonic()
    assert insist(link, WORDS, time.sleep)
    assert time.monotonic() - began < STOPS_SENDING / 2
    assert len([line for line in switch.told if b"OFF" in line]) == 1
    link.close()


@pytest.mark.skipif(not hasattr(socket, "TCP_USER_TIMEOUT"), reason="this system has no such time")
def test_the_system_gives_up_what_nobody_acknowledges(switch):
    with socket.create_connection(switch.listener.getsockname()) as wire:
        stops_sending(wire)
        assert wire.getsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT) == 1000 * STOPS_SENDING
    transport = VisaTransport(switch.address, "@py", 1.0)
    transport.open(1.0)
    assert transport._wire.getsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT) == 1000 * STOPS_SENDING
    transport.close()


@pytest.mark.parametrize(
    ("address", "network"),
    [
        ("TCPIP::192.0.2.10::5025::SOCKET", True),
        ("TCPIP::192.0.2.10::INSTR", True),
        ("MODBUS::192.0.2.10::502", True),
        ("MODBUS::/dev/ttyUSB0", False),
        ("MODBUS::COM3", False),
        ("ASRL/dev/ttyUSB0::INSTR", False),
        ("GPIB0::5::INSTR", False),
    ],
)
def test_only_a_network_keeps_what_was_sent(address, network):
    assert in_a_network(address) is network
