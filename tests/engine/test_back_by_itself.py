"""A pack that is waited for after its cut-off, and one that has to be woken."""

import pytest

from runner.engine.steps.drain import foreseen_in_words
from runner.events import CHARGE, Answered, Foreseen
from runner.orders import Ask, Note, Pace, Remark, SetLimits, SwitchOff, Withdraw
from tests.one_step import OneStep

PACK = {"nominal_voltage": 25.6, "has": ("supply", "load", "meter")}
GONE, THERE = {"meter": 12.7, "load": 25.0}, {"meter": 12.9, "load": 0.0}


def recovering(program=None, values=None):
    return OneStep("recover", values or {"give_up": 600.0}, program={**PACK, **(program or {})}).off()


def kinds(orders):
    return [type(order) for order in orders]


def test_terminals_under_half_the_nominal_voltage_have_collapsed_and_three_readings_above_are_back():
    step = recovering()
    step.read(2.0, 0.5, **GONE)
    step.read(1.0, 0.5, **THERE)
    step.read(0.5, 0.5, **GONE)
    step.read(1.0, 0.5, **THERE)
    assert step.conclusion is None
    step.read(0.5, 0.5, **THERE)
    assert (step.conclusion.outcome, step.conclusion.at) == ("returned", 4.0)


def test_one_low_reading_is_no_collapse():
    step = recovering()
    step.read(0.5, 0.5, **GONE)
    step.read(9.0, 0.5, **THERE)
    assert step.conclusion is None
    step.read(1.0, 0.5, **THERE)
    assert step.conclusion.outcome == "not seen"
    assert "the terminals keep their voltage" in step.conclusion.why
    assert step.conclusion.at == 10.0, "ten seconds after off: our own choice"


@pytest.mark.parametrize(
    ("program", "channel"),
    [
        ({}, "meter"),
        ({"has": ("supply", "load")}, "load"),
    ],
)
def test_the_packs_own_voltmeter_is_looked_at_else_the_load(program, channel):
    other = {"meter": "load", "load": "meter"}[channel]
    step = recovering(program)
    step.read(2.0, 0.5, **{channel: 0.2, other: 26.0})
    step.read(2.0, 0.5, **{channel: 26.0, other: 0.2})
    assert step.conclusion.outcome == "returned"


def seen_while_off(volts):
    """A step before in which the supply showed so much while it was off, then the recovery."""
    plan = {**PACK, "has": ("supply",)}
    after = recovering().run.program.steps[0]
    step = OneStep("rest", {"for": 5.0}, program=plan, after=(after,)).off()
    step.read(5.0, supply=volts)
    return step.off()


def test_a_supply_that_showed_the_terminals_while_off_will_do_and_one_that_shows_nothing_will_not():
    step = seen_while_off(25.0)
    step.read(2.0, supply=0.2)
    step.read(3.0, supply=25.0)
    assert step.conclusion.outcome == "returned"
    step = seen_while_off(3.0)
    step.read(11.0, supply=0.2)
    assert step.conclusion.outcome == "not seen"


def test_the_wait_is_given_up_after_its_time_and_says_what_is_left():
    step = recovering()
    step.read(590.0, 2.0, **GONE)
    assert step.run.step.remaining() == 10.0
    assert step.pace == (1.0, 1.0), "no moment matters much after a minute"
    step.read(10.0, 2.0, **GONE)
    assert step.conclusion is None
    step.read(2.0, 2.0, **GONE)
    assert (step.conclusion.outcome, step.conclusion.limit) == ("gave up", 600.0)
    assert step.run.step.remaining() == 0.0


def test_for_a_minute_the_terminals_are_looked_at_twice_a_second():
    step = recovering()
    step.read(60.0, 1.0, **GONE)
    assert step.pace == (0.5, 0.5)


@pytest.mark.parametrize(
    ("program", "path"),
    [({}, "discharge"), ({"by_hand": ("load",)}, "charge"), ({"has": ("supply", "meter")}, "charge")],
)
def test_the_load_is_polled_where_it_is_on_a_cable_else_the_supply(program, path):
    step = recovering(program)
    assert [order.path for order in step.orders if isinstance(order, Pace)] == [path]


def asked(step):
    return [order for order in step.orders if isinstance(order, Ask)]


def test_the_lowest_cell_is_asked_for_after_a_quarter_of_a_minute_and_then_every_fifth_of_the_time_waited():
    """A quarter of a minute and a fifth: our own choice."""
    step = recovering({"has": ("supply", "load", "meter", "display")})
    step.read(14.0, 1.0, **GONE)
    assert asked(step) == []
    step.read(1.0, 1.0, **GONE)
    (ask,) = asked(step)
    step.read(20.0, 1.0, **GONE)
    assert len(asked(step)) == 1, "one question at a time"
    (note,) = step.tell(Answered(35.0, ask.question, "2.95", "me"))
    assert isinstance(note, Note)
    assert note.quantity == 2.95
    step.read(1.0, 1.0, **GONE)
    assert len(asked(step)) == 2
    step.tell(Answered(36.0, asked(step)[-1].question, "2.96", "me"))
    step.read(80.0, 1.0, **GONE)
    for ask in asked(step)[2:]:
        step.tell(Answered(step.t, ask.question, "3.0", "me"))
    times = len(asked(step))
    last = step.t
    step.read(10.0, 1.0, **GONE)
    assert len(asked(step)) <= times + 1, f"at {last:g} s a look every {last / 5:g} s"


def test_a_question_that_stands_as_the_pack_comes_back_is_taken_away():
    step = recovering({"has": ("supply", "load", "meter", "display")})
    step.read(16.0, 1.0, **GONE)
    assert len(asked(step)) == 1
    orders = step.read(3.0, 1.0, **THERE)
    assert Withdraw in kinds(orders)


def test_a_forecast_is_said_once_and_again_when_it_has_changed():
    step = recovering()
    step.read(5.0, 1.0, **GONE)
    first = step.tell(Foreseen(5.0, 125.0, 65.0, 245.0))
    assert first == [Remark("Recovery expected in about 2 min (60 s to 4 min).")]
    assert step.tell(Foreseen(5.0, 125.0, 65.0, 245.0)) == []
    assert step.run.step.sentence().endswith("(60 s to 4 min).")
    assert kinds(step.tell(Foreseen(5.0, 305.0, 65.0, None))) == [Remark]


def test_a_forecast_is_in_words_what_it_is_in_numbers():
    assert "not rise far enough" in foreseen_in_words(Foreseen(5.0, None, 0.0, None))
    assert "should be back" in foreseen_in_words(Foreseen(5.0, 5.0, 0.0, None))
    assert foreseen_in_words(Foreseen(100.0, 160.0, 40.0, None)).endswith("about 60 s (0 s or more).")


WAKE = {"current": 1.0, "voltage": 29.2, "for": 10.0, "give_up": 120.0}
CUT_OFF = 63.0  # s: with the third reading without current the discharge is over and the next step begins


def waking(program=None):
    """A pack that has cut off and not come back, and the step that wakes it."""
    plan = {**PACK, **(program or {})}
    after = OneStep("wake", WAKE, program=plan).run.program.steps[0]
    step = OneStep("drain", {"current": 4.0, "floor": 10.0}, program=plan, words={"until": "stopped"}, after=(after,))
    step.on("discharge", 4.0)
    step.read(60.0, draw=4.0, load=24.0, meter=24.0)
    step.read(4.0, draw=0.0, load=0.2, meter=0.2)
    assert step.conclusion.outcome == "stopped"
    return step.off()


def test_a_pack_that_is_awake_is_not_woken():
    step = OneStep("wake", WAKE, program=PACK)
    assert any(isinstance(order, Remark) and "by itself" in order.say for order in step.orders)
    assert SetLimits not in kinds(step.orders)
    assert step.run.step.done


def test_waking_is_a_gentle_charge_for_its_time_from_when_current_flows():
    step = waking()
    step.on(CHARGE, 1.0, 29.2)
    assert SwitchOff not in kinds(step.read(5.0, charge=0.02, supply=29.2))
    assert SwitchOff not in kinds(step.read(10.0, charge=1.0, supply=20.0))
    assert SwitchOff in kinds(step.read(1.0, charge=1.0, supply=20.0))
    step.off()
    step.read(3.0, supply=0.0, load=25.0, meter=25.0)
    assert (step.conclusion.outcome, step.conclusion.at) == ("returned", step.t - 2.0)


def woken_in_vain(step):
    step.on(CHARGE, 1.0, 29.2)
    step.read(12.0, charge=1.0, supply=20.0)
    step.off()


def test_terminals_that_fall_again_are_charged_again_until_it_is_given_up():
    step = waking()
    began = CUT_OFF
    for _ in range(20):
        woken_in_vain(step)
        orders = step.read(2.0, supply=0.0, load=0.2, meter=0.2)
        if step.conclusion.outcome == "gave up":
            break
        assert SetLimits in kinds(orders)
    assert step.conclusion.limit == 120.0
    assert "2 min" in step.conclusion.why
    assert 120.0 < step.conclusion.at - began < 140.0


def test_a_supply_that_restarted_is_no_pack_that_cannot_be_woken():
    step = waking()
    step.on(CHARGE, 1.0, 29.2)
    step.read(32.0, charge=0.0, supply=0.0, output=False)
    assert (step.conclusion.outcome, step.run.early) == ("limited", True)
    assert "says that it is off" in step.conclusion.why


def test_a_current_that_never_comes_is_given_up_too():
    step = waking()
    step.on(CHARGE, 1.0, 29.2)
    step.read(CUT_OFF + 120.0 - step.t, charge=0.0, supply=29.2)
    assert step.conclusion.outcome == "stopped"
    step.read(1.0, charge=0.0, supply=29.2)
    assert step.conclusion.outcome == "gave up"
    assert step.conclusion.at == CUT_OFF + 121.0


def test_where_no_instrument_shows_the_terminals_it_cannot_be_seen():
    step = waking()
    woken_in_vain(step)
    step.read(10.0, supply=0.0)
    assert step.conclusion.outcome == "stopped"
    step.read(1.0, supply=0.0)
    assert step.conclusion.outcome == "not seen"
