"""The installed command in a terminal (tmux), by keys alone, read off its screen. Skipped where there is no tmux."""

import json
import os
import signal
import time
from pathlib import Path

import pytest

from runner.seal.verify import verify
from runner.workspace.job import DEMO_PACK
from tests.processes import LiveBench
from tests.terminals import NEEDS_TMUX, Terminal

pytestmark = NEEDS_TMUX


@pytest.fixture
def terminal(tmp_path):
    opened = []

    def start(arguments="", size=(80, 24)):
        opened.append(Terminal(tmp_path, size))
        opened[-1].begin(arguments)
        return opened[-1]

    yield start
    for each in opened:
        each.close()


def ends(folder):
    """What the journals in a folder end with."""
    found = []
    for journal in folder.glob("runs/*/events.jsonl"):
        lines = journal.read_text().splitlines()
        found.append(json.loads(lines[-1]) if lines else {})
    return found


def until_gone(process, seconds=60):
    deadline = time.monotonic() + seconds
    while Path(f"/proc/{process}").exists() and "zombie" not in Path(f"/proc/{process}/status").read_text():
        assert time.monotonic() < deadline, f"process {process} is still there"
        time.sleep(0.1)


def test_a_newcomer_gets_from_nothing_to_a_certificate_in_a_few_keys(terminal, tmp_path):
    person = terminal()
    person.shows("Enter begins.")
    person.press("Enter")  # rehearse, and watch
    person.shows("The run has ended. Enter:", 300)
    person.press("Enter", "c")
    person.shows("certificate.html", 120)
    assert person.keys <= 12
    assert [path.stat().st_size > 10_000 for path in tmp_path.glob("runs/*/certificate.html")] == [True]
    person.press("b")
    person.shows("The run has ended. Enter:")
    person.press("q")
    person.shows("Enter begins.", 120)
    person.press("q")
    person.shows("\n$\n")


def test_a_closed_terminal_ends_the_run_with_everything_off(terminal, tmp_path):
    person = terminal("rehearse --sensor T1 --speed 20")
    person.shows("HOLD POINT")
    deadline = time.monotonic() + 60
    while "supply ON" not in person.screen:
        assert time.monotonic() < deadline, person.screen
        if "HOLD POINT" in person.screen:
            person.press("Enter")
        time.sleep(0.3)
    (process,) = person.programs
    person.close()
    deadline = time.monotonic() + 60
    while not [end for end in ends(tmp_path) if end.get("order") == "End"]:
        assert time.monotonic() < deadline, ends(tmp_path)
        time.sleep(0.2)
    (end,) = ends(tmp_path)
    assert (end["early"], end["safe"]) == (True, True)
    until_gone(process)
    (folder,) = tmp_path.glob("runs/*")
    assert "ended early" in (folder / "certificate.html").read_text(encoding="utf-8").lower()
    assert verify(folder, None).differences == []
    assert verify(folder, None).unknown == [], "the certificate is sealed"


@pytest.mark.parametrize("when", ["on the first screen", "after the run"])
def test_a_closed_terminal_leaves_no_process_behind(terminal, when):
    if when == "on the first screen":
        person = terminal()
        person.shows("Enter begins.")
    else:
        person = terminal("rehearse --sensor T1 --speed 20")
        person.shows("HOLD POINT")
        person.press("x")
        person.shows("The run has ended. Enter:")
    (process,) = person.programs
    person.close()
    until_gone(process)


def test_a_run_is_followed_from_a_second_terminal(terminal, tmp_path):
    person = terminal("rehearse --sensor T1 --speed 20")
    person.shows("HOLD POINT")
    (folder,) = tmp_path.glob("runs/*")
    second = tmp_path / "second"
    second.mkdir()
    onlooker = Terminal(second)
    try:
        onlooker.begin(f"follow {folder}")
        onlooker.shows("the run waits for its operator")
        person.press("x")
        onlooker.shows("The run has ended; the bench is off.")
        onlooker.press("q")
        onlooker.shows("\n$")
    finally:
        onlooker.close()


def test_a_killed_run_gives_the_terminal_back_and_says_what_is_left_to_do(terminal, tmp_path):
    """The guard's words come on an ordinary terminal, below the command that was typed, and the shell can be used again."""
    with LiveBench(tmp_path, 25.0, actuator=False) as live:
        person = terminal(f"run {live.short} --pack {DEMO_PACK} --bench {live.bench} --sensor T1")
        person.shows("ONCE FOR THIS SESSION")
        person.press("Enter", "Enter")  # operator and date of receipt; the sheet has a customer
        person.shows("HOLD POINT")
        deadline = time.monotonic() + 60
        while not (live.anything_on and "Heat T1 quickly" in person.screen):
            assert time.monotonic() < deadline, person.screen
            if "HOLD POINT" in person.screen:
                person.press("Enter")
            time.sleep(0.3)
        (process,) = person.programs
        os.kill(process, signal.SIGKILL)
        person.shows("supply and load switched off and read back.")
        person.shows("Remove heat and ice from T1 now.")
        assert not live.anything_on
        person.press("e", "c", "h", "o", "Space", "h", "i", "Enter")
        person.shows("\nhi\n")
