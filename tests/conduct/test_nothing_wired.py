"""A bench with nothing on a cable: charger, clamp, thermometer, load, counter, voltmeter and display, all by a person."""

import pytest

from reports.certificate import instruments
from runner.conduct.interfaces import StopFlag
from runner.events import Answered
from runner.orders import Ask
from runner.record.folder import EVENTS
from runner.record.journal import read_journal
from runner.rehearsal.scripted import ScriptedOperator
from runner.rehearsal.truth import truth_of
from runner.sheets.answers import Answers
from runner.vocabulary import Observed
from runner.workspace.job import DEMO_PACK, UserFile, find_procedure
from tests.builders import quick_capacity, rehearsed, short_rehearsal


def alone(tmp_path, procedure, **more):
    return rehearsed(tmp_path, procedure=find_procedure(procedure), nothing_wired=True, **more)


def found(run):
    return {(each.name, each.sensor): each for each in run.result.evaluation.findings}


def probe_of(run):
    """K: the thermometer's error, drawn once a seed and known here."""
    return run.truth["probe_error_K"] + run.truth["coupling_error_K"]


def listed(run):
    """How each instrument on the certificate was used, by its role."""
    return {each["role"]: each["identity"].split()[-3] for each in instruments([run.result.evaluation])}


def answered(run):
    """(what an answer is of, by whom) of every answer in the journal."""
    asked, said = {}, []
    for entry in read_journal(run.result.folder.path / EVENTS):
        if isinstance(entry.what, Ask):
            asked[entry.what.question] = entry.what
        elif isinstance(entry.what, Answered):
            said.append((asked[entry.what.question].of, entry.what.by))
    return said


def test_a_sensor_is_tested_with_a_charger_a_clamp_and_a_thermometer(tmp_path):
    run = alone(tmp_path, "charge-over-temperature")
    for name in ("trip", "release"):
        one = run.finding(name)
        assert abs(one.value - probe_of(run) - truth_of(one.as_json(), run.truth)) <= one.expanded_uncertainty
    apart = run.finding("hysteresis")
    assert abs(apart.value - truth_of(apart.as_json(), run.truth)) <= apart.expanded_uncertainty
    assert run.finding("trip").conformity == "pass"
    assert run.result.outcome.safe
    assert not run.truth["supply_on"]
    assert listed(run) == {"charger": "switched", "clamp": "read", "probe": "read", "display": "read"}
    said = answered(run)
    assert (Observed.CHARGER_OFF, "simulated operator") in said


def test_a_discharge_sensor_too(tmp_path):
    run = alone(tmp_path, "discharge-over-temperature")
    trip = run.finding("trip")
    assert abs(trip.value - probe_of(run) - truth_of(trip.as_json(), run.truth)) <= trip.expanded_uncertainty
    assert not run.truth["load_on"]


def test_a_decade_box_is_watched_on_the_clamp(tmp_path):
    run = alone(tmp_path, "charge-over-temperature-box")
    for name in ("trip", "release"):
        one = run.finding(name)
        assert abs(one.value - truth_of(one.as_json(), run.truth)) <= one.expanded_uncertainty
    assert listed(run) == {"charger": "switched", "clamp": "read", "display": "read", "box": "set"}


def test_full_is_told_by_two_readings_of_the_clamp(tmp_path):
    run = alone(tmp_path, "full-charge", sensors=(), state_of_charge=0.9)
    charge = found(run)["charge put in", None]
    assert abs(charge.value - run.truth["charge_moved_As"]) <= charge.expanded_uncertainty
    assert charge.expanded_uncertainty < 0.1 * charge.value
    (attempt,) = (each for each in run.result.evaluation.recording.attempts if each.kind == "charge")
    assert (attempt.outcome, attempt.by_hand) == ("full", True)
    assert "min apart" in attempt.why


def test_cut_off_and_waking_by_hand(tmp_path):
    run = alone(tmp_path, "under-voltage", sensors=(), state_of_charge=0.05)
    trip = found(run)["trip", None]
    assert abs(trip.value - truth_of(trip.as_json(), run.truth)) <= 1.3 * trip.expanded_uncertainty
    woken = [each for each in run.result.evaluation.recording.attempts if each.kind == "wake"]
    assert [each.outcome for each in woken] == ["returned"]
    assert {"charger": "switched", "load": "switched", "meter": "read", "clamp": "read"}.items() <= listed(run).items()
    assert not run.truth["supply_on"]
    assert not run.truth["load_on"]


def test_a_pack_that_is_back_before_anybody_looks_at_the_voltmeter_has_no_recovery_time(tmp_path):
    """It was the time in which the load was switched off and the totals were read, with an uncertainty of a key."""
    text = DEMO_PACK.read_text()
    assert "release: 22.4 V" in text
    pack = UserFile("pack.yaml", text.replace("release: 22.4 V", "release: 20.6 V"))
    run = alone(tmp_path, "under-voltage", sensors=(), state_of_charge=0.05, pack=pack)
    missing = found(run)["recovery time", None]
    assert missing.value is None
    assert missing.reason == "the pack was back before anybody looked at the voltmeter"
    assert found(run)["trip", None].value is not None
    assert not [each for each in run.result.evaluation.recording.attempts if each.kind == "wake"]


def stopping(stop):
    def tell(order, t):
        if isinstance(order, Ask) and order.of == Observed.CURRENT_GONE:
            stop.press("the stop key")

    return tell


def test_after_a_stop_a_person_confirms_what_they_switch_off(tmp_path):
    stop = StopFlag()
    run = short_rehearsal(tmp_path, nothing_wired=True, stop=stop, tell=stopping(stop))
    assert run.result.outcome.early
    assert run.result.outcome.safe
    assert answered(run)[-1] == (Observed.CHARGER_OFF, "simulated operator")
    assert not run.truth["supply_on"]


def test_a_run_in_which_nobody_confirms_says_so_loudly(tmp_path, monkeypatch):
    stop = StopFlag()
    of = ScriptedOperator.answers
    monkeypatch.setattr(ScriptedOperator, "answers", lambda self, t: [] if stop.pressed else of(self, t))
    run = short_rehearsal(tmp_path, nothing_wired=True, stop=stop, tell=stopping(stop))
    assert not run.result.outcome.safe
    assert "SWITCH THE CHARGER OFF BY HAND" in run.result.outcome.urgent


def test_who_refuses_to_confirm_leaves_a_bench_that_is_not_confirmed_off(tmp_path):
    answers = Answers(kind="answers", answers=("go on",) * 5, then="stop")
    run = short_rehearsal(tmp_path, nothing_wired=True, answers=answers)
    assert run.result.outcome.early
    assert not run.result.outcome.safe


def test_a_fault_of_the_program_names_the_charger_too(tmp_path):
    def tell(order, t):
        if isinstance(order, Ask) and order.of == Observed.CURRENT_GONE:
            raise ZeroDivisionError

    run = short_rehearsal(tmp_path, nothing_wired=True, tell=tell)
    assert not run.result.outcome.safe
    assert "SWITCH THE CHARGER OFF BY HAND" in run.result.outcome.urgent


@pytest.mark.parametrize(
    ("procedure", "why"),
    [("over-voltage", "an address"), ("charge-over-current", "a charger's current cannot be set")],
)
def test_what_a_charger_cannot_do_is_refused_with_the_reason(tmp_path, procedure, why):
    from runner.errors import SheetError

    with pytest.raises(SheetError, match=why):
        alone(tmp_path, procedure, sensors=())


@pytest.mark.long
def test_a_pack_whose_sheet_declares_no_under_voltage_has_its_capacity_measured_to_its_cut_off(tmp_path):
    text = DEMO_PACK.read_text()
    begin = text.index("  under-voltage:")
    text = text[:begin] + text[text.index("  charge over-current:") :]
    pack, procedure = UserFile("pack.yaml", text), quick_capacity()
    run = rehearsed(tmp_path, procedure=procedure, nothing_wired=True, sensors=(), pack=pack, state_of_charge=0.98)
    capacity, trip = found(run)["capacity", None], found(run)["trip", None]
    assert abs(capacity.value - run.truth["charge_out_As"]) <= capacity.expanded_uncertainty
    assert capacity.conformity == "pass"
    assert trip.conformity is None
