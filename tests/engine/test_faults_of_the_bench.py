"""What spoils a step and what does not: readings that are lost come back, a supply or load that stops by itself does not."""

import pytest

from runner.events import CHARGE, DISCHARGE
from runner.orders import SwitchOff
from tests.one_step import OneStep

STEPS = {
    "charge until steady": ("charge", {"current": 4.0, "voltage": 29.2, "steady": 900.0}, {"until": "steady"}, CHARGE),
    "charge until full": ("charge", {"current": 4.0, "voltage": 29.2, "end_current": 1.0}, {"until": "full"}, CHARGE),
    "charge for a time": ("charge", {"current": 4.0, "voltage": 29.2, "for": 900.0}, {"until": "time"}, CHARGE),
    "stairs of charge": ("stage", {"from": 4.0, "to": 5.0, "step": 1.0, "dwell": 900.0, "voltage": 29.2}, {"path": CHARGE}, CHARGE),
    "drain": ("drain", {"current": 4.0, "floor": 10.0}, {"until": "stopped"}, DISCHARGE),
    "drain until steady": ("drain", {"current": 4.0, "floor": 10.0, "steady": 900.0}, {"until": "steady"}, DISCHARGE),
    "stairs of discharge": ("stage", {"from": 4.0, "to": 5.0, "step": 1.0, "dwell": 900.0, "floor": 10.0}, {"path": DISCHARGE}, DISCHARGE),
}  # fmt: skip


def steady(name, **more):
    kind, values, words, path = STEPS[name]
    step = OneStep(kind, values, words=words, **more).on(path, 4.0, 29.2)
    step.read(30.0, **flowing(path))
    assert step.run.watcher.verdict.word == "steady"
    return step, path


def flowing(path, current=4.0):
    return {"charge": current, "supply": 26.0} if path == CHARGE else {"draw": current, "load": 26.0}


@pytest.mark.parametrize("name", STEPS)
def test_readings_that_are_lost_and_come_back_end_nothing(name):
    step, path = steady(name)
    step.read(10.0, **flowing(path, None))
    assert step.run.watcher.verdict.word == "lost"
    step.read(10.0, **flowing(path))
    assert step.conclusion is None
    assert SwitchOff not in [type(order) for order in step.orders]


@pytest.mark.parametrize("name", STEPS)
@pytest.mark.parametrize(("group", "early"), [(0, True), (1, False)])
def test_what_goes_off_by_itself_ends_the_step_and_a_run_without_a_sensor_to_begin_again(name, group, early):
    step, path = steady(name, group=group, sensor="T1" if group else "")
    step.read(5.0, **flowing(path, 0.0), output=False)
    assert step.conclusion.outcome == "limited"
    assert "switched off by itself" in step.conclusion.why
    assert step.run.early is early


@pytest.mark.parametrize("name", STEPS)
def test_readings_that_contradict_each_other_are_unclear(name):
    step, path = steady(name)
    step.read(5.0, **flowing(path), output=False)
    assert step.conclusion.outcome == "unclear"


@pytest.mark.parametrize("name", [name for name, step in STEPS.items() if step[3] == CHARGE])
def test_a_lead_that_comes_off_is_no_stop_of_the_pack(name):
    step, path = steady(name)
    step.read(5.0, **flowing(path), meter=26.0)
    step.read(6.0, charge=0.0, supply=29.2, meter=26.0)
    assert step.conclusion.outcome == "open lead"


NOTHING_COMES = {
    "it says that it is off": ({"charge": 0.0, "supply": 0.0}, {"draw": 0.0, "load": 26.2}, False, "says that it is off"),
    "it does not say so": ({"charge": 0.0, "supply": 0.0}, {"draw": 0.0, "load": 26.2}, None, "it is off, or"),
}  # fmt: skip


@pytest.mark.parametrize("name", STEPS)
@pytest.mark.parametrize("reported", NOTHING_COMES)
@pytest.mark.parametrize(("group", "early"), [(0, True), (1, False)])
def test_an_instrument_that_restarted_before_a_current_was_seen_is_no_pack_that_lets_none_through(
    name, reported, group, early
):
    """A supply that is on stands at its set voltage if the path is open, and a load that is on has no voltage (Ohm's law)."""
    kind, values, words, path = STEPS[name]
    step = OneStep(kind, {**values, "dwell": 40.0}, words=words, group=group, sensor="T1" if group else "")
    charging, discharging, output, why = NOTHING_COMES[reported]
    step.on(path, 4.0, 29.2)
    step.read(45.0, **(charging if path == CHARGE else discharging), output=output)
    assert step.conclusion.outcome == "limited"
    assert (
        why.replace("it is off, or", "output is off, or" if path == CHARGE else "it is off, or") in step.conclusion.why
    )
    assert step.run.early is early


@pytest.mark.parametrize("name", STEPS)
def test_what_an_instrument_said_while_it_was_off_is_nothing_to_what_it_says_when_it_is_on(name):
    kind, values, words, path = STEPS[name]
    step = OneStep(kind, {**values, "dwell": 40.0}, words=words)
    step.read(2.0, supply=0.0, load=26.2, output=False)
    step.on(path, 4.0, 29.2)
    step.read(45.0, **({"charge": 0.0, "supply": 29.2} if path == CHARGE else {"draw": 0.0, "load": 0.1}))
    assert step.conclusion.outcome == "no current"


@pytest.mark.parametrize(("volts", "outcome"), [(20.0, "no current"), (5.0, "limited")])
def test_a_supply_that_is_still_rising_is_not_taken_for_one_that_is_off(volts, outcome):
    kind, values, words, path = STEPS["stairs of charge"]
    step = OneStep(kind, {**values, "dwell": 3.0}, words=words).on(path, 4.0, 29.2)
    step.read(4.0, charge=0.0, supply=volts)
    assert step.conclusion.outcome == outcome


def test_a_voltage_read_before_the_supply_was_on_says_nothing_of_it():
    kind, values, words, path = STEPS["stairs of charge"]
    step = OneStep(kind, {**values, "dwell": 1.0}, words=words)
    step.read(2.0, supply=0.0)
    step.on(path, 4.0, 29.2)
    step.read(2.0, charge=0.0)
    assert step.conclusion.outcome == "no current"
