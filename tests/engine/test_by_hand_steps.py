"""A discharge and a recovery at a bench where a person switches and reads."""

import pytest

from runner.engine.program import Planned
from runner.engine.view import look
from runner.events import METER_VOLTAGE, Answered, Sampled
from runner.orders import Ask, Note, Remark, Withdraw
from runner.vocabulary import Observed, Outcome
from tests.one_step import OneStep

HANDS = {
    "has": ("supply", "load", "meter", "counter"),
    "by_hand": ("load", "meter", "counter"),
    "trip": 22.0,
    "every": 300.0,
}


def draining(**program):
    return OneStep("drain", {"current": 4.0, "floor": 20.0}, program={**HANDS, **program}, words={"until": "stopped"})


def asked(step):
    return [order for order in step.orders if isinstance(order, Ask)][-1]


def answer(step, value=""):
    """Values that decide are shown again, and confirmed."""
    orders = step.tell(Answered(step.t, asked(step).question, value, "me"))
    if asked(step).question.endswith("-shown"):
        orders += step.tell(Answered(step.t, asked(step).question, "go on", "me"))
    return orders


def running(**program):
    """The load is on."""
    step = draining(**program)
    answer(step, "100.0")
    answer(step, "2560.0")
    answer(step)
    return step


def test_the_totals_come_first_then_the_load():
    step = draining()
    seen = []
    for value in ("100.0", "2560.0", ""):
        seen.append((asked(step).record, asked(step).unit))
        answer(step, value)
    assert [unit for _, unit in seen] == ["Ah", "Wh", ""]
    assert step.run.known.hand_load
    assert "press Enter at that moment" in asked(step).say


def test_without_a_counter_the_load_comes_first():
    step = draining(has=("supply", "load", "meter"))
    say = asked(step).say
    assert say.startswith("Set the load to ")
    assert say.index("hands off the terminals") < say.index("Switch the load on")
    assert say.endswith("Switch it off by hand below 20 V.")


def test_the_voltage_is_asked_for_at_intervals_and_the_moment_in_between():
    step = running()
    step.read(299.0)
    assert "press Enter at that moment" in asked(step).say
    step.read(1.0)
    assert "voltage under load" in asked(step).say
    answer(step, "26.0")
    assert "press Enter at that moment" in asked(step).say
    step.read(299.0)
    assert "press Enter at that moment" in asked(step).say
    step.read(1.0)
    assert "voltage under load" in asked(step).say


@pytest.mark.parametrize(("volts", "more"), [("24.7", True), ("24.6", False)])
def test_near_the_cut_off_only_the_moment_is_asked_for(volts, more):
    """Near: twelve percent above the declared 22 V, which is 24.64 V."""
    step = running()
    step.read(300.0)
    answer(step, volts)
    step.read(900.0)
    assert ("voltage under load" in asked(step).say) is more


def test_where_no_trip_is_declared_near_is_near_the_floor():
    step = running(trip=None)
    step.read(300.0)
    answer(step, "22.5")
    step.read(300.0)
    assert "voltage under load" in asked(step).say
    answer(step, "22.3")
    step.read(300.0)
    assert "press Enter at that moment" in asked(step).say


def test_without_a_meter_no_voltage_is_asked_for():
    step = running(has=("supply", "load", "counter"))
    step.read(900.0)
    assert "press Enter at that moment" in asked(step).say


def test_the_key_is_the_moment_and_then_load_off_last_voltage_and_totals():
    step = running()
    step.read(100.0)
    answer(step)
    said = []
    for value in ("", "21.9", "60.0", "1500.0"):
        said.append(asked(step).unit)
        step.t += 10.0
        answer(step, value)
    assert said == ["", "V", "Ah", "Wh"]
    assert (step.conclusion.outcome, step.conclusion.at, step.conclusion.by_hand) == ("stopped", 100.0, True)
    assert not step.run.known.hand_load
    assert [order.quantity for order in step.orders if isinstance(order, Note)] == [100.0, 2560.0, 21.9, 60.0, 1500.0]


def stopped_at(volts, *said):
    """The load stopped at a voltage of which the declared cut-off of 22 V is far off; then what a person says of it."""
    step = running()
    step.read(100.0)
    answer(step)
    for value in ("", volts, *said, "60.0", "1500.0"):
        step.t += 10.0
        answer(step, value)
    return step.conclusion


def test_a_load_that_stopped_far_above_the_cut_off_is_one_only_if_a_person_says_so():
    """Seen: two keys too many at 13.65 V of a pack that cuts off at 10 V: fail, 1.22 Ah of 97 Ah."""
    step = running()
    step.read(100.0)
    answer(step)
    answer(step)
    answer(step, "26.5")
    assert "The load stopped at 26.5 V; the pack's cut-off is declared at 22 V" in asked(step).say
    assert asked(step).choices == ("pack", "other")
    assert stopped_at("26.5", "pack").outcome == "stopped"
    other = stopped_at("26.5", "other")
    assert (other.outcome, "nobody saw that the pack did it" in other.why) == ("unclear", True)
    assert stopped_at("26.3").outcome == "stopped", "no more than a fifth above it"


def test_a_voltage_under_the_floor_counts_only_once_it_was_shown_again():
    step = running()
    step.read(300.0)
    step.tell(Answered(step.t, asked(step).question, "19.9", "me"))
    assert "You typed 19.9 V" in asked(step).say
    step.tell(Answered(step.t, asked(step).question, "wrong", "me"))
    answer(step, "25.9")
    assert asked(step).of == "load stopped", "the discharge goes on"


@pytest.mark.parametrize(("volts", "outcome"), [("19.9", "gave up"), ("20.0", None)])
def test_a_voltage_under_the_floor_ends_the_discharge(volts, outcome):
    step = running()
    step.read(300.0)
    answer(step, volts)
    if outcome is None:
        assert "press Enter at that moment" in asked(step).say
        return
    assert "Switch the load off" in asked(step).say
    for value in ("", "60.0", "1500.0"):
        answer(step, value)
    assert (step.conclusion.outcome, step.conclusion.limit) == ("gave up", 20.0)


def test_a_load_that_the_person_switched_off_at_the_floor_is_no_cut_off():
    step = running()
    step.read(100.0)
    assert asked(step).instead == "off"
    answer(step, "off")
    assert not step.run.known.hand_load, "nobody is asked to switch off what they have switched off"
    for value in ("60.0", "1500.0"):
        answer(step, value)
    assert (step.conclusion.outcome, step.conclusion.limit) == ("gave up", 20.0)


@pytest.mark.parametrize(
    ("role", "dimension", "value", "text"),
    [
        ("display", "temperature", "31.0", "31.0 °C (reference 30.0 °C)"),
        ("meter", "temperature", "31.0", "31.0 °C"),
        ("display", "voltage", "26.4", "26.4 V"),
    ],
)
def test_beside_a_temperature_that_the_packs_display_shows_stands_the_reference(role, dimension, value, text):
    words = {"role": role, "dimension": dimension, "unit": ""}
    step = OneStep("rest", {"for": 1.0}, after=(Planned(1, "read", "read", "", {}, record="it", words=words),)).off()
    step.read(2.0, supply=0.0, probe=30.0)
    (note,) = [order for order in answer(step, value) if isinstance(order, Note)]
    assert (note.name, note.text) == ("it", text)


def recovering():
    return OneStep("recover", {"give_up": 600.0}, program=HANDS).off()


def test_the_key_says_when_the_pack_is_back():
    step = recovering()
    step.read(100.0)
    answer(step)
    answer(step, "go on")
    assert (step.conclusion.outcome, step.conclusion.at, step.conclusion.by_hand) == ("returned", 100.0, True)


def test_a_slip_of_the_thumb_is_no_recovery_and_the_wait_goes_on():
    step = recovering()
    before = asked(step).question
    step.t = 10.0
    answer(step)
    assert "was a slip, type wrong" in asked(step).say
    assert step.conclusion is None
    answer(step, "wrong")
    assert asked(step).of == Observed.CAME_BACK
    assert asked(step).question != before
    step.t = 200.0
    answer(step)
    step.t = 203.0
    answer(step, "go on")
    assert (step.conclusion.outcome, step.conclusion.at) == (Outcome.RETURNED, 200.0), "of the key, not of the word"


def test_a_wait_whose_end_was_marked_is_not_given_up_while_that_is_asked_about():
    step = recovering()
    step.read(590.0)
    answer(step)
    step.read(60.0)
    assert step.conclusion is None
    answer(step, "wrong")
    step.read(1.0)
    assert step.conclusion.outcome == Outcome.GAVE_UP


def test_a_pack_that_was_back_before_anybody_looked_has_no_moment_of_recovery():
    """The load is switched off and totals are read first; a key after that is later by as long as that took."""
    step = recovering()
    assert asked(step).instead == "already"
    step.read(5.0)
    answer(step, "already")
    assert (step.conclusion.outcome, step.conclusion.by_hand) == (Outcome.NOT_SEEN, True)
    assert step.run._around.awake  # and is not woken


def test_a_recovery_by_hand_is_given_up_after_its_time():
    step = recovering()
    step.read(600.0)
    assert step.conclusion is None
    standing = asked(step).question
    made = step.read(1.0)
    assert (step.conclusion.outcome, step.conclusion.limit) == ("gave up", 600.0)
    assert made[0] == Withdraw(standing), "nobody is asked any longer"


def test_a_slip_of_the_thumb_at_the_load_is_taken_back_and_the_discharge_goes_on():
    step = running()
    before = asked(step)
    answer(step)
    assert asked(step).of == Observed.LOAD_OFF
    assert "type draws" in asked(step).say
    answer(step, asked(step).instead)
    assert (asked(step).of, asked(step).instead) == (before.of, before.instead)
    assert asked(step).question != before.question, "an answer that comes late is none to this one"
    assert step.run.known.hand_load
    assert "LOAD OFF BY HAND" in " ".join(step.run.by_hand)
    assert any(isinstance(each, Remark) and "does not count" in each.say for each in step.orders)
    step.read(300.0)
    assert asked(step).of == Observed.LOADED_VOLTAGE, "it is read as before"
    answer(step, "24.0")
    step.t += 10.0
    answer(step)
    answer(step)
    answer(step, "22.0")
    answer(step, "103.0")
    answer(step, "2600.0")
    assert (step.conclusion.outcome, step.conclusion.at) == (Outcome.STOPPED, step.t)
    assert not step.run.known.hand_load


def test_below_the_floor_there_is_no_mark_to_take_back():
    step = running()
    step.read(300.0)
    answer(step, "19.0")
    assert (asked(step).of, asked(step).instead) == (Observed.LOAD_OFF, "")


def test_a_wired_voltmeter_that_shows_what_an_open_switch_leaves_does_not_end_the_run_once_the_person_has_answered():
    step = running(by_hand=("load", "counter"))
    at = step.t

    def shown_for(seconds, volts):
        nonlocal at
        for _ in range(seconds):
            at += 1.0
            step.tell(Sampled(at, {METER_VOLTAGE: volts}))

    shown_for(5, 22.0)
    shown_for(3, 17.6)  # 88 % of the floor
    assert any(isinstance(each, Remark) and "Look at the load" in each.say for each in step.orders)
    assert asked(step).of == Observed.LOAD_STOPPED
    step.tell(Answered(at, asked(step).question, "go on", "me"))
    assert asked(step).of == Observed.LOAD_OFF
    step.tell(Answered(at, asked(step).question, "go on", "me"))
    shown_for(300, 17.6)
    assert not step.run.early
    assert asked(step).of == Observed.LAST_VOLTAGE


def test_between_two_readings_it_is_said_when_the_next_one_is_due():
    """The first 20 s after the load is on, here; the next every ten minutes."""
    every = {**HANDS, "has": ("supply", "load"), "by_hand": ("load",), "every": 600.0}
    values = {"current": 4.0, "floor": 20.0, "for": 1200.0}
    step = OneStep("drain", values, program=every, words={"until": "time"})
    answer(step)
    step.read(5.0)
    assert look(step.run).sentence.endswith("Stay with the pack. The next reading is due in 15 s.")
    step.read(15.0)
    assert asked(step).of == Observed.CLAMP_CURRENT
    answer(step, "4.0")
    step.read(30.0)
    assert look(step.run).sentence.endswith("The next reading is due in 10 min.")
