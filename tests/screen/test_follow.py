"""Following a run from its folder: the same screen, and nothing that could reach the run."""

import json
import shutil

import pytest

from runner.conduct.follow import Follower, GrowingFile, newest_run
from runner.engine.steps.switches import asked_off
from runner.errors import RecordError
from runner.events import Answered
from runner.orders import Ask
from runner.screen.follow import FollowApp
from tests.builders import SHORT_PROCEDURE, rehearsed, user_file
from tests.screen.played import SIZES, matches_golden, played, shows, text, until


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    run = rehearsed(tmp_path_factory.mktemp("followed"), procedure=user_file("short.yaml", SHORT_PROCEDURE))
    return run.result.folder.path


def looked_at_to_the_end(follower):
    told = []
    for _ in range(1000):
        orders, samples = follower.look()
        told += orders
        if not orders and not samples:
            return told
    raise AssertionError("there was always more")


def test_a_finished_run_is_seen_to_its_end(folder):
    follower = Follower(folder)
    told = looked_at_to_the_end(follower)
    assert follower.ended is not None
    assert follower.ended.safe
    assert [type(order).__name__ for order, _ in told].count("Conclude") == 2
    assert {step.mark for step in follower.view.steps} <= {"done", "skipped"}
    assert follower.view.path == ""


def test_a_run_that_grows_is_followed_as_it_grows(folder, tmp_path):
    part = tmp_path / "part"
    shutil.copytree(folder, part)
    whole = {name: (folder / name).read_bytes() for name in ("events.jsonl", "samples.csv")}
    for name, content in whole.items():
        (part / name).write_bytes(content[: len(content) // 2])  # in the middle of a line
    follower = Follower(part)
    looked_at_to_the_end(follower)
    assert follower.ended is None
    before = follower.known.t
    for name, content in whole.items():
        (part / name).write_bytes(content)
    looked_at_to_the_end(follower)
    assert follower.ended is not None
    assert follower.known.t > before


def test_half_a_line_waits_for_its_end(tmp_path):
    path = tmp_path / "file"
    path.write_text("one\ntw")
    growing = GrowingFile(path)
    assert list(growing.lines()) == ["one"]
    path.write_text("one\ntwo\n")
    assert list(growing.lines()) == ["two"]


def test_a_torn_line_that_is_cut_off_before_the_run_goes_on_is_forgotten(tmp_path):
    path = tmp_path / "file"
    path.write_text("one\ntorn")
    growing = GrowingFile(path)
    assert list(growing.lines()) == ["one"]
    path.write_text("one\n")
    assert list(growing.lines()) == []
    path.write_text("one\ntwo\n")
    assert list(growing.lines()) == ["two"]


def test_following_writes_nothing(folder, tmp_path):
    before = {path: path.stat().st_mtime_ns for path in folder.rglob("*")}
    looked_at_to_the_end(Follower(folder))
    assert {path: path.stat().st_mtime_ns for path in folder.rglob("*")} == before


def test_of_a_session_the_run_that_was_begun_last_is_followed(folder, tmp_path):
    session = tmp_path / "session"
    shutil.copytree(folder, session / folder.name)
    entry = {"procedure": "short", "source": "short", "why": "", "state": "begun", "run": folder.name}
    content = {"pack": "", "bench": "", "sensors": [], "state_of_charge": None, "left_out": []}
    (session / "session.json").write_text(json.dumps({**content, "entries": [entry, {**entry, "run": ""}]}))
    assert newest_run(session) == session / folder.name
    assert newest_run(folder) == folder
    (session / "session.json").write_text(json.dumps({**content, "entries": [{**entry, "run": ""}]}))
    with pytest.raises(RecordError):
        newest_run(session)


def test_what_is_no_run_folder_is_said(tmp_path):
    with pytest.raises(RecordError):
        Follower(tmp_path)


@pytest.mark.parametrize("size", SIZES)
def test_the_screen_shows_trip_release_and_end_and_only_leaves(folder, size):
    async def play():
        app = FollowApp(Follower(folder))
        async with app.run_test(size=size) as pilot:
            await shows(pilot, "The run has ended; the bench is off.")
            await until(pilot, lambda: len(app.screen.marks.changes) == 2, "both changes")
            shown = text(app)
            assert "FOLLOWING" in shown
            assert "STOP" not in shown
            await until(pilot, lambda: not app.screen.query_one("Prompt").has_class("-change"), "the flash to end")
            await until(pilot, lambda: not app.screen.query_one("StripChart").is_behind, "the chart")
            await matches_golden(pilot, "follow", size)
            await pilot.press("x", "enter")
            assert not app.screen.stop.pressed
            await pilot.press("q")

    played(play())


def test_an_open_question_is_shown_as_its_operators(folder, tmp_path):
    part = tmp_path / "part"
    shutil.copytree(folder, part)
    lines = (folder / "events.jsonl").read_bytes().splitlines(keepends=True)
    asked = next(number for number, line in enumerate(lines) if b'"order":"Ask"' in line)
    (part / "events.jsonl").write_bytes(b"".join(lines[: asked + 1]))
    (part / "samples.csv").write_bytes((folder / "samples.csv").read_bytes().split(b"\n")[0] + b"\n")

    async def play():
        app = FollowApp(Follower(part))
        async with app.run_test(size=(80, 24)) as pilot:
            await shows(pilot, "the run waits for its operator")

    played(play())


def test_what_a_person_has_switched_on_is_shown_on_until_they_say_it_is_off(folder):
    follower = Follower(folder)
    asked = Ask("step-2", "Switch the charger on.", "charger on", "mark", role="charger", of="charger on")
    follower._happened(asked, 1.0)
    assert follower.view.by_hand_on == ("charger",)
    off = asked_off("switch-off-1", "charger")
    for event in (Answered(2.0, "step-2", "go on", "me"), off):
        follower._happened(event, 2.0)
    assert follower.view.by_hand_on == ("charger",)
    follower._happened(Answered(3.0, off.question, "stop", "me"), 3.0)
    assert follower.view.by_hand_on == ("charger",), "who stops has not said that it is off"
    follower._happened(off, 4.0)
    follower._happened(Answered(5.0, off.question, "go on", "me"), 5.0)
    assert follower.view.by_hand_on == ()
