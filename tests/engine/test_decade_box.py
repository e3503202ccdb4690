"""A decade box in a sensor's place: level by level, a person's key at each."""

import math

import pytest

from runner.engine.program import Planned
from runner.engine.texts.stages import set_the_box
from runner.events import CHARGE, Answered
from runner.orders import Ask, Guide, Level, Withdraw
from runner.scale import resistance
from runner.screen.texts import large
from tests.one_step import OneStep

LEVELS = ((54.0, 3100.0), (55.0, 3000.0), (56.0, 2900.0))


def boxed(until="stopped", **readings):
    values = {"from": 54.0, "to": 56.0, "step": 1.0, "dwell": 10.0}
    words = {"until": until}
    after = Planned(1, "substitute", "the box", "Turn the box.", values, "T1", 1, 1, words=words, levels=LEVELS)
    more = (after, Planned(2, "off", "off", "", {}, "T1", 1), Planned(3, "off", "off", "", {}, "T2", 2))
    charge = {"current": 4.0, "voltage": 29.2, "steady": 2.0}
    step = OneStep("charge", charge, words={"until": "steady"}, sensor="T1", group=1, after=more).on(CHARGE, 4.0, 29.2)
    step.read(5.0, charge=4.0, supply=26.0)
    return step


def asks(step):
    return [order for order in step.orders if isinstance(order, Ask)]


def press(step):
    return step.tell(Answered(step.t, asks(step)[-1].question, "", "me"))


def test_the_first_level_is_asked_for_with_its_resistance():
    step = boxed()
    (ask,) = asks(step)
    assert ask.setting == 3100.0
    assert "Set the decade box to 3100 Ω (54.0 °C), the smallest knob first." in ask.say
    assert step.pace == (0.25, 0.5)


def test_a_level_counts_from_the_key_and_is_held_for_its_dwell():
    step = boxed()
    step.read(60.0, charge=4.0, supply=26.0)
    assert len(asks(step)) == 1, "nobody has pressed the key"
    orders = press(step)
    assert [(order.value, order.since, order.by_hand) for order in orders if isinstance(order, Level)] == [
        (54.0, 65.0, True)
    ]
    assert [order.rate for order in orders if isinstance(order, Guide)] == [3100.0]
    step.read(9.0, charge=4.0, supply=26.0)
    assert len(asks(step)) == 1
    step.read(1.0, charge=4.0, supply=26.0)
    assert asks(step)[-1].setting == 3000.0
    step.read(30.0, charge=4.0, supply=26.0)
    assert len(asks(step)) == 2, "the next key is waited for"


@pytest.mark.parametrize(
    ("until", "why"), [("stopped", "did not trip by 56.0 °C"), ("returned", "did not release by 56.0 °C")]
)
def test_the_last_level_is_where_it_is_given_up(until, why):
    step = boxed(until)
    for _ in LEVELS:
        assert step.conclusion is None
        press(step)
        step.read(10.0, charge=4.0, supply=26.0)
    assert (step.conclusion.outcome, step.conclusion.why, step.conclusion.limit) == ("gave up", why, 56.0)
    assert 2 in step.run.skipped
    assert 3 not in step.run.skipped


def test_a_trip_at_a_level_is_a_trip_and_what_follows_goes_on():
    step = boxed()
    press(step)
    step.read(3.0, charge=4.0, supply=26.0)
    step.read(4.0, charge=0.0, supply=29.2)
    assert (step.conclusion.outcome, step.conclusion.at) == ("stopped", 9.0)
    assert step.run.skipped == {}


@pytest.mark.parametrize(
    ("readings", "outcome", "skipped"),
    [
        ({"charge": lambda t: 4.0 * math.exp(-(t - 5.0) / 100.0), "supply": 29.2, "mode": "CV"}, "tapering", {2, 3}),
        ({"charge": 0.0, "supply": 20.0}, "limited", set()),
    ],
)
def test_a_taper_skips_the_rest_and_a_fault_of_the_bench_begins_the_sensor_again(readings, outcome, skipped):
    step = boxed()
    press(step)
    step.read(20.0, **readings)
    assert step.conclusion.outcome == outcome
    assert set(step.run.skipped) == skipped


def test_a_gap_in_the_readings_leaves_nobody_knowing_when_it_changed():
    step = boxed()
    press(step)
    step.read(8.0, charge=None, supply=26.0)
    assert step.conclusion is None
    step.read(1.0, charge=4.0, supply=26.0)
    assert step.conclusion.outcome == "lost"


def test_a_step_that_ends_while_a_key_is_waited_for_takes_its_question_back():
    step = boxed()
    (ask,) = asks(step)
    step.read(20.0, charge=0.0, supply=20.0)
    assert step.conclusion is not None
    withdrawn, concluded = (step.orders.index(each) for each in (Withdraw(ask.question), step.conclusion))
    assert withdrawn < concluded


@pytest.mark.parametrize(
    ("ohms", "said"),
    [(119.397, "119.4 Ω"), (109.73, "109.73 Ω"), (4160.37, "4160 Ω"), (327650.0, "327650 Ω"), (2.5e6, "2500000 Ω")],
)
def test_a_resistance_has_the_digits_that_its_sensor_needs(ohms, said):
    """Platinum of 100 Ω changes by 0.385 Ω/K (IEC 60751): a whole ohm would be 2.6 K."""
    assert resistance(ohms) == said
    assert said in set_the_box("", ohms, 50.0)
    assert said in large.box(ohms)[0]
