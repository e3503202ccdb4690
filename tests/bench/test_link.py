"""The link against servers that misbehave in every way that was measured: never a wrong value, never an endless wait."""

import contextlib
import socket
import threading
import time

import pytest
import pyvisa

from runner.bench.link import REOPEN_AFTER, Link
from runner.errors import LinkError

IDENTITY = "MADE UP,METER,1,1.0"


class Server:
    """Speaks as its script says: the n-th question (identities apart) gets the n-th act."""

    def __init__(self, *acts):
        self.acts, self.asked, self.heard = list(acts), 0, []
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.address = f"TCPIP::127.0.0.1::{self.listener.getsockname()[1]}::SOCKET"
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self):
        with contextlib.suppress(OSError):
            while True:
                connection, _ = self.listener.accept()
                threading.Thread(target=self._talk, args=(connection,), daemon=True).start()

    def _talk(self, connection):
        with contextlib.suppress(OSError), connection, connection.makefile("rb") as lines:
            for line in lines:
                text = line.decode().strip()
                self.heard.append(text)
                if text == "*IDN?":
                    connection.sendall(f"{IDENTITY}\n".encode())
                    continue
                act = self.acts[self.asked] if self.asked < len(self.acts) else b"9.0\n"
                self.asked += 1
                if act == "hang up":
                    return
                if act == "silence":
                    continue
                for part in act if isinstance(act, tuple) else (act,):
                    if isinstance(part, float):
                        time.sleep(part)
                    else:
                        connection.sendall(part)

    def close(self):
        self.listener.close()


@pytest.fixture
def manager():
    return pyvisa.ResourceManager("@py")


@pytest.fixture
def linked(manager):
    links = []

    def make(*acts, identity="MADE UP", timeout=0.25):
        server = Server(*acts)
        link = Link(
            manager, server.address, "meter", timeout=timeout, identity=identity, identify="*IDN?", now=time.monotonic
        )
        links.append((link, server))
        return link, server

    yield make
    for link, server in links:
        link.close()
        server.close()


def test_a_question_gets_its_answer_and_the_identity_is_asked_once(linked):
    link, server = linked(b"1.5\n", b"2.5;3.5\n")
    assert link.ask("MEAS:VOLT?") == ["1.5"]
    assert link.ask("A?;:B?", 2) == ["2.5", "3.5"]
    assert server.heard.count("*IDN?") == 1
    assert link.identity == IDENTITY


@pytest.mark.parametrize(
    ("act", "kind"),
    [
        ("silence", "timeout"),
        ("hang up", "closed"),
        ((b"12.3", 0.4, b"45\n"), "timeout"),  # a reply in two parts, the second too late
        ((0.4, b"1.5\n"), "timeout"),  # a reply that is late as a whole
        (b"\xff\xfe\x01\n", "garbage"),
    ],
    ids=["silence", "hang up", "half a reply", "late reply", "binary"],
)
def test_after_any_failure_the_next_answer_belongs_to_the_next_question(linked, act, kind):
    link, server = linked(act, b"7.5\n", b"8.5\n")
    with pytest.raises(LinkError) as caught:
        link.ask("FIRST?")
    assert caught.value.kind == kind
    assert caught.value.instrument == "meter"
    time.sleep(0.5)  # let what is late arrive where it can do harm
    assert link.ask("SECOND?") == ["7.5"]
    assert link.ask("THIRD?") == ["8.5"]
    assert server.heard.count("*IDN?") == 2


def test_a_second_line_that_nobody_asked_for_is_found_and_never_taken_for_an_answer(linked):
    link, _ = linked(b"1.5\n99\n", b"7.5\n")
    assert link.ask("FIRST?") == ["1.5"]
    time.sleep(0.05)
    with pytest.raises(LinkError) as caught:
        link.ask("SECOND?")
    assert caught.value.kind == "stale"
    assert link.ask("SECOND?") == ["7.5"]


def test_a_reply_with_too_few_fields_is_refused(linked):
    link, _ = linked(b"1.5\n", b"7.5\n")
    with pytest.raises(LinkError) as caught:
        link.ask("A?;:B?", 2)
    assert caught.value.kind == "garbage"
    assert link.ask("C?") == ["7.5"]


def test_another_instrument_at_the_address_is_not_spoken_to(linked):
    link, server = linked(b"1.5\n", identity="SOMEBODY ELSE")
    with pytest.raises(LinkError) as caught:
        link.ask("MEAS:VOLT?")
    assert caught.value.kind == "identity"
    assert "SOMEBODY ELSE" in str(caught.value)
    assert server.heard == ["*IDN?"]


def test_a_refused_port_is_said_at_once_and_not_tried_again_before_its_time(manager):
    listener = socket.create_server(("127.0.0.1", 0))
    address = f"TCPIP::127.0.0.1::{listener.getsockname()[1]}::SOCKET"
    listener.close()
    clock = [0.0]
    link = Link(manager, address, "probe", timeout=0.3, identity="", identify="*IDN?", now=lambda: clock[0])
    began = time.monotonic()
    with pytest.raises(LinkError) as caught:
        link.ask("MEAS:TEMP?")
    assert caught.value.kind == "refused"
    assert address in str(caught.value)
    openings = link.openings
    with pytest.raises(LinkError, match="waiting to reconnect"):
        link.ask("MEAS:TEMP?")
    assert link.openings == openings
    clock[0] = REOPEN_AFTER + 0.1
    with pytest.raises(LinkError):
        link.ask("MEAS:TEMP?")
    assert link.openings == openings + 1
    assert time.monotonic() - began < 5


def test_a_dead_peer_costs_no_more_than_the_timeout(linked):
    link, _ = linked("hang up", "hang up", timeout=0.3)
    began = time.monotonic()
    with pytest.raises(LinkError):
        link.ask("A?")
    assert time.monotonic() - began < 2
    link.close()
    link.close()


def test_shouting_hands_the_command_over_to_a_mute_instrument(linked):
    link, server = linked("silence", "silence")
    with pytest.raises(LinkError):
        link.ask("A?")
    assert link.shout("OUTP OFF")
    deadline = time.monotonic() + 2
    while "OUTP OFF" not in server.heard and time.monotonic() < deadline:
        time.sleep(0.01)
    assert server.heard[-1] == "OUTP OFF"


def test_two_sessions_of_one_manager_do_not_close_each_other(linked):
    one, _ = linked(b"1.0\n", b"2.0\n")
    two, _ = linked(b"3.0\n")
    assert one.ask("A?") == ["1.0"]
    assert two.ask("A?") == ["3.0"]
    two.close()
    assert one.ask("B?") == ["2.0"]
