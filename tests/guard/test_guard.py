"""The guard by itself: a child of this process, a switch on a socket, and every reason it has to act."""

import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from dataclasses import replace

import pytest

from runner.bench.off import Asked, OffWords, switch_off_by_hand
from runner.bench.replies import Reading
from runner.bench.transports.choose import Wiring
from runner.errors import GuardMissing
from runner.guard.handle import Guard
from runner.guard.plan import Plan, Target
from runner.guard.pulse import Pulse

WORDS = OffWords("OUTP OFF", "*OPC?", Asked("OUTP?", Reading(r"\s*([01])\s*")))
WITH_CURRENT = replace(WORDS, current=Asked("MEAS:CURR?", Reading(r"\s*([-+0-9.E]+)\s*"), 0.05))


class Switch:
    """A supply that knows whether it is on. ``takes`` limits how many connections it accepts at once, ``mute`` its replies."""

    def __init__(self, takes=5):
        self.on, self.off_at, self.mute, self.takes = True, None, False, takes
        self.before_taking = lambda: None
        self.current = lambda: "3.0" if self.on else "0.02"
        self._open = 0
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.address = f"TCPIP::127.0.0.1::{self.listener.getsockname()[1]}::SOCKET"
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self):
        with contextlib.suppress(OSError):
            while True:
                connection, _ = self.listener.accept()
                self.before_taking()
                if self._open >= self.takes:
                    connection.close()
                    continue
                self._open += 1
                threading.Thread(target=self._talk, args=(connection,), daemon=True).start()

    def _talk(self, connection):
        with contextlib.suppress(OSError), connection, connection.makefile("rb") as lines:
            for line in lines:
                if b"OUTP OFF" in line and self.on and not self.mute:
                    self.on, self.off_at = False, time.monotonic()
                if b"?" in line and not self.mute:
                    reply = b"1" if b"*OPC?" in line else str(int(self.on)).encode()
                    reply = self.current().encode() if b"CURR?" in line else reply
                    connection.sendall(reply + b"\n")
        self._open -= 1

    def close(self):
        self.listener.close()


@pytest.fixture
def switch():
    made = Switch()
    yield made
    made.close()


def target(switch, role="supply"):
    return Target(role, Wiring(switch.address, "@py", 0.5), WORDS)


def until(condition, seconds=10.0):
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline
        time.sleep(0.01)


@pytest.fixture
def guard(switch, tmp_path):
    made = Guard([target(switch)], patience=1.0)
    made.armed(tmp_path)
    yield made
    made.stand_down()
    made._process.wait(10)


def record(folder):
    path = folder / "guard.jsonl"
    return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


def test_before_the_loop_begins_no_wait_is_held_against_the_runner(guard):
    """The check of the instruments announces its waits; what comes between it and the loop may take longer than the last."""
    guard.beat(-5.0)
    time.sleep(0.3)
    assert guard.alive
    assert guard._pulse.overdue < 0


def test_a_guard_that_is_stood_down_switches_nothing_and_is_gone(guard, switch, tmp_path):
    guard.beat(5.0)
    assert guard.alive
    guard.stand_down()
    assert not guard.alive
    assert switch.on
    assert not (tmp_path / "guard.jsonl").exists()
    guard.stand_down()  # again is nothing


def test_a_guard_whose_help_is_asked_switches_off_and_says_so_in_the_folder(guard, switch, tmp_path):
    guard.take_over("the runner could not")
    until(lambda: not guard.alive)
    assert not switch.on
    written = record(tmp_path)
    assert [each["what"] for each in written] == ["acting", "off", "said", "done"]
    assert written[-1]["not confirmed"] == []


def test_half_a_line_from_a_runner_that_is_gone_does_not_end_its_guard(guard, switch):
    os.write(guard._process.stdin.fileno(), b'{"by hand": ["SWITCH')
    guard.take_over("the runner could not")
    until(lambda: not guard.alive)
    assert not switch.on


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGHUP, signal.SIGQUIT, signal.SIGTSTP, signal.SIGTERM])
def test_what_ends_a_runner_does_not_end_its_guard(guard, switch, number):
    os.kill(guard._process.pid, number)
    time.sleep(0.1)
    assert guard.alive
    assert os.getsid(guard._process.pid) != os.getsid(0)


def test_beats_of_other_threads_do_not_count():
    pulse = Pulse.new()
    guard = Guard.__new__(Guard)
    guard._pulse, guard._owner = pulse, threading.get_ident()
    guard.beat(-1.0)
    stranger = threading.Thread(target=guard.beat, args=(100.0,))
    stranger.start()
    stranger.join()
    assert pulse.overdue >= 1.0
    pulse.close()


READER = """\
import sys, time
from runner.guard.pulse import Pulse
pulse, looks, wrong, end = Pulse(int(sys.argv[1])), 0, 0, time.monotonic() + 1.0
print("looking", flush=True)
while time.monotonic() < end:
    looks += 1
    wrong += not -6.0 < pulse.overdue < -4.0
print(looks, wrong)
"""


def test_a_pulse_is_never_seen_half_written():
    """Seen: a healthy run ended because a look fell between the clearing and the writing of the moment."""
    pulse = Pulse.new()
    pulse.beat(5.0)
    reader = subprocess.Popen(
        [sys.executable, "-c", READER, str(pulse.fd)], stdout=subprocess.PIPE, text=True, pass_fds=[pulse.fd]
    )
    assert reader.stdout.readline() == "looking\n"
    while reader.poll() is None:
        pulse.beat(5.0)
    looks, wrong = map(int, reader.communicate()[0].split())
    pulse.close()
    assert looks > 10_000
    assert wrong == 0


def test_a_guard_that_cannot_be_started_is_an_error_and_not_a_run_without_one(switch, monkeypatch, tmp_path):
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    with pytest.raises(GuardMissing, match="could not be started"):
        Guard([target(switch)])


def test_a_guard_that_does_not_come_up_is_an_error(switch, monkeypatch, tmp_path):
    monkeypatch.setattr(sys, "executable", "/bin/false")
    with pytest.raises(GuardMissing, match="did not start"):
        Guard([target(switch)]).armed(tmp_path)


# a runner that is only as much as a guard has to see: it starts one, beats, and then does what its argument says
RUNNER = """\
import os, sys, time, json
from pathlib import Path
from runner.guard.handle import Guard
from runner.guard.plan import Plan
from runner.guard.plan import Target
from runner.bench.transports.choose import Wiring
from runner.bench.off import Asked, OffWords
from runner.bench.replies import Reading
words = OffWords("OUTP OFF", "*OPC?", Asked("OUTP?", Reading("([01])")))
targets = [Target(f"supply{n}", Wiring(address, "@py", 0.5), words) for n, address in enumerate(sys.argv[3:])]
guard = Guard(targets, patience=1.0)
guard.armed(Path(sys.argv[1]))
guard.own()
guard.beat(0.1)
guard.by_hand(["Remove heat and ice from T1 now."])
print("beating", guard._process.pid, flush=True)
end = time.monotonic() + 30
while time.monotonic() < end:
    if sys.argv[2] == "slow":  # an exchange of 3 s, announced
        guard.beat(3.0); time.sleep(3.0)
        guard.stand_down(); sys.exit(0)
    if sys.argv[2] == "lingers":  # its files are closed, as of one that ends, and it is still there
        guard._process.stdin.close(); time.sleep(0.3); os._exit(1)
    guard.beat(0.1); time.sleep(0.02)
"""


@pytest.fixture
def runner(tmp_path):
    started = []

    def start(what, *switches):
        addresses = [each.address for each in switches]
        process = subprocess.Popen(
            [sys.executable, "-c", RUNNER, str(tmp_path), what, *addresses],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        started.append(process)
        return process, int(process.stdout.readline().split()[1])

    yield start
    for process in started:
        process.kill()
        process.communicate()


def test_a_killed_runner_leaves_everything_off_and_the_person_told(switch, runner, tmp_path):
    process, _ = runner("beats", switch)
    process.kill()
    began = time.monotonic()
    until(lambda: not switch.on)
    assert switch.off_at - began < 2.0
    _, err = process.communicate(timeout=10)  # its guard has the other end of the pipe, and lets go when it is done
    assert "supply0 switched off and read back" in err
    assert "Remove heat and ice from T1 now." in err
    assert f"tripwitness resume {tmp_path}" in err


def test_a_runner_that_is_not_quite_gone_when_everything_is_off_does_not_keep_the_guard_from_saying_so(
    switch, runner, tmp_path
):
    process, _ = runner("lingers", switch)
    until(lambda: not switch.on)
    _, err = process.communicate(timeout=10)
    assert "supply0 switched off and read back" in err
    assert f"tripwitness resume {tmp_path}" in err


def test_a_stopped_runner_is_ended_first_so_that_its_connection_is_free(runner, tmp_path):
    single = Switch(takes=1)
    process, _ = runner("beats", single)
    os.kill(process.pid, signal.SIGSTOP)
    until(lambda: not single.on, 8.0)
    assert process.wait(5) == -signal.SIGKILL
    until(lambda: record(tmp_path))
    assert "overdue" in record(tmp_path)[0]["why"]
    single.close()


def test_a_slow_exchange_that_was_announced_is_not_taken_for_a_hang(switch, runner, tmp_path):
    process, _ = runner("slow", switch)
    assert process.wait(15) == 0
    assert switch.on
    assert not (tmp_path / "guard.jsonl").exists()


def test_one_that_does_not_answer_is_named_and_the_others_are_off_meanwhile(switch, runner, tmp_path):
    dead = Switch()
    dead.mute = True
    process, _ = runner("beats", dead, switch)
    process.kill()
    began = time.monotonic()
    until(lambda: not switch.on)
    assert switch.off_at - began < 2.0
    until(lambda: any(each["what"] == "said" for each in record(tmp_path)), 8.0)
    (said,) = (each["lines"] for each in record(tmp_path) if each["what"] == "said")
    assert switch_off_by_hand(["supply0"]) in said
    dead.mute = False  # it comes back: the guard has not given up
    until(lambda: not dead.on)
    _, err = process.communicate(timeout=10)
    assert "Everything is off now." in err
    dead.close()


def test_one_that_cannot_be_asked_is_told_before_the_guard_goes_and_a_person_is_sent_to_look(switch, tmp_path):
    mute = Target("supply", Wiring(switch.address, "@py", 0.5), OffWords("OUTP OFF", None))
    late = threading.Lock()
    late.acquire()
    switch.before_taking = (
        late.acquire
    )  # the connection is taken late, long after a guard with nothing to wait for would be gone
    made = Guard([mute])
    made.armed(tmp_path)
    threading.Timer(0.3, late.release).start()
    made.take_over("the supply cannot be asked")
    until(lambda: not switch.on)
    until(lambda: any(entry["what"] == "said" for entry in record(tmp_path)))
    said = next(entry for entry in record(tmp_path) if entry["what"] == "said")
    assert "supply told to switch off and cannot be asked: look whether it is off." in said["lines"]
    made._process.wait(5)


def test_a_plan_travels_whole():
    plan = Plan(1, (Target("load", Wiring("A", "@py", 1.0), WITH_CURRENT),), 3, -1, 2.5)
    assert Plan.of(plan.line()) == plan


def test_the_guard_loads_one_transport_and_nothing_of_what_it_stands_behind():
    code = """
import json, sys
import runner.guard.__main__ as main
from runner.guard.act import Act
from runner.guard.plan import Plan, Target
from runner.bench.off import Asked, OffWords
from runner.bench.replies import Reading
from runner.bench.transports.choose import Wiring
Act(Plan(0, (Target("supply", Wiring("TCPIP::127.0.0.1::9::SOCKET", "@py", 1.0), OffWords("A", None, Asked("B", Reading("(.)")))),), 0)).prepare()
print(json.dumps([name for name, module in sys.modules.items() if module is not None]))
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    loaded = set(json.loads(done.stdout.splitlines()[-1]))
    assert not {name.split(".")[0] for name in loaded} & {"pandas", "numpy", "pydantic", "scipy", "textual", "ruamel"}
    rooms = {name.split(".")[1] for name in loaded if name.startswith("runner.")}
    assert rooms == {"guard", "bench", "errors", "vocabulary"}
    assert "pyvisa" in loaded
