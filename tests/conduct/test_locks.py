"""One runner for an instrument and for a run folder; the second is told who has it; a dead process holds nothing."""

import os
import signal
import subprocess
import sys
import time

import pytest

from runner.errors import Busy
from runner.workspace.locks import Locks, resolved

ADDRESS = "TCPIP::192.0.2.77::5025::SOCKET"
HOLDER = """\
import sys, time
from pathlib import Path
from runner.workspace.locks import Locks
locks = Locks("a test")
locks.instrument("supply", sys.argv[1])
locks.folder(Path(sys.argv[2]))
print("held", flush=True)
time.sleep(60)
"""


@pytest.fixture(autouse=True)
def folder_of_our_own(tmp_path, monkeypatch):
    (tmp_path / "runtime").mkdir()
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "runtime"))


@pytest.fixture
def holder(tmp_path):
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDER, ADDRESS, str(tmp_path)], stdout=subprocess.PIPE, text=True, env=dict(os.environ)
    )
    assert process.stdout.readline() == "held\n"
    yield process
    process.kill()
    process.communicate()


@pytest.mark.parametrize("address", [ADDRESS, "tcpip0::192.0.2.77::5025::socket"])
def test_the_second_is_told_who_has_the_instrument(holder, address):
    with Locks("me") as locks, pytest.raises(Busy) as caught:
        locks.instruments([("probe", "TCPIP::192.0.2.78::5025::SOCKET"), ("load", address)])
    assert f"process {holder.pid} (a test) since" in str(caught.value)
    assert address in str(caught.value)
    with Locks("me") as locks:  # what was taken before the refusal was let go
        locks.instrument("probe", "TCPIP::192.0.2.78::5025::SOCKET")


def test_the_second_is_told_who_has_the_folder(holder, tmp_path):
    with Locks("me") as locks, pytest.raises(Busy, match="in use by process"):
        locks.folder(tmp_path / ".")


def test_a_dead_process_holds_nothing(holder):
    holder.kill()
    holder.wait()
    with Locks("me") as locks:
        locks.instrument("supply", ADDRESS)


def test_of_a_program_that_has_ended_its_guard_is_named(tmp_path):
    """The guard holds the lock that it inherited until everything has read back as off."""
    guard = "import subprocess; print(subprocess.Popen(['sleep', '60'], pass_fds=locks.descriptors, stdout=-3, stderr=-3).pid)"
    leaves = HOLDER.replace("time.sleep(60)", guard)
    made = subprocess.run(
        [sys.executable, "-c", leaves, ADDRESS, str(tmp_path)], capture_output=True, text=True, check=True
    )
    with Locks("me") as locks, pytest.raises(Busy) as caught:
        locks.instrument("supply", ADDRESS)
    assert "the guard of process" in str(caught.value)
    assert "that program has ended" in str(caught.value)
    assert "switch off by hand" in str(caught.value)
    os.kill(int(made.stdout.split()[-1]), signal.SIGKILL)


def test_two_roles_of_one_instrument_take_its_lock_once():
    with Locks("me") as locks:
        locks.instruments([("supply", ADDRESS), ("meter", ADDRESS)])
        assert len(locks.descriptors) == 1
    with Locks("me") as locks:
        locks.instrument("supply", ADDRESS)


def test_a_lock_that_this_process_is_about_to_let_go_is_waited_for():
    """The check of the instruments on the screen before ends a moment after the screen has gone."""
    import threading

    first = Locks("check")
    first.instrument("supply", ADDRESS)
    threading.Timer(0.5, first.close).start()
    began = time.monotonic()
    with Locks("run") as locks:
        locks.instrument("supply", ADDRESS)
    assert time.monotonic() - began < 2.5


def test_names_of_one_host_are_one_address():
    assert resolved("TCPIP::localhost::5025::SOCKET") == resolved("TCPIP0::127.0.0.1::5025::SOCKET")
    assert resolved("TCPIP::127.0.0.1::5026::SOCKET") != resolved("TCPIP0::127.0.0.1::5025::SOCKET")
    assert resolved("no address at all") == "no address at all"
