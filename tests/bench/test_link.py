"""The link against servers that misbehave in every way that was measured: never a wrong value, never an endless wait."""

import contextlib
import socket
import threading
import time

import pytest

from runner.bench.framing import MOST_BYTES
from runner.bench.link import GRACE, OPEN_TIMEOUT, REOPEN_AFTER, Link
from runner.bench.visa import VisaTransport
from runner.errors import LONGEST_REPLY, LinkError

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


def a_link(address, timeout, **more):
    """A link through PyVISA, as a bench makes it."""
    wanted = {"identity": "MADE UP", "identify": "*IDN?", **more}
    return Link(lambda: VisaTransport(address, "@py", timeout), address, "meter", timeout=timeout, **wanted)


@pytest.fixture
def linked():
    links = []

    def make(*acts, identity="MADE UP", timeout=0.25):
        server = Server(*acts)
        link = a_link(server.address, timeout, identity=identity)
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


def test_a_refused_port_is_said_at_once_and_not_tried_again_before_its_time():
    listener = socket.create_server(("127.0.0.1", 0))
    address = f"TCPIP::127.0.0.1::{listener.getsockname()[1]}::SOCKET"
    listener.close()
    clock = [0.0]
    link = a_link(address, 0.3, now=lambda: clock[0])
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


# ---- deadline and size: ours, whatever the backend does -------------------------------------------------------------


class Endless(Server):
    """Answers any question with bytes that have no line end, at the given pace, and counts those that were taken."""

    def __init__(self, piece, pause):
        self.piece, self.pause = piece, pause
        super().__init__()

    def _talk(self, connection):
        with contextlib.suppress(OSError), connection, connection.makefile("rb") as lines:
            for line in lines:
                self.heard.append(line.decode().strip())
                while line.strip().endswith(b"?"):
                    connection.sendall(self.piece)
                    time.sleep(self.pause)


@pytest.mark.parametrize(
    ("piece", "pause", "kind"),
    [(b"1234567890" * 400, 0.0, "garbage"), (b"1", 0.1, "timeout"), (b"", 5.0, "timeout")],
    ids=["endless", "a byte now and then", "nothing"],
)
def test_an_exchange_ends_at_its_deadline_or_at_its_limit_and_off_still_goes_out(piece, pause, kind):
    server = Endless(piece, pause)
    link = a_link(server.address, 0.3, identify=None)
    began = time.monotonic()
    with pytest.raises(LinkError) as caught:
        link.ask("A?")
    assert time.monotonic() - began < 0.3 + GRACE + 0.5, "generous: the machine may be busy"
    assert caught.value.kind == kind
    assert len(str(caught.value)) < 2 * LONGEST_REPLY
    assert link.shout("OUTP OFF")
    deadline = time.monotonic() + 2
    while "OUTP OFF" not in server.heard and time.monotonic() < deadline:
        time.sleep(0.01)
    assert server.heard[-1] == "OUTP OFF"
    server.close()


def test_a_reply_of_megabytes_is_refused_by_its_size_and_quoted_by_its_beginning(linked):
    link, _ = linked(b"\x00\x1b[31m" + b"7" * (3 * MOST_BYTES) + b"\n", b"7.5\n", timeout=2.0)
    with pytest.raises(LinkError, match="longer than 65536 bytes") as caught:
        link.ask("A?")
    assert "\x1b" not in str(caught.value)
    assert "\\x1b[31m777" in str(caught.value)
    assert link.ask("B?") == ["7.5"]


class Raising:
    """A transport that raises at one of its calls, or hangs there."""

    blocks, sees_unread = True, False

    def __init__(self, where, what):
        self.where, self.what, self.closed = where, what, threading.Event()

    def _perhaps(self, where):
        if where == self.where:
            if self.what == "hang":
                time.sleep(30)
            raise self.what

    def open(self, seconds):
        self._perhaps("open")

    def write(self, message):
        self._perhaps("write")

    def read(self, limit, seconds):
        self._perhaps("read")
        return b"1\n"

    def close(self):
        self.closed.set()
        self._perhaps("close")


class RPCError(Exception):
    """Stands for the errors that network backends define for themselves."""


# what pyvisa-py, its HiSLIP and VXI-11 layers, or the machine may raise; the last two are no Exceptions
@pytest.mark.parametrize(
    "what",
    [RuntimeError("unexpected message"), RPCError("can't read"), AssertionError(), MemoryError(), KeyError("x"),
     EOFError(), RecursionError(), ValueError("odd"), OSError(5, "I/O error"), UnicodeDecodeError("ascii", b"\xff", 0, 1, "x"),
     StopIteration(), SystemExit(1), KeyboardInterrupt()],
    ids=lambda each: type(each).__name__,
)  # fmt: skip
@pytest.mark.parametrize("where", ["open", "write", "read", "close"])
def test_whatever_a_backend_raises_wherever_is_an_error_of_ours_with_its_type_named(where, what):
    made = []

    def connect():
        made.append(Raising(where, what))
        return made[-1]

    link = Link(connect, "ADDRESS", "supply", timeout=0.3)
    if where == "close":
        assert link.ask("A?") == ["1"]
        link.close()
    else:
        with pytest.raises(LinkError) as caught:
            link.ask("A?")
        if not isinstance(what, TimeoutError | ValueError) or where != "open":
            assert type(what).__name__ in str(caught.value) or str(what) in str(caught.value)
        assert link.shout("OUTP OFF") is (where == "read")
    assert all(each.closed.wait(2) for each in made), "no connection is left open"


@pytest.mark.parametrize("where", ["open", "write", "read", "close"])
def test_a_backend_that_hangs_holds_nobody_up(where):
    link = Link(lambda: Raising(where, "hang"), "ADDRESS", "supply", timeout=0.3)
    began = time.monotonic()
    if where == "close":
        assert link.ask("A?") == ["1"]
        link.close()
    else:
        with pytest.raises(LinkError) as caught:
            link.ask("A?")
        assert caught.value.kind == ("refused" if where == "open" else "timeout")
    assert time.monotonic() - began < OPEN_TIMEOUT + 1.0


def test_every_wait_is_announced_before_it_begins(linked):
    told = []
    link, _ = linked(b"1.5\n")
    link.announce = told.append
    link.ask("A?")
    assert told == [OPEN_TIMEOUT, 0.25 + GRACE, 0.25 + GRACE]


def test_an_old_entry_in_the_error_queue_is_noted_and_blamed_on_nothing(linked):
    link, server = linked(b'-113,"Undefined header"\n', b'0,"No error"\n', b"7.5\n")
    link.queue = ("SYST:ERR?", r"[+-]?0\b.*")
    assert link.ask("A?") == ["7.5"]
    assert server.heard == ["*IDN?", "SYST:ERR?", "SYST:ERR?", "A?"]
    assert link.take_old_errors() == ['-113,"Undefined header"']
    assert link.take_old_errors() == []


def test_an_error_queue_without_an_end_is_a_fault(linked):
    link, _ = linked(*[b'-350,"Queue overflow"\n'] * 100)
    link.queue = ("SYST:ERR?", r"[+-]?0\b.*")
    with pytest.raises(LinkError, match="does not empty"):
        link.ask("A?")
