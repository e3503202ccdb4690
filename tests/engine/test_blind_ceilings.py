"""When a ceiling that cannot be seen counts as passed. Fifteen seconds, or some readings in a row: our own choice."""

from dataclasses import replace

import pytest

from runner.engine.ceilings import LOOK_FOR, TOLD_FOR, Ceilings
from runner.engine.program import CeilingValues
from runner.events import (
    CHARGE,
    DISCHARGE,
    LOAD_CURRENT,
    LOAD_VOLTAGE,
    METER_VOLTAGE,
    PROBE_TEMPERATURE,
    SUPPLY_CURRENT,
    SUPPLY_VOLTAGE,
    Answered,
    Sampled,
)
from runner.orders import Ask
from runner.vocabulary import Answer, Observed

VALUES = CeilingValues(67.0, 29.6, 6.0, 7200.0, lowest_voltage=16.0, lowest_temperature=-30.0)
FINE = {SUPPLY_VOLTAGE: 26.0, SUPPLY_CURRENT: 4.0, PROBE_TEMPERATURE: 25.0}
DRAWN = {LOAD_VOLTAGE: 26.0, LOAD_CURRENT: 4.0, PROBE_TEMPERATURE: 25.0}


def armed(path=CHARGE, values=VALUES, floor=None, **more):
    ceilings = Ceilings(values, **more)
    ceilings.armed(0.0, path, floor)
    return ceilings


def blind_after(ceilings, channel):
    """The first whole second at which a channel that never reads ends the run."""
    for t in range(1, 200):
        readings = {name: value for name, value in FINE.items() if name != channel}
        if ceilings.passed(Sampled(float(t), readings)):
            return t
    return None


@pytest.mark.parametrize("channel", FINE)
def test_a_channel_that_is_polled_often_may_be_missing_for_fifteen_seconds(channel):
    ceilings = armed()
    ceilings.paced(0.25, 0.5)
    assert blind_after(ceilings, channel) == 16


def test_a_channel_that_is_polled_rarely_may_miss_three_readings_in_a_row_and_not_four():
    ceilings = armed()
    ceilings.paced(20.0, 10.0)
    assert 3 * 20 < blind_after(ceilings, SUPPLY_CURRENT) <= 4 * 20
    ceilings = armed()
    ceilings.paced(20.0, 10.0)
    assert 3 * 10 < blind_after(ceilings, PROBE_TEMPERATURE) <= 4 * 10


def test_patience_stretches_the_time_and_without_a_pace_it_is_the_same():
    assert blind_after(armed(), SUPPLY_VOLTAGE) == 16
    assert blind_after(armed(), PROBE_TEMPERATURE) == 16
    for channel in (SUPPLY_VOLTAGE, PROBE_TEMPERATURE):
        assert blind_after(armed(patience=2.0), channel) == 31
        ceilings = armed(patience=2.0)
        ceilings.paced(0.25, 0.5)
        assert blind_after(ceilings, channel) == 31


def test_a_thermometer_in_the_hand_is_never_blind_and_a_supply_is_also_then():
    assert blind_after(armed(by_hand=("probe",)), PROBE_TEMPERATURE) is None
    assert blind_after(armed(by_hand=("probe",)), SUPPLY_CURRENT) == 16
    assert blind_after(armed(by_hand=("meter",)), PROBE_TEMPERATURE) == 16


def test_a_reading_in_between_begins_the_count_anew_and_what_the_instrument_said_is_kept_apart():
    ceilings = armed()
    without = {name: value for name, value in FINE.items() if name != SUPPLY_CURRENT}
    assert ceilings.passed(Sampled(10.0, without)) is None
    assert ceilings.passed(Sampled(12.0, FINE)) is None
    assert ceilings.passed(Sampled(26.0, without, {SUPPLY_CURRENT: "no reply"})) is None
    assert ceilings.passed(Sampled(27.5, without)) == "the supply gave no valid current for 16 s with the output on"
    assert ceilings.detail == "no reply"


def test_with_everything_off_nothing_needs_to_be_seen():
    ceilings = armed()
    ceilings.disarmed()
    assert blind_after(ceilings, SUPPLY_CURRENT) is None


@pytest.mark.parametrize(
    ("name", "channel", "value"), [("voltage", SUPPLY_VOLTAGE, 29.7), ("current", SUPPLY_CURRENT, 6.1)]
)
def test_voltage_and_current_have_to_be_over_for_two_samples_in_a_row(name, channel, value):
    ceilings = armed()
    over = {**FINE, channel: value}
    assert ceilings.passed(Sampled(1.0, over)) is None
    assert ceilings.passed(Sampled(2.0, FINE)) is None
    assert ceilings.passed(Sampled(3.0, over)) is None
    assert f"{name} {value} " in ceilings.passed(Sampled(4.0, over))


def test_a_ceiling_itself_is_not_over_it():
    ceilings = armed()
    at = {SUPPLY_VOLTAGE: 29.6, SUPPLY_CURRENT: 6.0, PROBE_TEMPERATURE: 67.0}
    assert [ceilings.passed(Sampled(float(t), at)) for t in range(1, 4)] == [None] * 3


def test_a_temperature_over_its_ceiling_ends_the_run_with_the_first_sample():
    assert "over its ceiling of 67 °C" in armed().passed(Sampled(1.0, {**FINE, PROBE_TEMPERATURE: 67.1}))


def test_a_temperature_below_what_no_sensor_is_taken_below_ends_the_run_while_something_is_on():
    cold = Sampled(1.0, {**FINE, PROBE_TEMPERATURE: -30.1})
    assert "below the lower limit of -30 °C" in armed().passed(cold)
    assert armed().passed(Sampled(1.0, {**FINE, PROBE_TEMPERATURE: -30.0})) is None
    resting = armed()
    resting.disarmed()
    assert resting.passed(cold) is None
    resting.heated(True)
    assert "below the lower limit of -30 °C" in resting.passed(cold)


def test_the_voltmeter_at_the_pack_counts_where_the_supply_shows_less():
    ceilings = armed()
    over = {**FINE, METER_VOLTAGE: 29.8}
    assert ceilings.passed(Sampled(1.0, over)) is None
    assert ceilings.passed(Sampled(2.0, over)) is None, "two of the meter's own, and two that are over"
    assert "voltage 29.8 V is over" in ceilings.passed(Sampled(3.0, over))


def test_one_odd_reading_of_the_voltmeter_ends_nothing():
    ceilings = armed()
    assert ceilings.passed(Sampled(1.0, {**FINE, METER_VOLTAGE: 99.0})) is None
    assert ceilings.passed(Sampled(2.0, FINE)) is None
    assert ceilings.passed(Sampled(3.0, {**FINE, METER_VOLTAGE: 26.0})) is None
    assert ceilings.passed(Sampled(4.0, FINE)) is None


def low(volts, amps=4.0):
    return {**DRAWN, LOAD_VOLTAGE: volts, LOAD_CURRENT: amps}


@pytest.mark.parametrize(("floor", "above", "under"), [(20.0, 20.0, 19.9), (None, 16.0, 15.9), (12.0, 16.0, 15.9)])
def test_a_discharge_has_the_floor_of_its_step_or_of_last_resort_whichever_is_higher(floor, above, under):
    ceilings = armed(DISCHARGE, floor=floor)
    assert [ceilings.passed(Sampled(float(t), low(above))) for t in range(1, 5)] == [None] * 4
    assert ceilings.passed(Sampled(5.0, low(under))) is None
    assert "below its floor" in ceilings.passed(Sampled(6.0, low(under)))


def test_the_first_two_readings_of_a_discharge_count_like_any_others():
    ceilings = armed(DISCHARGE, floor=20.0)
    assert ceilings.passed(Sampled(1.0, low(19.9))) is None
    assert "voltage 19.9 V is below its floor of 20 V" in ceilings.passed(Sampled(2.0, low(19.9)))


def test_where_no_bound_is_known_there_is_no_floor():
    ceilings = armed(DISCHARGE, replace(VALUES, lowest_voltage=0.0))
    assert [ceilings.passed(Sampled(float(t), low(0.5))) for t in range(1, 5)] == [None] * 4


def test_a_pack_that_cut_off_leaves_no_voltage_and_no_current_and_is_not_under_its_floor():
    ceilings = armed(DISCHARGE, floor=20.0)
    assert [ceilings.passed(Sampled(float(t), low(0.2, 0.2))) for t in range(1, 5)] == [None] * 4, "0.3 A is 5 % of 6 A"
    ceilings.passed(Sampled(5.0, low(0.2, 0.4)))
    assert "below its floor" in ceilings.passed(Sampled(6.0, low(0.2, 0.4)))


def at_the_meter(*volts, amps=4.0, lost=False):
    """What a discharge with a floor of 20 V says whose load reads no voltage, at so many readings of the pack's voltmeter."""
    ceilings, said = armed(DISCHARGE, floor=20.0), None
    for t, value in enumerate(volts, start=1):
        drawn = {} if lost or amps is None else {LOAD_CURRENT: amps}
        missing = {LOAD_VOLTAGE: "no reply", **({LOAD_CURRENT: "no reply"} if lost else {})}
        said = said or ceilings.passed(Sampled(t - 0.5, {**drawn, PROBE_TEMPERATURE: 25.0}, missing))
        said = said or ceilings.passed(Sampled(float(t), {METER_VOLTAGE: value}))
    return said


def test_the_voltmeter_at_the_pack_has_the_floor_too():
    """Under-voltage of a pack whose load reads no voltage of its own. Common practice, no source."""
    assert "voltage 19.8 V is below its floor of 20 V" in at_the_meter(20.1, 19.9, 19.8)
    assert at_the_meter(20.1, 19.9, 20.1, 19.9) is None, "one odd reading ends nothing"
    assert at_the_meter(20.1, 0.1, 0.1, amps=0.0) is None, "the pack has cut off"


def test_where_nobody_reads_the_current_a_voltage_that_stands_below_the_floor_is_no_cut_off():
    assert "below its floor" in at_the_meter(20.1, 19.9, 19.8, lost=True)
    assert at_the_meter(20.1, 0.1, 0.1, lost=True) is None
    assert at_the_meter(20.1, 18.0, 15.0, 12.0, lost=True) is None, "what a load's capacitor leaves falls fast"
    by_hand = Ceilings(VALUES, by_hand=("load",))
    by_hand.armed_by_hand(0.0, DISCHARGE, 20.0)
    said = [by_hand.passed(Sampled(t, {METER_VOLTAGE: 19.9})) for t in (1.0, 2.0, 3.0)]
    assert "below its floor" in (said[2] or "")


def by_the_voltmeter(volts, said=None):
    """What a discharge by hand with a floor of 20 V says at (t, V) of the pack's voltmeter; ``said``: (t, of what, answer)."""
    ceilings, ask = Ceilings(replace(VALUES, temperature=None), by_hand=("load",)), None
    ceilings.armed_by_hand(0.0, DISCHARGE, 20.0)
    for t, value in volts:
        if said is not None and t >= said[0]:
            ask = Ask("q", "", of=said[1])
            ceilings.answered(Answered(said[0], "q", said[2], "me"), ask)
            said = None
        if why := ceilings.passed(Sampled(t, {METER_VOLTAGE: value})):
            return t, why
    return None


# the pack cuts off at 22 V after 10 s; what leaks through its open switch stays at the terminals, 80 to 97 % of the floor
LEAKING = [*((float(t), 23.0 - 0.1 * t) for t in range(1, 10)), *((float(t), 18.4) for t in range(10, 400))]


def test_a_pack_that_cuts_off_and_leaves_a_voltage_is_looked_at_before_it_is_taken_for_one_below_its_floor():
    t, why = by_the_voltmeter(LEAKING)
    assert 10.0 + LOOK_FOR < t <= 10.0 + LOOK_FOR + 2.0, "nobody has said anything"
    assert "voltage 18.4 V is below its floor of 20 V" in why


@pytest.mark.parametrize(("of", "word"), [(Observed.LOAD_OFF, "go on"), (Observed.LOAD_STOPPED, Answer.OFF)])
def test_a_load_that_a_person_has_switched_off_draws_nothing(of, word):
    assert by_the_voltmeter(LEAKING, said=(15.0, of, word)) is None


def test_a_person_who_says_that_the_load_has_stopped_has_so_long_to_switch_it_off():
    t, _ = by_the_voltmeter(LEAKING, said=(15.0, Observed.LOAD_STOPPED, "go on"))
    assert 15.0 + TOLD_FOR < t <= 15.0 + TOLD_FOR + 2.0


def test_the_voltage_of_a_pack_under_load_sinks_and_ends_the_run_as_before():
    sinking = [(float(t), 20.5 - 0.1 * t) for t in range(1, 20)]
    assert by_the_voltmeter(sinking)[0] == 7.0


def test_a_load_that_draws_again_is_believed_no_longer_to_have_stopped():
    again = [*LEAKING[:20], *((30.0 + t, 20.5 - 0.1 * t) for t in range(20))]
    assert by_the_voltmeter(again, said=(15.0, Observed.LOAD_STOPPED, "go on"))[0] < 40.0


def test_a_load_that_is_said_to_draw_still_is_watched_at_once():
    """The key that said it had stopped was a slip: it gives the load no time below the floor."""
    ceilings = Ceilings(replace(VALUES, temperature=None), by_hand=("load",))
    ceilings.armed_by_hand(0.0, DISCHARGE, 20.0)
    ceilings.answered(Answered(1.0, "q", "go on", "me"), Ask("q", "", of=Observed.LOAD_STOPPED))
    ceilings.answered(Answered(2.0, "r", Answer.DRAWS, "me"), Ask("r", "", of=Observed.LOAD_OFF))
    said = [ceilings.passed(Sampled(t, {METER_VOLTAGE: 19.9})) for t in (3.0, 4.0, 5.0)]
    assert "below its floor" in (said[2] or "")


def test_whoever_is_at_the_load_is_told_once_to_look():
    ceilings = Ceilings(VALUES, by_hand=("load",))
    ceilings.armed_by_hand(0.0, DISCHARGE, 20.0)
    said = []
    for t, value in LEAKING[:15]:
        ceilings.passed(Sampled(t, {METER_VOLTAGE: value}))
        said.append(ceilings.to_look())
    (told,) = filter(None, said)
    assert told.startswith("Look at the load. If it draws current, switch it off now.")
    assert "The pack's terminals fell to 18.4 V at once, below the floor of 20 V" in told


@pytest.mark.parametrize(("volts", "amps", "ends"), [((0.3, 0.3, 0.3), 0.0, False), ((18.0, 15.0, 12.0), 4.0, True)])
def test_a_load_that_reads_slowly_shows_what_flowed_before_the_cut_off(volts, amps, ends):
    """Seen: two readings of the voltmeter came between two of the load, and a trip was taken for a pack under its floor."""
    ceilings = armed(DISCHARGE, floor=20.0)
    read = [(0.5, {LOAD_CURRENT: 4.0}), (1.0, {METER_VOLTAGE: volts[0]}), (1.5, {METER_VOLTAGE: volts[1]})]
    said = [ceilings.passed(Sampled(t, readings)) for t, readings in read]
    assert said == [None] * 3
    said = [
        ceilings.passed(Sampled(1.8, {LOAD_CURRENT: amps})),
        ceilings.passed(Sampled(2.0, {METER_VOLTAGE: volts[2]})),
    ]
    assert (said[1] is not None) == ends, said


def test_what_was_no_time_of_the_test_does_not_count():
    ceilings = armed()
    assert "2 h 1 min is over its ceiling of 2 h" in ceilings.passed(Sampled(7260.0, FINE))
    assert ceilings.passed(Sampled(7260.0, FINE), 60.0) is None
    said = ceilings.passed(Sampled(7920.0, FINE), 600.0)
    assert said == "run time 2 h 2 min (without 10 min of waiting with everything off) is over its ceiling of 2 h"
