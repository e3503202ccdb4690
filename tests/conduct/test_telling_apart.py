"""Each word of the watcher provoked by a scripted fault of bench or pack, and none taken for a trip."""

import pytest

from runner.orders import Judge
from runner.twin.parameters import Fault
from runner.workspace.job import find_procedure
from tests.builders import SHORT_PROCEDURE, rehearsed, user_file

DRAIN = (
    SHORT_PROCEDURE.replace("protection: charge over-temperature", "protection: discharge over-temperature")
    .replace("needs: [supply, probe]", "needs: [load, probe]")
    .replace(
        "- charge: {voltage: full charge voltage, current: 0.1 C, steady: 10 s}",
        "- drain: {current: 0.1 C, until: steady, steady: 10 s, floor: cut-off voltage + 3 V}",
    )
)

CASES = [
    (SHORT_PROCEDURE, Fault("lead off", 60.0), "open lead"),
    (SHORT_PROCEDURE, Fault("supply trips", 60.0), "limited"),
    (SHORT_PROCEDURE, Fault("supply silent", 60.0), "lost"),
    (SHORT_PROCEDURE, Fault("supply sends no number", 60.0, 0.4), ""),
    (DRAIN, Fault("load lead off", 60.0), "open lead"),
    (DRAIN, Fault("load trips", 60.0), "limited"),
    (DRAIN, Fault("load stops", 60.0), "limited"),
    (DRAIN, Fault("load stops", 60.0, 1.6), "dropout"),
]


def words_of(tmp_path, text, faults):
    """What the watcher said, and the run."""
    said = []

    def tell(order, t):
        if isinstance(order, Judge):
            said.append(order.word)

    run = rehearsed(tmp_path, procedure=user_file("p.yaml", text), tell=tell, faults=faults)
    return said, run


@pytest.mark.parametrize(("text", "fault", "word"), CASES)
def test_a_fault_has_its_own_word_and_is_no_trip(tmp_path, text, fault, word):
    said, run = words_of(tmp_path, text, (fault,))
    if word:
        assert word in said
    others = {"open lead", "limited", "lost", "dropout"} - {word}
    assert not others & set(said)
    kind = run.result.evaluation.procedure.protection
    trips = [change for change in run.truth["changes"] if change["kind"] == kind and change["change"] == "trip"]
    assert said.count("stopped") == len(trips), "a trip is said when the pack made one, and only then"
    if fault.lasts > 2:
        assert run.finding("trip").conformity == "not measured"
    else:
        assert run.finding("trip").value is not None


def test_a_taper_to_full_is_full_and_an_over_voltage_trip_is_stopped(tmp_path):
    """The hard pair: both end in no current."""
    said: list[str] = []

    def tell(order, t):
        if isinstance(order, Judge):
            said.append(order.word)

    full = rehearsed(
        tmp_path / "full", procedure=find_procedure("full-charge"), sensors=(), state_of_charge=0.96, tell=tell
    )
    assert "stopped" not in said
    assert "tapering" in said
    assert full.result.evaluation.recording.attempts[-1].outcome == "full"
    said.clear()
    over = rehearsed(
        tmp_path / "over", procedure=find_procedure("over-voltage"), sensors=(), state_of_charge=0.98, tell=tell
    )
    assert said.count("stopped") >= 1
    assert over.result.evaluation.recording.attempts[0].outcome == "stopped"
    said.clear()
    missing = rehearsed(
        tmp_path / "missing", "no-protection", procedure=find_procedure("over-voltage"), sensors=(), state_of_charge=0.98, tell=tell
    )  # fmt: skip
    assert "stopped" not in said
    assert missing.result.evaluation.findings[0].conformity == "fail"


def test_a_current_that_returns_is_returned(tmp_path):
    said, _ = words_of(tmp_path, DRAIN, ())
    assert [word for word in said if word in ("stopped", "returned")] == ["stopped", "returned"]
