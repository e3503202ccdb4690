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

    def shout(self, *messages):
        pass

    def close(self):
        pass


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


def no_number():
    time.sleep(0.3)
    raise TimeoutError


def gone():
    raise OSError(5, "gone")


def acted(monkeypatch, state, current, gone_at=0.0):
    """What a guard writes down of an instrument that answers so; ``gone_at``: when the runner has gone, in s from now."""
    monkeypatch.setattr("runner.guard.act.TOLD_AFTER", 0.2)
    monkeypatch.setattr("runner.guard.act.GIVE_UP", 2.0)
    ends = time.monotonic() + gone_at
    monkeypatch.setattr(Act, "runner_gone", property(lambda act: time.monotonic() >= ends))
    act, wrote = Act(Plan(0, (Target("supply", Wiring("A", "@py", 5.0), WITH_CURRENT),), 0)), []
    monkeypatch.setattr(act, "_write", wrote.append)
    act._links["supply"] = Answers({"OUTP?": state, "MEAS:CURR?": current})
    act.runner_leaves()
    act.make_safe("the program has stopped")
    return wrote


STILL = "SWITCH SUPPLY OFF BY HAND: reads back off, but 3.00 A still flow."
NOT_SURE = "SWITCH SUPPLY OFF BY HAND: not confirmed off, may still be on."


def test_one_whose_current_is_heard_only_after_a_person_was_told_of_the_others_is_named_then(capfd, monkeypatch):
    """Its answer about the current takes longer than a person is left untold; then it is not zero, and then it is."""
    answers = iter(("3.0", "0.0"))

    def slowly():
        time.sleep(0.5)
        return next(answers)

    wrote = acted(monkeypatch, lambda: "0", slowly)
    said = capfd.readouterr().err
    assert said.index("its current could not be read") < said.index(STILL) < said.index("Everything is off now.")
    assert {"what": "said", "lines": [STILL]} in wrote, "it is in the evidence"
    assert wrote[-1]["not confirmed"] == []


@pytest.mark.parametrize("then", [lambda: "1", gone])
def test_one_whose_current_was_not_read_is_named_when_it_is_on_again_or_its_line_is_gone(capfd, monkeypatch, then):
    began = time.monotonic()
    wrote = acted(monkeypatch, lambda: then() if time.monotonic() - began > 0.2 else "0", no_number)
    said = capfd.readouterr().err
    assert said.index("its current could not be read") < said.index(NOT_SURE)
    assert "Everything is off now." not in said
    assert wrote[-1]["not confirmed"] == ["supply"]


def test_a_current_that_is_heard_while_the_runner_still_goes_is_said_when_it_has_gone(capfd, monkeypatch):
    began = time.monotonic()
    acted(monkeypatch, lambda: "0", lambda: time.sleep(0.4) or "3.0", gone_at=0.8)
    said = capfd.readouterr().err
    assert STILL in said
    assert "read back." not in said
    assert time.monotonic() - began > 0.8


def test_what_is_to_be_said_waits_for_a_runner_that_takes_its_time_to_go(capfd, monkeypatch):
    """It has the terminal for longer than the guard waits for it."""
    acted(monkeypatch, lambda: "1", no_number, gone_at=1.5)
    assert NOT_SURE in capfd.readouterr().err
