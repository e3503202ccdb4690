"""How a pack's path opens can be said on its sheet: packs that keep a current alive, try again or ask for less, with and without.

Each is held against what the simulated bench wrote down as true.
"""

from dataclasses import replace

import pytest

from runner.evaluation.evaluate import worked_out
from runner.orders import Ask
from runner.record.folder import INPUTS, RESOLVED
from runner.rehearsal.truth import truth_of
from runner.sheets.answers import Answers
from runner.twin.path import PathTruth
from runner.workspace.job import DEMO_PACK, read_file
from tests.builders import short_rehearsal, user_file

KEEPS, TRIES, SLOPES = PathTruth(keeps=0.8), PathTruth(retries=(15.0, 5.0)), PathTruth(slope=10.0)
DERATES_AND_KEEPS = PathTruth(derates=True, keeps=0.06)


def sheet(says="", derates=""):
    """The demo's, with what is said of its path."""
    text = read_file(DEMO_PACK).text.replace("cells_in_series:", f"{says}\ncells_in_series:", 1)
    return user_file(
        "pack.yaml", text.replace("    trip:", f"    derates: {derates}\n    trip:", 1) if derates else text
    )


def run_of(out, path, seed=1, pack=None, **more):
    """One ramp up and one down on a pack whose path is like that."""
    changed = lambda truth: replace(truth, pack=replace(truth.pack, path=path))  # noqa: E731
    return short_rehearsal(out, seed=seed, pack=pack or sheet(), changed=changed, **more)


def outcomes(run):
    return [each.outcome for each in run.result.evaluation.recording.attempts]


def right(run, late=0.6):
    """Trip and release against what the simulated bench wrote down.

    The time between them to ``late`` (s), and both values to twice what they state: one ramp in twenty is beyond what it states.
    """
    trip, back = [each["t"] for each in run.truth["changes"]]
    one, other = [each.at for each in run.result.evaluation.recording.attempts]
    assert abs((other - one) - (back - trip)) <= late
    for name in ("trip", "release"):
        finding = run.finding(name)
        assert finding.value is not None, finding.reason
        true = truth_of(finding.as_json(), run.truth)
        assert abs(finding.value - true) <= 2 * finding.expanded_uncertainty, (name, finding.value, true)


def remarks(run):
    return [say for _, say in run.result.evaluation.story.remarks]


@pytest.mark.parametrize(
    ("scenario", "word"),
    [("keep-alive", "keep-alive"), ("retrying", "retrying"), ("derating", "limited by the pack"), ("sound", "")],
)
def test_a_path_that_does_more_than_open_and_close_is_told_on_the_certificate(tmp_path, scenario, word):
    words = {say.partition(":")[0] for say in remarks(short_rehearsal(tmp_path, scenario))}
    assert words & {"keep-alive", "retrying", "limited by the pack", "pre-charging"} == ({word} if word else set())


@pytest.mark.parametrize(
    ("path", "says", "derates", "silent"),
    [
        (KEEPS, "residual_current: 0.8 A", "", ["unclear"]),
        (TRIES, "retry_every: 15 s", "", ["stopped", "returned"]),
        (SLOPES, "", "45 degC", ["tapering"]),
        (DERATES_AND_KEEPS, "residual_current: 60 mA", "[52 degC, 53.5 degC]", ["unclear"]),
    ],
    ids=["keeps 0.8 A", "tries for 5 s", "derates evenly", "derates and keeps 60 mA"],
)
def test_what_the_sheet_says_makes_a_trip_and_a_release_that_hold_the_truth(tmp_path, path, says, derates, silent):
    said = run_of(tmp_path / "said", path, 1, sheet(says, derates))
    assert outcomes(said) == ["stopped", "returned"]
    right(said, late=TRIES.retries[1] if path is TRIES else 0.6)
    without = run_of(tmp_path / "silent", path, 1)
    assert outcomes(without) == silent, "and nothing of that could be measured where the sheet is silent"
    assert without.finding("release").value is None
    assert without.finding("trip").conformity != "fail", "what was not seen has not failed"


@pytest.mark.parametrize("scenario", ["keep-alive", "retrying", "derating"])
def test_scenarios_that_are_measured_without_a_word_are_measured_as_well_with_it(tmp_path, scenario):
    says = {"keep-alive": "residual_current: 60 mA", "retrying": "retry_every: 15 s", "derating": ""}[scenario]
    pack = sheet(says, "yes" if scenario == "derating" else "")
    silent, said = (
        short_rehearsal(tmp_path / name, scenario, pack=each) for name, each in (("silent", None), ("said", pack))
    )
    for run in (silent, said):
        right(run, late=3.0 if scenario == "retrying" and run is silent else 0.6)
    trips = [run.finding("trip") for run in (silent, said)]
    assert abs(trips[0].value - trips[1].value) < 0.01


def test_a_trip_of_a_pack_that_never_trips_is_not_made_by_what_its_sheet_says(tmp_path):
    """It asks for less and goes on so; whatever is declared, that is no trip."""

    def never(truth):
        late = tuple(
            replace(each, offsets=dict.fromkeys(each.offsets, 30.0)) if each.kind == "charge_over_temperature" else each
            for each in truth.pack.protections
        )
        return replace(truth, pack=replace(truth.pack, path=PathTruth(derates=True), protections=late))

    for number, pack in enumerate((None, sheet("residual_current: 60 mA\nretry_every: 15 s", "yes"))):
        run = short_rehearsal(tmp_path / str(number), pack=pack, changed=never)
        assert outcomes(run) == ["gave up"]
        assert run.finding("trip").conformity == "fail"
        assert not run.truth["changes"]


# ---- two explanations ------------------------------------------------------------------------------------------------


def asked_and(out, answer):
    """A pack that derates, by its sheet, and keeps 60 mA alive, which the sheet does not say. The question, and the run."""
    asked = []
    script = Answers(kind="answers", by="Ada", answers=("go on", "go on", answer), then="go on", wait="4 s")
    run = run_of(
        out, DERATES_AND_KEEPS, pack=sheet("", "yes"), answers=script, tell=lambda order, t: asked.append((order, t))
    )
    return [(order, t) for order, t in asked if isinstance(order, Ask) and len(order.choices) == 3], run


def test_a_person_who_saw_the_trip_is_asked_which_it_was_and_the_answer_is_recorded_and_used(tmp_path):
    ((ask, t),), run = asked_and(tmp_path, "a protection opened the path; the alarm lamp is lit")
    assert outcomes(run) == ["stopped", "returned"]
    right(run)
    reply = next(
        each for each in run.result.evaluation.story.replies if each.record == "T1: explanation of the current"
    )
    assert (reply.value, reply.by, reply.note) == ("a protection opened the path", "Ada", "the alarm lamp is lit")
    (trip,) = [each for each in run.truth["changes"] if each["change"] == "trip"]
    assert t > trip["t"]
    assert "pack asks for less current" in ask.say


@pytest.mark.parametrize("answer", ["cannot tell", "go on"])
def test_a_person_who_cannot_tell_and_a_script_that_goes_on_leave_the_trip_unmeasured(tmp_path, answer):
    (question, *_), run = asked_and(tmp_path, answer)
    assert question[0].question.startswith("step-")
    assert outcomes(run)[0] == "unclear"
    assert run.finding("trip").value is None
    assert run.finding("trip").conformity == "not measured"


# ---- worked out again ------------------------------------------------------------------------------------------------


def of_another_version(folder, *without):
    """The findings of a run that another version of the program made; ``without``: keys of resolved.json it did not have yet."""
    name = f"{INPUTS}/{RESOLVED}"
    content = folder.read_json(name)
    program = {key: value for key, value in content["program"].items() if key not in without}
    folder.write_json(name, {**content, "method": "another", "program": program})
    return worked_out(folder)


def test_a_kept_run_is_worked_out_again_with_what_its_sheet_says_and_what_a_person_said(tmp_path):
    sheets = {"said": (KEEPS, sheet("residual_current: 0.8 A")), "tries": (TRIES, sheet("retry_every: 15 s"))}
    runs = {name: run_of(tmp_path / name, path, pack=pack) for name, (path, pack) in sheets.items()}
    runs["asked"] = asked_and(tmp_path / "asked", "a protection opened the path")[1]
    for run in runs.values():
        again = of_another_version(run.result.folder)
        assert again.judged_otherwise == ()
        assert [each.value for each in again.findings] == [each.value for each in run.result.evaluation.findings]
    without = of_another_version(runs["said"].result.folder, "declared_path")
    assert any("limited by the pack" in each for each in without.judged_otherwise)
