"""Whatever a procedure says, the engine holds what no cell and no sensor is ever taken to; and what cannot be true is no fail."""

from dataclasses import replace

import pytest

from runner.engine.ceilings import Ceilings
from runner.engine.limits import last_resort
from runner.engine.program import CeilingValues
from runner.engine.watch.watcher import Watcher
from runner.events import (
    CHARGE,
    DISCHARGE,
    LOAD_CURRENT,
    LOAD_VOLTAGE,
    METER_VOLTAGE,
    PROBE_TEMPERATURE,
    SUPPLY_CURRENT,
    SUPPLY_VOLTAGE,
    Sampled,
)
from runner.sheets.pack import parse_pack
from tests.builders import PACK, a_program, sample

ANYTHING = CeilingValues(500.0, 500.0, 500.0, 1e9)
PACK_SHEET = parse_pack(PACK, "p")


def armed(path):
    ceilings = Ceilings(last_resort(ANYTHING, PACK_SHEET))
    ceilings.armed(0.0, path)
    return ceilings


def passed(ceilings, samples):
    return next((why for each in samples if (why := ceilings.passed(each))), "")


def test_no_cell_is_charged_beyond_what_it_never_is():
    assert passed(armed(CHARGE), [sample(t, voltage=31.1, temperature=25.0) for t in range(5)]) == ""
    why = passed(armed(CHARGE), [sample(t, voltage=31.3, temperature=25.0) for t in range(5)])
    assert "voltage 31.3 V is over its ceiling of 31.2 V" in why


@pytest.mark.parametrize("shown", [0.0, -5.0])
def test_a_supply_that_shows_nothing_does_not_blind_the_ceiling(shown):
    """Seen: 0 V and −5 V with 27 V on the meter, no remark."""
    samples = [sample(t, voltage=shown, temperature=25.0, terminal=31.5) for t in range(6)]
    assert "over its ceiling" in passed(armed(CHARGE), samples)


def test_no_cell_is_drained_below_what_it_never_is_and_no_sensor_taken_beyond():
    drained = [Sampled(t, {LOAD_VOLTAGE: 15.9, LOAD_CURRENT: 40.0, PROBE_TEMPERATURE: 25.0}) for t in range(4)]
    assert "below its floor of 16 V" in passed(armed(DISCHARGE), drained)
    assert "over its ceiling of 100 °C" in passed(armed(CHARGE), [sample(1.0, temperature=100.5)])
    assert "below the lower limit" in passed(armed(CHARGE), [sample(1.0, temperature=-40.5)])


def test_the_program_carries_them():
    values = a_program().ceilings
    assert (values.lowest_voltage, values.lowest_temperature) == (16.0, -40.0)
    assert last_resort(replace(values, voltage=99.0), PACK_SHEET).voltage == pytest.approx(31.2)


# ---- what cannot all be true ----------------------------------------------------------------------------------------


def words(samples):
    watcher = Watcher({CHARGE: 0.03, DISCHARGE: 0.03})
    watcher.expect(CHARGE, 29.2, 4.0, 0.0)
    return [verdict.word for each in samples for verdict in watcher.take(each)]


def steady(seconds, current=lambda t: 4.0 + 0.001 * (t % 3)):
    return [sample(t / 4, current=current(t), voltage=26.6) for t in range(1, int(seconds * 4))]


def test_a_current_that_stands_still_while_the_supply_has_jumped_to_its_set_voltage_is_unclear():
    """Seen: a reading frozen at 4 A while the pack had tripped was called a pack that does not trip."""
    frozen = [sample(20 + t / 4, current=4.002, voltage=29.2) for t in range(40)]
    assert words([*steady(20), *frozen])[-1] == "unclear"


def test_a_coarse_display_that_stands_still_is_nothing_unusual():
    still = [sample(t / 4, current=4.0, voltage=26.6 + 0.001 * t) for t in range(1, 400)]
    assert "unclear" not in words(still)
    rising = [sample(t / 4, current=4.0, voltage=min(29.2, 28.0 + 0.01 * t)) for t in range(1, 300)]
    assert "unclear" not in words(rising), "constant current that comes to its end by itself"


def test_current_out_of_something_that_reads_back_as_off_is_unclear():
    off = [sample(20 + t / 4, output=False) for t in range(8)]
    assert words([*steady(20), *off])[-1] == "unclear"


@pytest.mark.parametrize("voltage", [0.0, -5.0])
def test_a_voltage_that_cannot_be_while_current_flows_is_unclear(voltage):
    odd = [
        Sampled(20 + t / 4, {SUPPLY_VOLTAGE: voltage, SUPPLY_CURRENT: 4.0, METER_VOLTAGE: 26.5}, {}, "CC", True)
        for t in range(8)
    ]
    assert words([*steady(20), *odd])[-1] == "unclear"


def test_terminals_above_the_supply_that_charges_them_are_unclear():
    """A supply all of whose readings stand still is found out by the voltmeter at the pack."""
    odd = [sample(20 + t / 4, current=4.0, voltage=26.6, terminal=29.2) for t in range(30)]
    assert words([*steady(20), *odd])[-1] == "unclear"
    behind = [sample(20 + t / 4, current=4.0, voltage=26.6, terminal=29.2 if t < 3 else 26.5) for t in range(30)]
    assert "unclear" not in words([*steady(20), *behind])
