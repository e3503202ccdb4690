"""A charge, a waking and a ramp at a bench where a person switches a charger and reads a clamp."""

from dataclasses import replace

import pytest

from runner.events import PROBE_TEMPERATURE, Answered, NobodyConfirmed, OutputIsOff, Sampled, StopPressed
from runner.orders import Ask, AskTaps, BeginRamp, End, Guide, Level, Remark, SwitchOff, Withdraw
from runner.vocabulary import Observed
from tests.one_step import WIDE, OneStep

HANDS = {
    "has": ("probe", "meter", "charger", "clamp"),
    "by_hand": ("probe", "meter", "charger", "clamp"),
    "every": 300.0,
    "smallest_current": {"charge": 0.18},
    "longest_hold": 900.0,
}
VALUES = {"voltage": 29.2, "current": 5.0}


def charging(until, values=None, **program):
    return OneStep("charge", {**VALUES, **(values or {})}, program={**HANDS, **program}, words={"until": until})


def asked(step):
    return [order for order in step.orders if isinstance(order, Ask)][-1]


def answer(step, value="go on"):
    return step.tell(Answered(step.t, asked(step).question, value, "me"))


def on(step):
    answer(step)
    return step


def until_asked(step, of, most=4000):
    before = len(step.orders)
    for _ in range(most):
        if any(isinstance(order, Ask) and order.of == of for order in step.orders[before:]):
            return
        step.read(1.0)
    raise AssertionError(f"{of} was not asked for")


def test_the_charger_may_be_on_from_the_moment_it_is_asked_for():
    step = charging("steady", {"steady": 10.0})
    assert asked(step).of == Observed.CHARGER_ON
    assert step.run.known.by_hand_on == ("charger",)
    assert step.run.by_hand == ["SWITCH THE CHARGER OFF BY HAND."]


def test_two_readings_that_agree_are_steady_and_the_charger_stays_on():
    step = on(charging("steady", {"steady": 10.0}))
    for amps in ("4.9", "4.95"):
        until_asked(step, Observed.CLAMP_CURRENT)
        answer(step, amps)
    assert step.run.known.path == "" or step.run.known.by_hand_on == ("charger",)
    assert step.conclusion is None


def test_a_pack_that_takes_little_is_too_full_for_a_ramp():
    step = on(charging("steady", {"steady": 10.0}))
    for amps in ("2.0", "2.0"):
        until_asked(step, Observed.CLAMP_CURRENT)
        answer(step, amps)
    answer(step)
    assert step.conclusion.outcome == "tapering"


def full(*readings):
    """A charge until full; readings are (A, V) one after the other, V None where it is not asked for."""
    step = on(charging("full", {"end_current": 2.0, "give_up": 40000.0}))
    times = []
    for amps, volts in readings:
        until_asked(step, Observed.CLAMP_CURRENT)
        times.append(step.t)
        answer(step, amps)
        if volts is not None:
            assert asked(step).of == Observed.CHARGING_VOLTAGE
            answer(step, volts)
    return step, times


def test_full_takes_two_readings_minutes_apart_with_the_voltage_up():
    step, times = full(("4.9", None), ("1.9", "29.1"), ("1.7", "29.1"))
    assert times[2] - times[1] >= 180.0
    assert asked(step).of == Observed.CHARGER_OFF
    answer(step)
    assert (step.conclusion.outcome, step.conclusion.by_hand) == ("full", True)
    assert [order.value for order in step.orders if isinstance(order, Level)] == [5.0, 0.0]


def test_one_reading_below_the_end_current_is_not_full():
    step, _ = full(("4.9", None), ("1.9", "29.1"))
    assert asked(step).of == Observed.CHARGING_VOLTAGE
    assert step.conclusion is None


def test_a_small_current_at_a_low_voltage_is_no_taper():
    step, _ = full(("4.9", None), ("1.5", "26.5"))
    answer(step)
    assert step.conclusion.outcome == "no end"


def test_a_charge_that_ends_otherwise_says_why_with_the_order_to_switch_off():
    step, _ = full(("4.9", None), ("1.5", "26.5"))
    assert asked(step).of == Observed.CHARGER_OFF
    assert asked(step).say.startswith(
        "Switch the charger off and press Enter. The charge ends here: the current fell to 1.5 A"
    )
    step, _ = full(("4.9", None), ("1.9", "29.1"), ("1.7", "29.1"))
    assert asked(step).say == "Switch the charger off and press Enter."


def test_a_current_that_fell_to_a_few_parts_of_the_one_before_is_asked_for_again():
    """Seen: 2.0 typed for 20.13 ended the charge and all that followed."""
    step = on(charging("full", {"end_current": 2.0, "give_up": 40000.0}))
    until_asked(step, Observed.CLAMP_CURRENT)
    assert asked(step).lowest == pytest.approx(1.5), "of the 5 A that the charger gives"
    answer(step, "4.9")
    until_asked(step, Observed.CLAMP_CURRENT)
    assert asked(step).lowest == pytest.approx(0.3 * 4.9)


def ramping(until="stopped", **more):
    return OneStep(
        "heat",
        {"rate": 2 / 60, "approach": 50.0, "give_up": 63.0},
        program={**HANDS, "protection": "charge_over_temperature", "trip": 55.0},
        words={"until": until},
        sensor="T1",
        group=1,
        after=(),
        **more,
    )


@pytest.fixture
def heating():
    """A ramp with the charger on, whose current was read before."""

    def on(run):
        run.known.switched_by_hand("charger", on=True)
        run.known.clamp_read(4.9)

    return ramping(before=on)


def tap(step, degree):
    step.t += 15.0
    return step.tell(Sampled(step.t, {PROBE_TEMPERATURE: float(degree)}, by_hand=True))


def test_a_mark_counts_once_the_clamp_says_so(heating):
    assert asked(heating).of == Observed.CURRENT_GONE
    assert "Press c at the moment the current is gone" in asked(heating).say, "Enter marks the degrees"
    for degree in range(50, 55):
        tap(heating, degree)
    heating.t += 5.0
    marked = heating.t
    answer(heating)
    heating.t += 8.0
    answer(heating, "0.02")
    assert (heating.conclusion.outcome, heating.conclusion.at, heating.conclusion.by_hand) == ("stopped", marked, True)


def test_a_mark_that_the_clamp_contradicts_does_not_count_and_the_degrees_go_on(heating):
    tap(heating, 50)
    answer(heating)
    orders = answer(heating, "4.9")
    assert any(isinstance(order, Remark) for order in orders)
    assert heating.conclusion is None
    orders = answer(heating, "51.4")
    assert [order.first for order in orders if isinstance(order, AskTaps)] == [52.0]
    assert asked(heating).of == Observed.CURRENT_GONE


def test_both_hands_are_free_for_the_clamp_and_the_ramp_begins_anew_after_a_mark_that_does_not_count(heating):
    for degree in range(50, 53):
        tap(heating, degree)
    orders = answer(heating)
    assert [order.action for order in orders if isinstance(order, Guide)] == ["still"]
    assert asked(heating).say == "Remove heat and ice from T1. Then read the clamp."
    orders = answer(heating, "4.9") + answer(heating, "52.4")
    assert [order.action for order in orders if isinstance(order, Guide)] == ["heat"]
    assert [order.rate for order in orders if isinstance(order, BeginRamp)] == [2 / 60]


@pytest.mark.parametrize(("typed", "again"), [("5.24", True), ("63", True), ("43", False), ("61", False)])
def test_a_thermometer_that_is_far_from_the_last_mark_is_read_again_before_the_marks_go_on_from_it(
    heating, typed, again
):
    """A slip of the point would put the marks, and with them the ceiling, 47 K off."""
    for degree in range(50, 53):
        tap(heating, degree)
    answer(heating)
    answer(heating, "4.9")
    assert asked(heating).say == "The mark does not count. Read the thermometer."
    orders = answer(heating, typed)
    assert (asked(heating).of == Observed.THERMOMETER) is again
    if again:
        assert not any(isinstance(order, AskTaps) for order in orders)
        assert "42.0 °C to 62.0 °C would be usual so soon after the last mark" in asked(heating).say
        orders = answer(heating, "52.4")
        assert [order.first for order in orders if isinstance(order, AskTaps)] == [53.0]


@pytest.mark.parametrize(("left", "gone"), [("0.45", True), ("0.6", False)])
def test_half_an_ampere_may_be_left_of_a_current_that_is_gone(heating, left, gone):
    """Of 4.9 A: what a pack keeps flowing for itself is at most 0.5 A (common practice, no source)."""
    for degree in range(50, 55):
        tap(heating, degree)
    answer(heating)
    answer(heating, left)
    assert (heating.conclusion is not None) is gone


@pytest.mark.parametrize(
    ("shown", "outcome", "why"),
    [
        ("4.9", "gave up", "did not trip by 63.0 °C"),
        ("0.02", "unclear", "the current had stopped by 63.0 °C"),
        ("-0.02", "unclear", "the moment was not marked"),
        ("1.5", "unclear", "not a trip, and not the full current"),
    ],
)
def test_at_the_end_of_a_ramp_the_clamp_is_read_before_anything_is_said_of_the_pack(heating, shown, outcome, why):
    """A trip that nobody saw is none that did not come; heat goes away first, and again before the charger."""
    for degree in range(50, 64):
        orders = tap(heating, degree)
    assert any(isinstance(order, Withdraw) for order in orders)
    assert [order.action for order in orders if isinstance(order, Guide)] == ["still"]
    assert asked(heating).of == Observed.CLAMP_CURRENT
    assert asked(heating).say.startswith("Remove heat and ice from T1. Then read the clamp.")
    assert heating.conclusion is None
    answer(heating, shown)
    assert heating.conclusion.outcome == outcome
    assert why in heating.conclusion.why
    heating.off()
    assert asked(heating).of == Observed.CHARGER_OFF


@pytest.mark.parametrize(("shown", "outcome"), [("4.9", "gave up"), ("0.02", "unclear")])
def test_at_the_last_level_of_a_box_the_clamp_is_read_before_anything_is_said_of_the_pack(shown, outcome):
    def on(run):
        run.known.switched_by_hand("charger", on=True)
        run.known.clamp_read(4.9)

    step = OneStep(
        "substitute",
        {"from": 54.0, "to": 55.0, "step": 1.0, "dwell": 10.0},
        program={**HANDS, "protection": "charge_over_temperature", "trip": 55.0},
        words={"until": "stopped"},
        sensor="T1",
        group=1,
        levels=((54.0, 3100.0), (55.0, 3000.0)),
        before=on,
    )
    for _ in range(2):
        answer(step)  # the box is set, and nobody presses a key at the clamp
        step.read(12.0)
    assert asked(step).of == Observed.CLAMP_CURRENT
    assert step.conclusion is None
    answer(step, shown)
    assert step.conclusion.outcome == outcome


def test_a_typed_reading_over_a_ceiling_is_asked_again_before_it_ends_the_run():
    step = on(charging("steady", {"steady": 10.0}, ceilings=replace(WIDE, current=6.0)))
    until_asked(step, Observed.CLAMP_CURRENT)
    answer(step, "49.0")
    assert not [order for order in step.orders if isinstance(order, SwitchOff)]
    assert "49 A" in asked(step).say
    answer(step, "49.0")
    assert "over its ceiling" in step.run.reason


def test_a_slip_that_is_corrected_changes_nothing():
    step = on(charging("steady", {"steady": 10.0}, ceilings=replace(WIDE, current=6.0)))
    until_asked(step, Observed.CLAMP_CURRENT)
    answer(step, "49.0")
    answer(step, "4.9")
    assert step.run.reason == ""


@pytest.mark.parametrize(("nobody", "safe"), [(False, True), (True, False)])
def test_a_stop_ends_once_the_charger_is_confirmed_off_or_nobody_confirms(nobody, safe):
    step = on(charging("steady", {"steady": 10.0}))
    step.tell(StopPressed(step.t, "a key"))
    step.tell(OutputIsOff(step.t, True))
    assert not step.run.ended
    assert asked(step).of == Observed.CHARGER_OFF
    assert asked(step).say.endswith("SWITCH THE CHARGER OFF BY HAND. Then press Enter. The run ends: stopped by a key.")
    if nobody:
        step.tell(NobodyConfirmed(step.t, "nobody answered"))
    else:
        answer(step)
    (end,) = (order for order in step.orders if isinstance(order, End))
    assert end.safe is safe
    assert ("CHARGER" in end.urgent) is nobody


@pytest.mark.parametrize(
    ("after", "degree", "said"),
    [
        (30.0, 52, ""),
        (45.0, 52, ""),
        (2.0, 52, "A degree may be marked twice at 52 °C"),
        (62.0, 52, "A degree may be missed at 52 °C"),
        (62.0, 53, ""),
        (10.0, 50, "50 °C was marked after 51 °C: the later mark counts."),
    ],
)
def test_a_mark_that_comes_too_soon_too_late_or_backwards_is_questioned_at_once(heating, after, degree, said):
    """At 2 K/min a degree takes 30 s."""
    for each in (50, 51):
        heating.t += 15.0
        tap(heating, each)
    heating.t += after - 15.0
    remarks = [order.say for order in tap(heating, degree) if isinstance(order, Remark)]
    assert [say.startswith(said) for say in remarks] == ([True] if said else [])
