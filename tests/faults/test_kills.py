"""Whatever ends the runner, by force or by halting it, everything is off soon after, and the record is whole.

The figures are printed by tests/benchmarks/kill_trials.py; here are a few of each kind, with generous bounds.
"""

import json
import os
import random
import signal
import time
from pathlib import Path

import pytest

from runner.conduct.texts.runs import BY_SIGNAL
from runner.record.journal import read_journal
from runner.record.samples import read_samples
from runner.seal.signers import known
from runner.seal.verify import verify
from tests.processes import LiveBench, until

SPEED = 25.0


@pytest.fixture
def live(tmp_path):
    with LiveBench(tmp_path, SPEED) as bench:
        yield bench


def started(live):
    """A run with its output on: its process and folder."""
    before = set((live.folder / "runs").glob("*"))
    process = live.start(*live.arguments())
    (folder,) = until(lambda: set((live.folder / "runs").glob("*")) - before, 30, "a run folder")
    until(lambda: live.anything_on, 30, "something to be on")
    return process, folder


def said_by_the_guard(folder):
    return [json.loads(line) for line in (folder / "guard.jsonl").read_text().splitlines()]


def test_kills_at_random_instants_leave_nothing_on_and_the_run_goes_on_after_them(live):
    dice = random.Random(5)
    for turn in range(2):
        process, folder = started(live)
        time.sleep(dice.uniform(0.0, 1.0))
        process.kill()
        killed = time.monotonic()
        until(lambda: not live.anything_on, 5, "the bench to be off")
        assert live.last_off - killed < 5.0
        out, err = process.communicate(timeout=20)
        assert "switched off and read back" in err
        assert "supply, load and actuator" in err
        assert live.world.hands.action == "still", "nothing heats any more"
        done = until(
            lambda folder=folder: [line for line in said_by_the_guard(folder) if line["what"] == "done"], 5, "done"
        )
        assert done[0]["not confirmed"] == []
        entries = list(read_journal(folder / "events.jsonl"))  # its chain is whole
        told = [line.split("  ", 1)[1] for line in out.splitlines() if "  STEP" in line or "  WATCH" in line]
        assert len(told) <= sum(type(entry.what).__name__ in ("BeginStep", "Judge") for entry in entries)
        assert turn == 0 or len(read_samples(folder / "samples.csv"))
        found = verify(folder, {})
        assert found.status == 3
        assert any("no seal" in each for each in found.unknown)
        assert any("whole up to line" in each for each in found.said)
    process = live.start("resume", str(folder), "--plain", "--answers", str(live.answers))
    out, err = process.communicate(timeout=120)
    assert process.returncode == 0, out + err
    assert not live.anything_on
    assert verify(folder, known()).status == 0


@pytest.mark.parametrize(
    "number",
    [
        signal.SIGSTOP,
        signal.SIGHUP,
        *[pytest.param(each, marks=pytest.mark.long) for each in (signal.SIGTSTP, signal.SIGQUIT)],
    ],
)
def test_a_run_that_is_halted_leaves_everything_off(live, number):
    process, folder = started(live)
    time.sleep(0.5)
    os.kill(process.pid, number)
    until(lambda: not live.anything_on, 10, "the bench to be off")
    out, err = process.communicate(timeout=60)
    if number == signal.SIGSTOP:
        assert process.returncode == -signal.SIGKILL
        assert "overdue" in said_by_the_guard(folder)[0]["why"]
        assert "TRIPWITNESS GUARD" in err
    else:
        assert process.returncode == 4, err
        assert not (folder / "guard.jsonl").exists()
        end = list(read_journal(folder / "events.jsonl"))[-1].what
        assert signal.Signals(number).name in end.reason
        assert "Traceback" not in err
        assert f"stopped by {BY_SIGNAL[signal.Signals(number).name]}" in out
    supply = [change["on"] for change in live.world.switched if change["what"] == "supply"]
    assert supply == [True, False]


def test_a_run_whose_guard_is_killed_ends_early_and_says_so(live):
    process, folder = started(live)
    tasks = Path(f"/proc/{process.pid}/task").glob("*/children")
    (guard,) = [int(child) for task in tasks for child in task.read_text().split()]
    os.kill(guard, signal.SIGKILL)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 4, err
    assert "the guard process has stopped" in out
    assert not live.anything_on
    assert not (folder / "guard.jsonl").exists()


def test_a_second_runner_is_refused_and_ruins_nothing(tmp_path):
    with LiveBench(tmp_path, 3.0) as live:  # slow: the first has to be at work while three others are refused
        _second_runner(live)


def _second_runner(live):
    process, folder = started(live)
    second = live.start("resume", str(folder), "--plain", "--answers", str(live.answers))
    _, err = second.communicate(timeout=60)
    assert second.returncode == 4
    assert f"in use by process {process.pid} (tripwitness run)" in err
    third = live.start(*live.arguments())
    _, err = third.communicate(timeout=60)
    assert third.returncode == 4
    assert "supply at TCPIP" in err
    assert f"in use by process {process.pid}" in err
    fourth = live.start("bench", str(live.bench))
    _, err = fourth.communicate(timeout=60)
    assert fourth.returncode == 4
    assert f"in use by process {process.pid}" in err
    assert process.poll() is None
    assert live.anything_on, "nobody has touched the bench of the first"
    process.send_signal(signal.SIGTERM)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 4, out + err
    assert not live.anything_on
    entries = list(read_journal(folder / "events.jsonl"))  # its chain is whole
    assert "SIGTERM" in entries[-1].what.reason
