"""How a ramp ends, by a thermometer on a cable or in the hand, and how a wait does."""

import math
from dataclasses import replace

import pytest

from runner.conduct.log_lines import said
from runner.engine.program import Planned
from runner.engine.steps import make_step
from runner.events import CHARGE, PROBE_TEMPERATURE, Answered, Sampled
from runner.orders import AskTaps, BeginRamp, BeginStep, Conclude, Guide, Remark, SwitchOff
from runner.vocabulary import WatchWord
from tests.one_step import OneStep

HEAT = {"rate": 0.05, "approach": 50.0, "give_up": 63.0}
COOL = {"rate": 0.05, "approach": 50.0, "give_up": 35.0}
TEMPERATURE = {"protection": "charge_over_temperature", "trip": 55.0, "release": 45.0, "probe_resolution": 0.1}


def ramp(kind="heat", until="stopped", values=None, program=None, **more):
    """A charge that has become steady, and the ramp after it; T1 reads 25 °C."""
    numbers = {**(HEAT if kind == "heat" else COOL), **(values or {})}
    after = Planned(1, kind, "the ramp", "Slowly now.", numbers, "T1", 1, 1, words={"until": until}, **more)
    step = OneStep(
        "charge",
        {"current": 4.0, "voltage": 29.2, "steady": 2.0},
        program={**TEMPERATURE, **(program or {})},
        words={"until": "steady"},
        sensor="T1",
        group=1,
        after=(after, Planned(2, "off", "off", "", {}, "T1", 1), Planned(3, "off", "off", "", {}, "T2", 2)),
    ).on(CHARGE, 4.0, 29.2)
    step.read(5.0, charge=4.0, supply=26.0, probe=25.0)
    assert step.run.step.planned.index == 1
    return step


def kinds(orders):
    return [type(order) for order in orders]


def warming(step, begin, rate, seconds, every=0.5, **more):
    """Readings of a sensor that moves evenly."""
    since = step.t
    readings = {"charge": 4.0, "supply": 26.0, "probe": lambda t: begin + rate * (t - since), **more}
    return step.read(seconds, every, **readings)


def ramping(**more):
    step = ramp(**more)
    warming(step, 45.0, 0.1, 52.0)
    return step


def test_the_slow_part_begins_at_the_approach_and_not_before():
    step = ramp()
    assert BeginRamp not in kinds(warming(step, 45.0, 0.1, 49.5))
    assert step.run.step.sentence() == "Heat T1 quickly to 50 °C. The slow ramp starts there."
    (begin,) = [order for order in warming(step, 49.95, 0.1, 1.0) if isinstance(order, BeginRamp)]
    assert begin.rate == 0.05
    assert step.pace == (0.25, 0.5)
    assert step.run.step.sentence() == "Slowly now."


def test_what_hands_are_to_do_is_said_by_the_guide_and_not_once_more_by_the_step():
    step = ramp()
    (begun,) = [order for order in step.orders if isinstance(order, BeginStep) and order.kind == "heat"]
    (guide,) = [order for order in step.orders if isinstance(order, Guide)]
    assert (begun.say, guide.say) == ("", "Heat T1 quickly to 50 °C. The slow ramp starts there.")


def test_cooling_has_a_rate_below_nothing():
    step = ramp("cool", values={"approach": 22.0, "give_up": 10.0})
    orders = warming(step, 24.0, -0.1, 25.0)
    (begin,) = [order for order in orders if isinstance(order, BeginRamp)]
    assert begin.rate == -0.05


def test_no_change_by_the_give_up_is_a_finding_and_switches_off():
    step = ramping()
    warming(step, 62.0, 0.05, 19.5)
    assert step.conclusion is None
    warming(step, 62.98, 0.05, 1.0)
    assert (step.conclusion.outcome, step.conclusion.limit) == ("gave up", 63.0)
    assert step.conclusion.why == "did not trip by 63.0 °C"
    assert SwitchOff in kinds(step.orders)
    assert 2 in step.run.skipped
    assert 3 not in step.run.skipped
    assert [order.action for order in step.orders if isinstance(order, Guide)] == ["heat", "heat", "still"]


def test_a_trip_on_the_way_is_a_trip():
    step = ramp()
    warming(step, 45.0, 0.1, 20.0)
    warming(step, 47.0, 0.1, 2.0, charge=0.0, supply=29.2)
    assert step.conclusion.outcome == "stopped"
    assert step.conclusion.at == 25.5
    assert step.run.skipped == {}


def test_a_taper_skips_all_the_rest():
    step = ramping()
    began = step.t
    taper = lambda t: 4.0 * math.exp(-(t - began) / 100.0)  # noqa: E731
    step.read(20.0, 0.5, charge=taper, supply=29.2, mode="CV", probe=lambda t: 50.0 + 0.01 * t)
    assert step.conclusion.outcome == "tapering"
    assert set(step.run.skipped) == {2, 3}


def test_a_sensor_that_is_past_the_give_up_already_says_nothing():
    after = ramp().run.program.steps[1]
    step = ramp_on(after, probe=63.0)
    assert step.conclusion.outcome == "not seen"
    assert ramp_on(after, probe=62.9).conclusion is None


def ramp_on(*after, **readings):
    step = OneStep(
        "charge",
        {"current": 4.0, "voltage": 29.2, "steady": 2.0},
        program=TEMPERATURE,
        words={"until": "steady"},
        after=after,
    ).on(CHARGE, 4.0, 29.2)
    step.read(5.0, **{"charge": 4.0, "supply": 26.0, **readings})
    return step


def test_with_everything_off_no_ramp_begins():
    after = ramp().run.program.steps[1]
    step = OneStep("off", {}, program=TEMPERATURE, after=(after,)).off()
    assert step.conclusion.outcome == "no current"


def test_a_current_that_flows_before_a_return_is_looked_for_makes_it_unseen():
    after = Planned(1, "cool", "the ramp", "", COOL, "T1", 1, 1, words={"until": "returned"})
    step = ramp_on(after, probe=55.0)
    assert step.conclusion.outcome == "not seen"
    assert "current already flowed before the ramp" in step.conclusion.why


def test_a_pack_that_tripped_at_the_hold_point_and_tries_again_is_not_heated_for_a_trip():
    hold = Planned(1, "confirm", "hold", "Ready?", {}, "T1", 1)
    step = ramp_on(hold, replace(ramp().run.program.steps[1], index=2), probe=40.0)
    step.read(10.0, 0.25, charge=0.0, supply=29.2, probe=40.0)
    for _ in range(3):
        step.read(2.0, 0.25, charge=4.0, supply=26.5)
        step.read(3.0, 0.25, charge=0.0, supply=29.2)
    step.tell(Answered(step.t, "step-1", "go on", "me"))
    assert step.conclusion.outcome == "no current"
    assert "heat" not in [order.action for order in step.orders if isinstance(order, Guide)]


# ---- by hand -------------------------------------------------------------------------------------------------------

HAND = {"by_hand": ("probe",), "longest_hold": 900.0}


def test_by_hand_the_slow_part_begins_at_a_whole_degree_on_the_near_side():
    step = ramp(values={"approach": 49.3}, program=HAND)
    (taps,) = [order for order in step.orders if isinstance(order, AskTaps)]
    assert (taps.first, taps.step) == (50.0, 1.0)
    assert "to 50 °C" in step.run.step.sentence()
    step = ramp("cool", values={"approach": 21.7, "give_up": 10.0}, program=HAND)
    assert "to 21 °C" in step.run.step.sentence()


@pytest.mark.parametrize(("program", "taps"), [(HAND, [1.0, 0.0]), ({}, [])])
def test_keys_are_asked_for_by_hand_only_and_no_longer_once_the_ramp_is_over(program, taps):
    step = ramp(program=program)
    warming(step, 45.0, 0.1, 10.0)
    warming(step, 46.0, 0.1, 2.0, charge=0.0, supply=29.2)
    assert step.conclusion.outcome == "stopped"
    assert [order.step for order in step.orders if isinstance(order, AskTaps)] == taps


def tap(step, degree):
    return step.tell(Sampled(step.t, {PROBE_TEMPERATURE: float(degree)}, by_hand=True))


@pytest.mark.parametrize(
    ("rate", "quiet", "said"), [(0.05, 180.0, "3 min"), (0.01, 400.0, "7 min"), (0.001, 4000.0, "67 min")]
)
def test_nobody_who_presses_no_key_for_four_degrees_is_still_heating(rate, quiet, said):
    """Four degrees at the ramp's rate, and three minutes at least: our own choice."""
    step = ramp(values={"rate": rate}, program=HAND)
    tap(step, 50)
    step.read(quiet, 1.0, charge=4.0, supply=26.0)
    assert step.conclusion is None
    step.read(1.0, 1.0, charge=4.0, supply=26.0)
    assert step.conclusion.outcome == "lost"
    assert f"no thermometer mark for {said} during a ramp (heat T1)" in step.conclusion.why
    assert step.run.early


# ---- waiting -------------------------------------------------------------------------------------------------------


def waiting(values):
    return OneStep("wait", values, program=TEMPERATURE, sensor="T1")


@pytest.mark.parametrize(
    ("values", "action", "before", "reached"),
    [({"below": 40.0}, "cool", 40.0, 39.9), ({"above": 40.0}, "heat", 40.0, 40.1)],
)
def test_a_wait_for_a_temperature_ends_beyond_it(values, action, before, reached):
    step = waiting(values)
    assert [order.action for order in step.orders if isinstance(order, Guide)] == [action]
    step.read(100.0, probe=before)
    assert not step.run.step.done
    (enough,) = [order for order in step.read(1.0, probe=reached) if isinstance(order, Guide)][:1]
    assert (enough.action, enough.rate) == ("hold", 0.0)
    assert step.run.step.done


def test_a_wait_for_a_time_takes_it_and_says_what_is_left():
    step = waiting({"for": 60.0})
    assert [(order.action, order.rate) for order in step.orders if isinstance(order, Guide)] == [("still", 0.0)]
    step.read(59.0, probe=25.0)
    assert step.run.step.remaining() == 1.0
    assert not step.run.step.done
    orders = step.read(1.0, probe=25.0)
    assert step.run.step.done
    assert not [line for order in orders if isinstance(order, Guide) for line in said(order)], "nothing was heated"
    last = step.run.step
    step.read(5.0, probe=25.0)
    assert last.remaining() == 0.0
    assert waiting({"below": 40.0}).run.step.remaining() is None


def test_a_wait_is_given_up_after_its_time():
    step = waiting({"below": 40.0, "give_up": 120.0})
    step.read(120.0, probe=50.0)
    assert not step.run.step.done
    orders = step.read(1.0, probe=50.0)
    assert next(order.say for order in orders if isinstance(order, Remark)).endswith("not reached within 2 min")
    assert step.run.step.done


def test_a_release_that_came_before_its_ramp_is_not_seen_also_if_less_flows_then():
    """It came back while a reading was asked for, and then asked for less: it will not release once more."""
    after = Planned(1, "cool", "the ramp", "Slowly now.", COOL, "T1", 1, 1, words={"until": "returned"})
    values = {"current": 4.0, "voltage": 29.2, "for": 200.0}
    step = OneStep("charge", values, program=TEMPERATURE, words={"until": "time"}, sensor="T1", group=1, after=(after,))
    step.on(CHARGE, 4.0, 29.2).read(20.0, charge=4.0, supply=26.0, probe=60.0)
    step.read(10.0, charge=2.0, supply=29.2, probe=60.0, mode="CV")
    assert step.run.watcher.verdict.word == WatchWord.DERATED
    ramp = make_step(after, step.run._around)
    (concluded,) = [order for order in ramp.begin(step.t) if isinstance(order, Conclude)]
    assert (concluded.outcome, ramp.skip) == ("not seen", "")
