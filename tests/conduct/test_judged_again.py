"""A kept run goes through the watcher again: the same findings as live, and a corrected watcher reaches old runs."""

import zipfile

import pytest

from runner.engine.watch.watcher import Watcher
from runner.evaluation.evaluate import worked_out
from runner.record.folder import INPUTS, RESOLVED, RunFolder
from runner.vocabulary import Outcome, WatchWord
from runner.workspace.job import find_procedure
from tests.builders import rehearsed, short_rehearsal
from tests.conduct.test_old_runs import ARCHIVE, RUNS, folder_of


@pytest.fixture(scope="module")
def short(tmp_path_factory):
    """As if another version of the watcher had seen it."""
    return seen_by_another(short_rehearsal(tmp_path_factory.mktemp("short")).result.folder)


def seen_by_another(folder):
    name = f"{INPUTS}/{RESOLVED}"
    folder.write_json(name, {**folder.read_json(name), "method": "an earlier one"})
    return folder


@pytest.mark.parametrize("name", RUNS)
def test_todays_watcher_agrees_with_what_old_runs_were_judged_live(tmp_path, name):
    with zipfile.ZipFile(ARCHIVE) as archive:
        archive.extractall(tmp_path)
    evaluation = worked_out(RunFolder(folder_of(tmp_path, name)))
    assert evaluation.judged_otherwise == ()
    for again, live in zip(evaluation.recording.attempts, evaluation.story.attempts, strict=True):
        assert again.outcome == live.outcome
        sooner = 0.3 if again.outcome == "returned" else 1e-5  # the first sample of a rise counts now, however small
        assert live.at - sooner <= again.at <= live.at + 1e-5


@pytest.mark.parametrize(
    ("procedure", "charge"),
    [("over-voltage", 0.97), ("under-voltage", 0.1), ("discharge-over-current", 0.6), ("full-charge", 0.9)],
)
@pytest.mark.parametrize("scenario", ["sound", "probe-dropouts"])
def test_and_with_runs_of_every_kind(tmp_path, procedure, charge, scenario):
    run = rehearsed(tmp_path, scenario, procedure=find_procedure(procedure), sensors=(), state_of_charge=charge)
    assert worked_out(seen_by_another(run.result.folder)).judged_otherwise == ()


def test_what_todays_watcher_has_seen_live_is_not_looked_at_again(tmp_path, monkeypatch):
    from runner.evaluation import judged_again as module

    folder = short_rehearsal(tmp_path).result.folder
    monkeypatch.setattr(module, "Watcher", None)
    assert worked_out(folder).judged_otherwise == ()


def test_a_corrected_watcher_reaches_an_old_run_and_says_so(short, monkeypatch):
    """As if today's watcher saw a loose lead where the one that ran saw a trip."""
    say = Watcher._say

    def corrected(self, word, why, since, *between):
        return (
            say(self, WatchWord.OPEN_LEAD, "the lead was off", since)
            if word is WatchWord.STOPPED
            else say(self, word, why, since, *between)
        )

    monkeypatch.setattr(Watcher, "_say", corrected)
    evaluation = worked_out(short)
    heat = next(each for each in evaluation.recording.attempts if each.kind == "heat")
    assert heat.outcome == Outcome.OPEN_LEAD
    assert any(
        "judged stopped during the run; this version says open lead (the lead was off)" in each
        for each in evaluation.judged_otherwise
    )
    trip = next(each for each in evaluation.findings if each.name == "trip")
    assert trip.conformity == "not measured"


def test_and_a_trip_that_was_not_recognised_live_is_measured(short, monkeypatch):
    """The other way round: the run's watcher called the trip full; today's knows better."""
    from runner.evaluation import evaluate as module

    tell = module.tell

    def as_it_was(*arguments):
        from dataclasses import replace

        story = tell(*arguments)
        attempts = tuple(
            replace(each, outcome=Outcome.FULL, why="the taper") if each.kind == "heat" else each
            for each in story.attempts
        )
        return replace(story, attempts=attempts)

    before = worked_out(short)
    monkeypatch.setattr(module, "tell", as_it_was)
    after = worked_out(short)
    assert any("judged full during the run; this version says stopped" in each for each in after.judged_otherwise)
    values = [next(each for each in found.findings if each.name == "trip").value for found in (before, after)]
    assert values[0] == pytest.approx(values[1], abs=0.01)
