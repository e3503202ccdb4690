"""A run whose output is closed is over all the same: everything off, sealed, and with its certificate."""

import json
import os
import pty
import signal
import subprocess
import threading
import time
from pathlib import Path

import pytest

from runner.screen import app
from runner.seal.verify import verify
from runner.workspace.job import DEMO_PACK
from tests.builders import SHORT_PROCEDURE, a_file
from tests.processes import PROGRAM

on_a_full_disk = pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")


@pytest.fixture
def command(tmp_path):
    short = a_file(tmp_path / "short.yaml", SHORT_PROCEDURE)
    said = ["rehearse", str(short), "--sensor", "T1", "--unattended", "--plain", "--scenario", "sound"]
    return [*PROGRAM, *said, "--out", str(tmp_path / "runs")]


def the_run(tmp_path):
    (folder,) = tmp_path.glob("runs/*")
    found = verify(folder, None)
    assert (found.differences, found.unknown) == ([], [])
    assert (folder / "certificate.html").is_file()
    return folder


def test_lines_on_a_terminal_that_is_gone_leave_a_certificate(command, tmp_path):
    ours, theirs = pty.openpty()
    process = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, start_new_session=True)
    os.close(theirs)
    said = b""
    while b"CAUTIONS" not in said:
        said += os.read(ours, 10_000)
    os.close(ours)
    process.send_signal(signal.SIGHUP)
    assert process.wait(300) == 4, "ended early"
    the_run(tmp_path)


def test_a_pipe_that_nobody_reads_to_its_end_leaves_a_certificate(command, tmp_path):
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        next(line for line in process.stdout if b" END " in line)
        process.stdout.close()
        assert process.wait(300) == 0, "what was found is not changed by who reads it"
        assert process.stderr.read() == b""
    the_run(tmp_path)


def by_shell(arguments, redirected):
    """The program as a shell starts it with that: exit status, and what standard error said."""
    done = subprocess.run(
        ["sh", "-c", f'exec "$@" {redirected}', "sh", *arguments], stderr=subprocess.PIPE, timeout=300
    )
    return done.returncode, done.stderr.decode()


@pytest.mark.parametrize("closed", [">&-", "<&- >&- 2>&-"])
def test_a_run_whose_streams_were_closed_before_it_began_goes_to_its_end(command, tmp_path, closed):
    assert by_shell(command, closed) == (0, "")
    the_run(tmp_path)


@on_a_full_disk
def test_json_that_cannot_be_written_is_no_pass_and_the_run_is_whole(command, tmp_path):
    status, said = by_shell([*command, "--json"], ">/dev/full")
    assert status == 4
    assert "standard output: cannot be written: No space left on device" in said.splitlines()[-1]
    assert json.loads((the_run(tmp_path) / "findings.json").read_text())["conformity"] == "pass"


@pytest.mark.parametrize(
    ("arguments", "redirected", "status", "lines"),
    [
        (["check", str(DEMO_PACK)], ">&-", 0, 0),
        (["check", "is-not-there.yaml"], ">&-", 2, 1),
        (["check", "is-not-there.yaml"], "2>&-", 2, 0),
        (["--help"], ">&-", 0, 0),
        pytest.param(["schema", "pack"], ">/dev/full", 4, 1, marks=on_a_full_disk),
        pytest.param(["check", str(DEMO_PACK)], ">/dev/full", 4, 1, marks=on_a_full_disk),
        pytest.param(["--help"], ">/dev/full", 0, 0, marks=on_a_full_disk),
    ],
)
def test_what_cannot_be_printed_is_at_most_a_sentence(arguments, redirected, status, lines):
    got, said = by_shell([*PROGRAM, *arguments], redirected)
    assert (got, len(said.splitlines())) == (status, lines), said
    assert "Exception" not in said


@pytest.mark.parametrize("back", [False, True])
def test_the_way_out_makes_the_certificate_once_and_ends_the_process(monkeypatch, back):
    """``back``: the screen comes back in the very moment, and makes the certificate itself."""
    done, made = [], []

    class Thread:
        done, outcome = True, "result"

    class Stop:
        signal = "SIGHUP"

    def gone(status):
        done.append(status)
        over.set()  # the process goes on here

    monkeypatch.setattr(app, "GOODBYE", 0.05)
    monkeypatch.setattr(app, "LOOK_EVERY", 0.01)
    monkeypatch.setattr(app.os, "_exit", gone)
    over, leaving = threading.Event(), threading.Lock()
    if back:
        leaving.acquire()
    way_out = threading.Thread(target=app._way_out, args=(Thread(), Stop(), over, leaving, made.append))
    way_out.start()
    if back:
        time.sleep(0.3)
        over.set()
        leaving.release()
    way_out.join(10)
    assert not way_out.is_alive()
    assert (made, done) == (([], []) if back else (["result"], [4]))
