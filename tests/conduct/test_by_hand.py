"""A bench with nothing on a cable but the supply: the simulated operator reads, switches and presses keys, a reaction late."""

import pytest

from runner.conduct.interfaces import StopFlag
from runner.orders import Ask
from runner.rehearsal.scripted import ScriptedOperator
from runner.sheets.answers import Answers
from runner.workspace.job import find_procedure
from tests.builders import quick_capacity, rehearsed

BY_HAND = ("probe", "meter", "load")


def by_hand(tmp_path, procedure, **more):
    return rehearsed(tmp_path, procedure=find_procedure(procedure), by_hand=BY_HAND, **more)


def found(run):
    return {(each.name, each.sensor): each for each in run.result.evaluation.findings}


@pytest.fixture(scope="module")
def hand(tmp_path_factory):
    """Charge over-temperature with a thermometer in the hand."""
    return by_hand(tmp_path_factory.mktemp("hand"), "charge-over-temperature")


def test_a_thermometer_in_the_hand_gives_a_threshold_that_holds_the_truth_and_a_wider_interval(tmp_path, hand):
    wired = rehearsed(tmp_path)
    truth = hand.truth["thresholds"]["charge_over_temperature"]["T1"]
    probe = hand.truth["probe_error_K"] + hand.truth["coupling_error_K"]  # drawn once a seed, and known here: taken out
    for name in ("trip", "release"):
        one, other = hand.finding(name), wired.finding(name)
        assert abs(one.value - probe - truth[name]) <= one.expanded_uncertainty
        assert one.expanded_uncertainty > other.expanded_uncertainty
        assert any("read by hand" in text for text in one.caveats)


def test_no_more_is_sampled_of_the_temperature_than_the_keys_say(hand):
    taps = hand.result.evaluation.recording.taps
    assert len(taps) > 20
    assert all(value == round(value) for value in taps.value)


def test_cut_off_by_hand_holds_the_truth(tmp_path):
    run = by_hand(tmp_path, "under-voltage", sensors=(), state_of_charge=0.1)
    trip = found(run)["trip", None]
    true = [change["stack_V"] for change in run.truth["changes"] if change["change"] == "trip"][-1]
    assert abs(trip.value - true) <= 1.3 * trip.expanded_uncertainty
    assert trip.conformity == "pass"
    assert not run.truth["load_on"]


def test_capacity_by_hand_comes_from_the_counters_totals(tmp_path):
    run = rehearsed(tmp_path, procedure=quick_capacity(), by_hand=BY_HAND, sensors=(), state_of_charge=0.98)
    capacity, energy = found(run)["capacity", None], found(run)["energy", None]
    assert abs(capacity.value - run.truth["charge_out_As"]) <= capacity.expanded_uncertainty
    assert abs(energy.value - run.truth["energy_out_J"]) <= energy.expanded_uncertainty
    assert capacity.budget[0].source == "gain of the counter"
    assert capacity.expanded_uncertainty > 0.004 * capacity.value


def test_a_run_that_stops_while_a_load_is_on_that_nobody_confirms_off_says_so_loudly(tmp_path, monkeypatch):
    stop = StopFlag()

    def tell(order, t):
        if isinstance(order, Ask) and order.record == "load stopped":
            stop.press("the stop key")

    of = ScriptedOperator.answers
    monkeypatch.setattr(ScriptedOperator, "answers", lambda self, t: [] if stop.pressed else of(self, t))
    run = by_hand(tmp_path, "under-voltage", sensors=(), state_of_charge=0.1, stop=stop, tell=tell)
    assert run.result.outcome.early
    assert "SWITCH THE LOAD OFF BY HAND" in run.result.outcome.urgent
    assert not run.result.outcome.safe, "nobody has said that the load is off"


def test_a_fault_of_the_program_while_such_a_load_is_on_says_so_too(tmp_path):
    def tell(order, t):
        if isinstance(order, Ask) and order.record == "load stopped":
            raise ZeroDivisionError

    run = by_hand(tmp_path, "under-voltage", sensors=(), state_of_charge=0.1, tell=tell)
    assert "ZeroDivisionError" in run.result.outcome.reason
    assert "SWITCH THE LOAD OFF BY HAND" in run.result.outcome.urgent
    assert not run.result.outcome.safe


def test_what_needs_a_cable_is_refused_before_anything_is_switched_on(tmp_path):
    from runner.errors import SheetError

    with pytest.raises(SheetError, match="needs a load with an address"):
        by_hand(tmp_path, "discharge-over-current", sensors=())


def test_a_script_that_gives_no_reading_where_one_is_wanted_stops_the_run(tmp_path):
    answers = Answers(kind="answers", answers=("go on", "go on", "perhaps"), then="go on")
    run = rehearsed(tmp_path, procedure=find_procedure("arrival"), sensors=(), answers=answers)
    assert run.result.outcome.early
    assert "'perhaps' is not one of the choices" in run.result.outcome.reason
