"""The watcher on the discharge path, and an over-voltage trip against a full pack. Common practice, no source."""

import pytest

from runner.engine.watch.watcher import Watcher
from runner.events import (
    CHARGE,
    DISCHARGE,
    LOAD_CURRENT,
    LOAD_VOLTAGE,
    METER_VOLTAGE,
    SUPPLY_CURRENT,
    SUPPLY_VOLTAGE,
    Sampled,
)

STEP = 0.25


def drawn(count, begin=0.0, current=4.0, voltage=26.0, output=True, terminal=None):
    readings = {LOAD_CURRENT: current, LOAD_VOLTAGE: voltage} | ({} if terminal is None else {METER_VOLTAGE: terminal})
    return [Sampled(begin + STEP * index, readings, {}, "", output) for index in range(count)]


def fed(*parts, empty_at=0.0):
    watcher = Watcher({DISCHARGE: 0.03}, empty_at=empty_at)
    watcher.expect(DISCHARGE, 0.0, 4.0, 0.0)
    t, words = 0.0, []
    for part in parts:
        for sample in part:
            moved = Sampled(t, sample.readings, sample.lost, sample.mode, sample.output)
            words += [verdict.word for verdict in watcher.take(moved)]
            t += STEP
    return words, watcher


def test_a_pack_that_cuts_the_load_off_takes_the_voltage_with_it():
    words, watcher = fed(drawn(40), drawn(5, current=0.0, voltage=0.2))
    assert words == ["steady", "stopped"]
    assert watcher.verdict.since == 40 * STEP


def test_a_pack_that_stops_where_its_under_voltage_may_have_done_it_is_unclear():
    """Seen: a cut-off at 20.5 V was passed as the trip of a temperature."""
    words, watcher = fed(drawn(40, voltage=20.5), drawn(5, current=0.0, voltage=0.2), empty_at=20.9)
    assert words == ["steady", "unclear"]
    assert "was 20.50 V under load" in watcher.verdict.why
    assert fed(drawn(40, voltage=21.5), drawn(5, current=0.0, voltage=0.2), empty_at=20.9)[0] == ["steady", "stopped"]


def test_a_load_that_stops_by_itself_still_finds_the_voltage():
    assert fed(drawn(40), drawn(5, current=0.0, voltage=26.1))[0] == ["steady", "limited"]


def test_a_load_whose_input_went_off_is_limited():
    assert fed(drawn(40), drawn(5, current=0.0, voltage=0.0, output=False))[0] == ["steady", "limited"]


def test_a_lead_of_the_load_that_comes_off_leaves_the_packs_terminals_up():
    words, _ = fed(drawn(40, terminal=26.0), drawn(8, current=0.0, voltage=0.0, terminal=26.3))
    assert words == ["steady", "open lead"]


def test_a_load_that_is_carried_again_is_returned_and_then_steady():
    words, _ = fed(drawn(40), drawn(20, current=0.0, voltage=0.2), drawn(20))
    assert words == ["steady", "stopped", "returned", "steady"]


@pytest.mark.parametrize(
    ("voltage", "terminal", "word"), [(26.0, 26.1, "limited"), (0.0, 26.1, "open lead"), (0.2, 0.2, "stopped")]
)
def test_while_stopped_the_watcher_notices_that_a_return_could_no_longer_be_seen(voltage, terminal, word):
    after = drawn(20, current=0.0, voltage=voltage, terminal=terminal)
    words, watcher = fed(drawn(40), drawn(10, current=0.0, voltage=0.2, terminal=0.2), after)
    assert words[:2] == ["steady", "stopped"]
    assert watcher.verdict.word == word


def charged(voltages, current=4.0, mode="CC"):
    return [(volts, current, mode) for volts in voltages]


def over_voltage(points, *, wanted):
    watcher = Watcher({CHARGE: 0.03})
    watcher.expect(CHARGE, 30.3, 4.0, 0.0, over_voltage_wanted=wanted)
    words = []
    for number, (volts, current, mode) in enumerate(points):
        readings = {SUPPLY_VOLTAGE: volts, SUPPLY_CURRENT: current}
        words += [v.word for v in watcher.take(Sampled(number * 1.0, readings, {}, mode, True))]
    return words


CLIMB = [28.0 + 0.01 * step for step in range(180)]


def test_a_sudden_stop_at_the_end_of_charge_is_full_unless_over_voltage_is_what_is_tested():
    stop = charged(CLIMB) + charged([30.3] * 6, 0.0, "CV")
    assert over_voltage(stop, wanted=False)[-1] == "full"
    assert over_voltage(stop, wanted=True)[-1] == "stopped"


def test_a_taper_is_full_also_where_over_voltage_is_tested():
    taper = charged(CLIMB) + [(30.3, 4.0 * 0.99**step, "CV") for step in range(400)] + charged([30.3] * 6, 0.0, "CV")
    for wanted in (False, True):
        words = over_voltage(taper, wanted=wanted)
        assert words[-1] == "full"
        assert "stopped" not in words
