"""The guard and the current: what it says of an instrument that reads back off while its own current flows on.

That a contact can stay closed when it is told to open: common practice, no source.
"""

import contextlib
import time

import pytest

from runner.bench.sessions.session import Session
from runner.bench.transports.choose import Wiring
from runner.guard.act import Act
from runner.guard.handle import Guard
from runner.guard.plan import Plan, Target
from tests.guard.test_guard import WITH_CURRENT, Switch, record, until


@pytest.fixture
def switch():
    made = Switch()
    yield made
    made.close()


class Answers:
    """A link to an instrument that answers so."""

    address, unsettled, session = "ASRL/dev/null", False, Session()

    def __init__(self, replies):
        self._replies = replies

    def ask(self, question):
        return [self._replies[question]()]

    def tell(self, *message, **manners):
        pass

    def hurry(self):
        pass

    def held(self):
        return contextlib.nullcontext()


def said_by(switch, folder, seconds=8.0):
    """What a guard that is asked for help says of a switch that reports its current."""
    made = Guard([Target("supply", Wiring(switch.address, "@py", 0.5), WITH_CURRENT)])
    made.armed(folder)
    made.take_over("the runner could not")
    until(lambda: any(entry["what"] == "said" for entry in record(folder)), seconds)
    return made, next(entry["lines"] for entry in record(folder) if entry["what"] == "said")


def test_one_that_reads_back_off_while_its_current_flows_is_named_until_it_does_not(switch, tmp_path):
    switch.current = lambda: "-3.0"
    made, lines = said_by(switch, tmp_path)
    assert "SWITCH SUPPLY OFF BY HAND: reads back off, but 3.00 A still flow." in lines
    assert not any("read back." in line for line in lines)
    assert made.alive
    switch.current = lambda: "0.01"
    until(lambda: not made.alive)
    assert record(tmp_path)[-1]["not confirmed"] == []


def test_a_current_that_takes_a_moment_to_go_calls_nobody(switch, tmp_path):
    switch.current = lambda: str(max(0.0, 3.0 - 3.0 * (time.monotonic() - (switch.off_at or time.monotonic()))))
    made, lines = said_by(switch, tmp_path)
    assert "supply switched off and read back." in lines
    assert not any("BY HAND" in line for line in lines)
    until(lambda: not made.alive)


def test_one_that_reads_back_off_and_gives_no_current_calls_nobody_and_it_is_said(switch, tmp_path):
    switch.current = lambda: "9.91E37"
    made, lines = said_by(switch, tmp_path)
    assert "supply reads back off; its current could not be read: look whether it is off." in lines
    assert not any("BY HAND" in line for line in lines)
    until(lambda: not made.alive)


def test_one_whose_current_is_heard_only_after_a_person_was_told_of_the_others_is_named_then(capfd, monkeypatch):
    """Its answer about the current takes longer than a person is left untold; then it is not zero."""
    monkeypatch.setattr("runner.guard.act.TOLD_AFTER", 0.2)
    monkeypatch.setattr("runner.guard.act.GIVE_UP", 1.0)
    monkeypatch.setattr(Act, "runner_gone", True)
    act = Act(Plan(0, (Target("supply", Wiring("A", "@py", 5.0), WITH_CURRENT),), 0))
    replies = {"OUTP?": lambda: "0", "MEAS:CURR?": lambda: time.sleep(0.5) or "3.0"}
    act._links["supply"] = Answers(replies)
    act.make_safe("the program has stopped")
    said = capfd.readouterr().err
    assert said.index("its current could not be read") < said.index("BY HAND: reads back off, but 3.00 A still flow.")
