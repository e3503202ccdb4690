"""However a run ends, supply and load end up off. Asked of the simulated bench, not of the program."""

import errno
import io
import shutil

import pytest

from runner.conduct.interfaces import StopFlag
from runner.engine.steps.ramp import Heat
from runner.errors import RecordError, RunLost
from runner.measure.finding import NOT_REACHED
from runner.orders import BeginRamp, BeginStep, SwitchOn
from runner.plain import Printer
from runner.record import folder as folder_module
from runner.record.journal import Journal, read_journal
from runner.sheets.answers import Answers
from tests.builders import rehearsed, short_rehearsal


def was_on_and_is_off(run):
    switched = [change["on"] for change in run.truth["switched"] if change["what"] == "supply"]
    assert True in switched, "a test of the way out has to have been in"
    assert not run.truth["supply_on"]
    assert not run.truth["load_on"]
    assert run.world.hands.action == "still", "nobody heats or cools a sensor any more"


def when(order_type, act, count=1):
    """A teller that acts when the n-th order of a kind goes by."""
    seen = []

    def tell(order, t):
        if isinstance(order, order_type):
            seen.append(order)
            if len(seen) == count:
                act()

    return tell


def test_after_a_run_to_the_end(tmp_path):
    run = short_rehearsal(tmp_path)
    was_on_and_is_off(run)
    assert not run.result.outcome.early
    assert run.result.outcome.safe


def test_after_a_failed_pack(tmp_path):
    run = short_rehearsal(tmp_path, "no-protection")
    was_on_and_is_off(run)
    assert run.result.evaluation.exit_status == 1


@pytest.mark.parametrize(("moment", "more"), [(SwitchOn, ""), (BeginRamp, "Remove heat and ice from T1 now.")])
def test_after_the_stop_key(tmp_path, moment, more):
    stop = StopFlag()
    run = short_rehearsal(tmp_path, stop=stop, tell=when(moment, lambda: stop.press("the stop key")))
    was_on_and_is_off(run)
    assert run.result.outcome.early
    assert run.result.outcome.reason == "stopped by the stop key"
    assert run.result.outcome.urgent == more
    assert run.result.evaluation.exit_status == 4


def test_after_a_stop_at_a_hold_point(tmp_path):
    answers = Answers(kind="answers", answers=("go on", "go on", "go on", "go on", "stop"), then="stop")
    run = rehearsed(tmp_path, sensors=("T1", "T2"), answers=answers)
    was_on_and_is_off(run)
    assert run.result.outcome.early
    # what was measured before is kept
    assert run.finding("trip").conformity == "pass"
    assert run.finding("trip", "T2").reason == NOT_REACHED


def test_after_nobody_is_left_to_answer(tmp_path):
    answers = Answers(kind="answers", answers=("go on", "go on", "go on", "go on"))
    run = rehearsed(tmp_path, sensors=("T1", "T2"), answers=answers)
    was_on_and_is_off(run)
    assert run.result.outcome.reason == "stopped by the end of the input (nobody could answer any more)"


def test_after_an_exception_inside_a_step(tmp_path, monkeypatch):
    calls = []

    def broken(self, event, verdicts):
        calls.append(event)
        if len(calls) > 50:
            raise ZeroDivisionError("a defect")
        return []

    monkeypatch.setattr(Heat, "receive", broken)
    run = short_rehearsal(tmp_path)
    was_on_and_is_off(run)
    assert run.result.outcome.early
    assert "ZeroDivisionError: a defect" in run.result.outcome.reason
    assert "Remove heat and ice from T1 now." in run.result.outcome.urgent
    # the journal says why, and its chain is whole
    assert "a defect" in [entry.what for entry in read_journal(run.result.folder.path / "events.jsonl")][-1].reason


def test_after_an_exception_in_the_operators_face(tmp_path):
    def broken():
        raise RuntimeError("the face fell off")

    run = short_rehearsal(tmp_path, tell=when(BeginStep, broken, count=3))
    was_on_and_is_off(run)
    assert "the face fell off" in run.result.outcome.reason


def test_after_the_output_was_closed(tmp_path):
    """A closed terminal, a pipe to ``head``: what was printed to raised OSError, and the record had that as the reason."""

    class Closed(io.StringIO):
        def write(self, text):
            raise BrokenPipeError(errno.EPIPE, "Broken pipe")

    printer = Printer((), (), Closed())
    run = short_rehearsal(tmp_path, tell=when(BeginStep, lambda: printer.line("a line"), count=3))
    was_on_and_is_off(run)
    assert run.result.outcome.reason == "the output was closed (terminal or pipe): nobody could read on"


def test_after_a_full_disk(tmp_path, monkeypatch):
    append, lines = Journal.append, []

    def full(self, *entry):
        lines.append(entry)
        if len(lines) > 20:
            raise RecordError.cannot_write("events.jsonl", "No space left on device")
        append(self, *entry)

    monkeypatch.setattr(Journal, "append", full)
    run = short_rehearsal(tmp_path)
    was_on_and_is_off(run)
    assert "No space left" in run.result.outcome.reason or run.result.evaluation.story.end is None


@pytest.mark.parametrize("scenario", ["supply-silent", "probe-silent", "supply-hangs-up"])
def test_after_an_instrument_has_gone_silent(tmp_path, scenario):
    run = rehearsed(tmp_path, scenario)
    was_on_and_is_off(run)
    if scenario == "supply-silent":
        assert not run.result.outcome.safe  # it could not be read back, and the outcome says so
        assert "SWITCH SUPPLY OFF BY HAND" in run.result.outcome.urgent
    else:
        assert run.result.outcome.safe
    if scenario == "probe-silent":
        assert run.finding("trip").value is None
        assert run.finding("trip").conformity == "not measured"
        assert run.result.evaluation.exit_status == 4


def test_after_a_question_that_nobody_answers_while_something_is_on(tmp_path):
    """The first questions come with everything off and may wait for a lunch break; the one during the charge may not."""
    answers = Answers(kind="answers", then="go on", wait="16 min")
    run = rehearsed(tmp_path, answers=answers)
    was_on_and_is_off(run)
    assert run.result.outcome.early
    assert run.result.outcome.reason.startswith("no answer for 15 min while the charge was on")
    assert run.result.evaluation.exit_status == 4


def test_after_the_machine_was_suspended(tmp_path, monkeypatch):
    slept = []
    monkeypatch.setattr("runner.conduct.clock.VirtualClock.suspended", lambda self: 3600.0 * len(slept))
    run = short_rehearsal(tmp_path, tell=when(BeginRamp, lambda: slept.append(1)))
    was_on_and_is_off(run)
    assert run.result.outcome.reason.startswith("the computer was suspended for 3600 s")


def test_after_the_run_folder_was_removed(tmp_path):
    def remove():
        shutil.rmtree(next(iter((tmp_path / "runs").iterdir())))

    with pytest.raises(RunLost, match="removed or moved") as caught:
        short_rehearsal(tmp_path / "runs", tell=when(BeginRamp, remove))
    assert caught.value.status == 4


def test_after_a_disk_that_is_full_for_good(tmp_path, monkeypatch):
    """Not even the findings can be written: they are worked out all the same, and the status is that of an early end."""
    append, lines = Journal.append, []

    def full(self, *entry):
        lines.append(entry)
        if len(lines) > 30:
            raise RecordError.cannot_write("events.jsonl", "No space left on device")
        append(self, *entry)

    write = folder_module.write_whole

    def no_room(path, content):
        if len(lines) > 30:
            raise RecordError.cannot_write(str(path), "No space left on device")
        write(path, content)

    monkeypatch.setattr(Journal, "append", full)
    monkeypatch.setattr(folder_module, "write_whole", no_room)
    monkeypatch.setattr("runner.rehearsal.simulated_bench.write_whole", no_room)
    run = short_rehearsal(tmp_path)
    assert not run.world.supply_on
    assert run.result.evaluation.exit_status == 4
