"""What is on, or may be, without anybody having said so: the ceilings, the looks and the ends that have to count with it."""

from dataclasses import replace

import pytest

from runner.engine.ceilings import BLIND_AFTER, Ceilings
from runner.engine.opening import CAUTIONS
from runner.engine.program import CeilingValues
from runner.engine.run import Run
from runner.engine.view import look
from runner.engine.watch.look import AGAIN, REST, Look
from runner.events import (
    CHARGE,
    METER_VOLTAGE,
    PROBE_TEMPERATURE,
    SUPPLY_CURRENT,
    Answered,
    LimitsAreSet,
    OutputIsOff,
    OutputIsOn,
    Resumed,
    Sampled,
    Started,
    StopPressed,
    SupplyIsSet,
)
from runner.orders import Ask, End, SwitchOff, SwitchOn
from runner.screen.now.to_do import Now
from runner.screen.now.wording import switch_line
from runner.vocabulary import Explanation
from tests.builders import a_program

VALUES = CeilingValues(60.0, 30.0, 10.0, 1e6)


def up_to_the_order_to_switch_on(**said):
    run = Run(replace(a_program(), **said))
    run.receive(Started(0.0, "2026-11-25T08:00:00Z"))
    run.receive(Answered(1.0, CAUTIONS, "go on", "me"))
    run.receive(Answered(2.0, "step-0", "go on", "me"))
    run.receive(LimitsAreSet(2.1, 29.6, 6.0))
    assert any(isinstance(order, SwitchOn) for order in run.receive(SupplyIsSet(2.2, 29.2, 4.0)))
    return run


def test_a_run_begins_with_everything_off():
    orders = Run(a_program()).receive(Started(0.0, "2026-11-25T08:00:00Z"))
    assert SwitchOff(everything=True) in orders


def test_an_off_of_supply_and_load_alone_does_not_end_the_run():
    run = up_to_the_order_to_switch_on()
    run.receive(StopPressed(3.0, "a key"))
    assert run.receive(OutputIsOff(3.1, True, "", everything=False)) == []
    (end,) = run.receive(OutputIsOff(3.2, False, "SWITCH ACTUATOR OFF BY HAND"))
    assert isinstance(end, End)
    assert not end.safe


def test_a_run_that_goes_on_has_an_instrument_looked_at_that_cannot_report_it():
    run = Run(replace(a_program(), looked_at=("supply",)))
    run.receive(Resumed(0.0, "2026-11-25T08:00:00Z", "after a crash", 0.0))
    assert run.by_hand
    run.receive(StopPressed(1.0, "a key"))
    (ask,) = run.receive(OutputIsOff(1.1, True))
    assert isinstance(ask, Ask)


def test_the_ceilings_count_from_the_order_and_not_from_its_answer():
    run = up_to_the_order_to_switch_on()
    orders = run.receive(Sampled(2.5, {PROBE_TEMPERATURE: 120.0}))
    assert SwitchOff(everything=True) in orders


def test_settings_that_a_supply_has_lost_end_the_run_at_once():
    run = up_to_the_order_to_switch_on()
    run.receive(OutputIsOn(2.3))
    orders = run.receive(Sampled(3.0, {SUPPLY_CURRENT: 4.0}, fault="the supply has lost its settings"))
    assert SwitchOff(everything=True) in orders


def test_an_output_that_somebody_switches_on_ends_the_run_and_stands_in_the_line_of_switches():
    run = Run(a_program())
    run.receive(Started(0.0, "2026-11-25T08:00:00Z"))
    run.receive(OutputIsOff(0.1, True))
    orders = run.receive(Sampled(1.0, {SUPPLY_CURRENT: 0.0}, output=True, fault="it is on", unordered="supply"))
    assert SwitchOff(everything=True) in orders
    now = Now(("supply", "load"), (), by_machine=False)
    assert switch_line(now.switches("", (), look(run).unordered), "CC") == "supply ON WITHOUT AN ORDER · load off"
    run.receive(OutputIsOff(1.1, True))
    assert not look(run).unordered


@pytest.mark.parametrize("readings", [{PROBE_TEMPERATURE: 95.0}, {METER_VOLTAGE: 40.0}])
def test_what_a_person_switches_has_the_ceilings_of_what_is_read_by_a_cable(readings):
    ceilings = Ceilings(VALUES)
    ceilings.armed_by_hand(0.0, CHARGE)
    said = [ceilings.passed(Sampled(t, readings)) for t in (1.0, 2.0)]
    assert "ceiling" in (said[1] or "")


def test_a_thermometer_on_a_cable_that_falls_silent_ends_a_charge_by_hand():
    ceilings = Ceilings(VALUES)
    ceilings.armed_by_hand(0.0, CHARGE)
    assert ceilings.passed(Sampled(BLIND_AFTER - 1, {}, {PROBE_TEMPERATURE: "no reply"})) is None
    assert "no valid temperature" in (
        ceilings.passed(Sampled(BLIND_AFTER + 1, {}, {PROBE_TEMPERATURE: "no reply"})) or ""
    )


def test_an_actuator_that_heats_with_the_outputs_off_needs_its_thermometer():
    ceilings = Ceilings(VALUES)
    ceilings.heated(True, 0.0)
    assert ceilings.passed(Sampled(5.0, {PROBE_TEMPERATURE: 30.0})) is None
    ceilings.heated(True, 6.0)  # another order: the thermometer was seen at 5 s
    assert "while the actuator heats" in (ceilings.passed(Sampled(5.0 + BLIND_AFTER + 1, {})) or "")
    ceilings.heated(False, 30.0)
    assert ceilings.passed(Sampled(100.0, {})) is None


def test_the_pack_s_voltmeter_has_the_ceiling_where_the_supply_is_not_read():
    ceilings = Ceilings(VALUES)
    ceilings.armed(0.0, CHARGE)
    assert ceilings.passed(Sampled(1.0, {METER_VOLTAGE: 36.0})) is None  # one reading may be a spike
    assert "voltage" in (ceilings.passed(Sampled(2.0, {METER_VOLTAGE: 36.0})) or "")


def test_a_clamp_turned_round_hides_no_current():
    assert "current" in Ceilings(VALUES).typed("current", -55.0)


def looked(rest, again):
    """What a look finds: ``rest`` and ``again`` are (s after off or on, readings)."""
    seen = Look(29.2, 4.0, 0.03)
    seen.happened(OutputIsOff(0.0, True))
    for t, readings in rest:
        seen.happened(Sampled(t, readings))
    seen.happened(OutputIsOn(REST))
    for t, readings in again:
        seen.happened(Sampled(REST + t, readings))
    return seen.found


STANDS = [(t, {METER_VOLTAGE: 26.6}) for t in range(6, int(REST))]
NONE, FLOWS = [(t / 2, {SUPPLY_CURRENT: 0.0}) for t in range(20)], [(t / 2, {SUPPLY_CURRENT: 4.0}) for t in range(20)]


def test_a_look_tells_a_trip_from_what_it_has_read_only():
    slow = [(t + 0.1, {METER_VOLTAGE: 26.6}) for t in range(int(AGAIN))]  # read side by side: without a current
    assert looked(STANDS, NONE) == Explanation.TRIPPED
    assert looked(STANDS, sorted(FLOWS + slow, key=lambda each: each[0])) == Explanation.UNKNOWN
    assert looked(STANDS[:3], NONE) == Explanation.UNKNOWN, "the voltmeter fell silent"
    assert looked(STANDS, [(t, {}) for t in range(20)]) == Explanation.UNKNOWN, "no current was read"
