"""Copying and working out are done beside the run: the loop's turns stay short, and what fails is asked for again."""

import os
import threading
import time

import pytest

from runner.conduct.answer_parsing import NotUnderstood, understood
from runner.errors import RecordError
from runner.events import Answered
from runner.orders import Ask, Level
from runner.record import attachments
from runner.record.attachments import keep
from runner.record.journal import read_journal
from runner.sheets.answers import Answers
from runner.workspace.job import find_procedure
from tests.builders import rehearsed, user_file

ASK = Ask("q", "Good?", wants="choice", choices=("good", "bad"))


def test_a_link_a_pipe_a_folder_and_a_giant_are_refused_with_the_reason(tmp_path, monkeypatch):
    (tmp_path / "real.jpg").write_bytes(b"x")
    (tmp_path / "link.jpg").symlink_to(tmp_path / "real.jpg")
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "big").write_bytes(b"x" * 2000)
    monkeypatch.setattr(attachments, "MOST_BYTES", 1000)
    for name, part in (
        ("link.jpg", f"a link that leads to {tmp_path / 'real.jpg'}"),
        ("pipe", "not a regular file"),
        (".", "not a regular file"),
        ("big", "at most"),
        ("none", "No such file"),
        ("nul\0", "cannot be attached"),
    ):
        with pytest.raises(RecordError, match=part):
            keep(str(tmp_path / name), tmp_path / "kept")
    with pytest.raises(NotUnderstood, match="a link that leads to"):
        understood(ASK, f"good @{tmp_path / 'link.jpg'}")
    assert not list((tmp_path / "kept").glob("*")) if (tmp_path / "kept").exists() else True


def test_a_file_that_grows_beyond_the_limit_while_it_is_read_is_refused_and_no_copy_is_left(tmp_path, monkeypatch):
    growing = tmp_path / "log"
    growing.write_bytes(b"x" * 500)
    monkeypatch.setattr(attachments, "MOST_BYTES", 1000)
    monkeypatch.setattr(attachments, "check", lambda path: growing.write_bytes(b"x" * 5000))
    with pytest.raises(RecordError, match="has more than"):
        keep(str(growing), tmp_path / "kept")
    assert list((tmp_path / "kept").iterdir()) == []


def test_what_cannot_be_read_is_asked_for_again_and_ends_no_run(tmp_path, monkeypatch):
    photo = tmp_path / "lid.jpg"
    photo.write_bytes(b"picture")
    calls = []

    def fails_once(path, folder):
        calls.append(path)
        if len(calls) == 1:
            raise RecordError("cannot be attached: Input/output error", path)
        return keep(path, folder)

    monkeypatch.setattr("runner.record.folder.keep", fails_once)
    asked = []
    run = rehearsed(
        tmp_path / "runs",
        procedure=find_procedure("arrival"),
        sensors=(),
        answers=Answers(kind="answers", answers=("go on", "go on", f"bad @{photo}", f"bad @{photo}"), then="go on"),
        tell=lambda order, t: asked.append(order.say) if isinstance(order, Ask) else None,
    )
    assert not run.result.outcome.early
    assert len(calls) == 2
    assert sum("Input/output error" in say for say in asked) == 1
    assert len(list((run.result.folder.path / "attachments").iterdir())) == 1


def test_the_loop_goes_on_while_a_slow_file_is_copied(tmp_path):
    """On a clock that runs by itself: the copy is in a thread, and the question stays open until it is there."""
    from runner.conduct.aside import Aside
    from runner.conduct.clock import ScaledClock
    from runner.record.folder import RunFolder
    from tests.builders import a_program

    may_go_on = threading.Event()

    class Slow(RunFolder):
        def keep_attachment(self, path):
            may_go_on.wait(10)
            return "name digest"

    aside = Aside(a_program(), Slow(tmp_path), ScaledClock())
    began = time.monotonic()
    aside.attach(Answered(1.0, "q", "bad", "me", files=("a",)))
    assert aside.done(2.0) == []
    assert time.monotonic() - began < 5
    may_go_on.set()
    found = []
    while not found and time.monotonic() - began < 10:
        found = aside.done(3.0)
        time.sleep(0.01)
    assert found == [Answered(3.0, "q", "bad", "me", files=("name digest",))]


def test_a_mark_with_a_file_is_of_the_moment_of_its_key_and_the_file_follows_it(tmp_path, monkeypatch):
    """A charger that a person switches: the first mark has a picture, the second one a picture that cannot be copied."""
    photo = tmp_path / "display.jpg"
    photo.write_bytes(b"picture")
    calls = []

    def fails_at_the_second(path, folder):
        calls.append(path)
        if len(calls) == 2:
            raise RecordError("cannot be attached: Input/output error", path)
        return keep(path, folder)

    monkeypatch.setattr("runner.record.folder.keep", fails_at_the_second)
    text = """\
kind: procedure
name: a-while
title: A while
purpose: to be quick
needs: [supply]
cautions: [Be careful.]
ceilings: {voltage: full charge voltage + 0.4 V, current: maximum charge current, time: 2 h}
steps:
  - charge: {voltage: full charge voltage, current: 0.125 C, until: time, for: 1 min}
"""
    answers = Answers(kind="answers", answers=("go on", f"@{photo}", "go on", f"@{photo}"), then="go on")
    run = rehearsed(
        tmp_path / "runs", procedure=user_file("p.yaml", text), sensors=(), nothing_wired=True, answers=answers
    )
    entries = list(read_journal(run.result.folder.path / "events.jsonl"))
    answered = [each for each in entries if isinstance(each.what, Answered)]
    key, files = [each for each in answered if "charger-on" in each.what.question]
    on = next(each.what for each in entries if isinstance(each.what, Level))
    assert (key.what.files, on.since) == ((), key.what.t), "it has counted before the file is there"
    assert "display.jpg" in files.what.files[0]
    (reply,) = [each for each in run.result.evaluation.story.replies if each.record == "charger on"]
    assert reply.files == files.what.files
    assert any("The mark counts" in say for _, say in run.result.evaluation.story.remarks)
    assert not run.result.outcome.early
