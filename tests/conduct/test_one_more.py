"""A rehearsal with a threshold near its limit: one more ramp is offered, taken, and counts."""

import pytest

from runner.conduct.answer_parsing import understood
from runner.events import Reckoned
from runner.measure import thermal
from runner.orders import Ask
from runner.record.folder import EVENTS
from runner.record.journal import read_journal
from runner.sheets.answers import Answers
from runner.workspace.job import DEMO_PACK, UserFile
from tests.builders import SHORT_PROCEDURE, rehearsed, user_file

RAMP = SHORT_PROCEDURE[SHORT_PROCEDURE.index("        - heat:") : SHORT_PROCEDURE.index("        - off")]
OFFER = "        - offer:\n            say: Ten minutes.\n            steps:\n" + "".join(
    f"      {line}\n" for line in RAMP.splitlines()
)


def run_with(out, tolerance, *answers):
    procedure = SHORT_PROCEDURE.replace("        - off\n", OFFER + "        - off\n")
    pack = DEMO_PACK.read_text(encoding="utf-8").replace("tolerance: 2 K", f"tolerance: {tolerance}", 1)
    script = Answers(kind="answers", answers=("go on", "go on", *answers), then="go on", wait="1 s")
    return rehearsed(
        out, procedure=user_file("one-more.yaml", procedure), pack=UserFile("pack.yaml", pack), answers=script
    )


def reckoned(run):
    return [entry.what for entry in read_journal(run.result.folder.path / EVENTS) if isinstance(entry.what, Reckoned)]


@pytest.fixture
def _worth_it(monkeypatch):
    """The probe's error is most of the interval on the simulated bench: let any gain count."""
    monkeypatch.setattr(thermal, "WORTH_A_REPEAT", 1e-6)


@pytest.mark.usefixtures("_worth_it")
@pytest.mark.parametrize(("answer", "ramps"), [("one more", 2), ("go on", 1)])
def test_near_a_limit_one_more_ramp_is_offered_and_counts_if_it_is_taken(tmp_path, answer, ramps):
    run = run_with(tmp_path, "0.4 K", answer)
    (reckon,) = reckoned(run)
    assert reckon.gain > 0
    assert "close to a limit" in reckon.why
    assert len(run.finding("trip").repeats) == len(run.finding("release").repeats) == ramps
    assert not run.result.outcome.early


@pytest.mark.usefixtures("_worth_it")
def test_far_from_a_limit_nothing_is_asked(tmp_path):
    run = run_with(tmp_path, "9 K")
    (reckon,) = reckoned(run)
    assert reckon.gain == 0.0
    assert len(run.finding("trip").repeats) == 1


def test_enter_alone_goes_on_where_that_is_a_choice():
    ask = Ask("step-1", "One more?", wants="choice", choices=("go on", "one more"))
    assert understood(ask, "").value == "go on"
    assert understood(ask, "2").value == "one more"
