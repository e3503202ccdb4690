"""The program looks for itself whether a pack is full or has tripped: off for a minute, on again.

How cells come down: ranges of common practice, no source.
"""

import math

import pytest

from runner.engine.program import Planned
from runner.engine.watch.look import AGAIN, REST, Look
from runner.events import (
    CHARGE,
    METER_VOLTAGE,
    SUPPLY_CURRENT,
    Answered,
    LimitsAreSet,
    OutputIsOff,
    OutputIsOn,
    Sampled,
    SupplyIsSet,
)
from runner.orders import Ask, Conclude, SetLimits, SetSupply, SwitchOff, SwitchOn
from tests.engine.test_bounds_of_the_watcher import SET
from tests.engine.test_two_explanations import TEMPERATURE
from tests.one_step import OneStep

CELLS = 8
FULL = lambda t: CELLS * (3.42 + 0.16 * math.exp(-t / 60.0))  # noqa: E731  V, t s after the current has ended
MIDDLE = lambda t: CELLS * (3.335 + 0.012 * math.exp(-t / 40.0))  # noqa: E731
NEARLY = lambda t: CELLS * (3.40 + 0.03 * math.exp(-t / 40.0))  # noqa: E731


def looked(rest, again=0.0):
    """What is found of a pack that rests so and takes ``again`` A when it is on again."""
    look = Look(SET, 4.0, 0.03)
    look.happened(OutputIsOff(0.0, True))
    for t in range(1, int(REST) + 1):
        look.happened(Sampled(float(t), {METER_VOLTAGE: rest(t)}, {}, "", False))
    assert look.rested(REST)
    look.happened(OutputIsOn(REST + 1))
    for t in range(1, int(AGAIN) + 2):
        look.happened(Sampled(REST + 1 + t, {METER_VOLTAGE: SET, SUPPLY_CURRENT: again}, {}, "CC", True))
    assert look.over
    return str(look.found)


@pytest.mark.parametrize(
    ("rest", "again", "found"),
    [
        (FULL, 0.0, "the pack is full"),
        (FULL, 2.0, "the pack is full"),
        (MIDDLE, 0.0, "a protection opened the path"),
        (MIDDLE, 4.0, "cannot tell"),  # it has come back, or never tripped
        (NEARLY, 0.0, "cannot tell"),
        (lambda t: SET * 0.99, 0.0, "the pack is full"),
    ],
)
def test_what_the_voltage_does_at_rest_says_which(rest, again, found):
    assert looked(rest, again) == found


def test_without_a_voltmeter_at_the_pack_nothing_is_found():
    look = Look(SET, 4.0, 0.03)
    look.happened(OutputIsOff(0.0, True))
    look.happened(OutputIsOn(REST))
    look.happened(Sampled(REST + AGAIN, {SUPPLY_CURRENT: 0.0}, {}, "CC", True))
    assert (look.over, str(look.found)) == (True, "cannot tell")


def doubting():
    """A heat whose current has stopped while the voltage was climbing: full, or tripped."""
    values = {"rate": 0.05, "approach": 50.0, "give_up": 63.0}
    after = Planned(1, "heat", "the ramp", "Slowly now.", values, "T1", 1, 1, words={"until": "stopped"})
    back = Planned(
        2,
        "cool",
        "back",
        "Cool.",
        {"rate": 0.05, "approach": 48.0, "give_up": 30.0},
        "T1",
        1,
        1,
        words={"until": "returned"},
    )
    step = OneStep(
        "charge", {"current": 4.0, "voltage": SET, "steady": 2.0}, program=TEMPERATURE,
        words={"until": "steady"}, sensor="T1", group=1, after=(after, back),
    ).on(CHARGE, 4.0, SET)  # fmt: skip
    climbs = lambda t: 26.0 + 0.004 * t  # noqa: E731
    step.read(5.0, charge=4.0, supply=climbs, meter=climbs, probe=25.0)
    step.read(300.0, 0.5, charge=4.0, supply=climbs, meter=climbs, probe=lambda t: 50.5 + 0.01 * t)
    step.orders.clear()
    step.read(6.0, 0.5, charge=0.0, supply=SET, meter=SET, probe=54.0)
    return step


def looks(step, rest, again=0.0):
    """The step's own look, with what the bench answers to each order."""
    (ask,) = [order for order in step.orders if isinstance(order, Ask)]
    assert "switch off and look" in ask.choices
    made = step.tell(Answered(step.t, ask.question, "switch off and look", "script"))
    assert any(isinstance(order, SwitchOff) and not order.everything for order in made)
    step.off()
    began = step.t
    made = step.read(REST + 1, supply=0.0, charge=0.0, output=False, meter=lambda t: rest(t - began), probe=53.0)
    assert [order for order in made if isinstance(order, SetLimits)], made
    (points,) = [each for each in step.tell(LimitsAreSet(step.t, 30.0, 50.0)) if isinstance(each, SetSupply)]
    assert (points.voltage, points.current) == (SET, 4.0)
    assert any(isinstance(each, SwitchOn) for each in step.tell(SupplyIsSet(step.t, SET, 4.0)))
    step.tell(OutputIsOn(step.t))
    step.read(AGAIN + 1, charge=again, supply=SET, meter=SET, probe=52.0)
    return step


def test_a_trip_that_the_look_finds_ends_the_ramp_when_the_current_fell_and_its_return_is_seen():
    step = doubting()
    fell = step.t - 5.5
    looks(step, MIDDLE)
    assert (step.conclusion.outcome, step.conclusion.at) == ("stopped", pytest.approx(fell, abs=0.6))
    assert "the program, after a look" in step.conclusion.why
    cools = lambda t, began=step.t: 47.0 - 0.05 * (t - began)  # noqa: E731
    step.read(20.0, 0.5, charge=0.0, supply=SET, meter=SET, probe=cools)
    step.read(6.0, 0.5, charge=4.0, supply=26.6, meter=26.6, probe=cools)
    assert [each.outcome for each in step.orders if isinstance(each, Conclude)] == ["stopped", "returned"]


def test_a_full_pack_is_no_trip():
    step = looks(doubting(), FULL)
    assert step.conclusion.outcome == "full"
    assert any(isinstance(order, SwitchOff) for order in step.orders[-6:])


def test_what_the_look_cannot_tell_stays_unjudged():
    assert looks(doubting(), NEARLY).conclusion.outcome == "full", "the word that stood: not judged as a trip"
