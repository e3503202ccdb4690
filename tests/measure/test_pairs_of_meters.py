"""Two voltmeters beside each other: which readings are paired, what lies between them, and when nothing is compared."""

import numpy as np
import pytest

from runner.events import LOAD_CURRENT, LOAD_VOLTAGE, METER_VOLTAGE, SUPPLY_CURRENT, SUPPLY_VOLTAGE
from runner.measure.meters import Meters, _side_by_side
from runner.measure.recording import Accuracy, Attempt, Held, Recording, Series, Specification


def test_each_reading_is_paired_with_the_nearest_before_or_after_it():
    one = Series(np.array([0.0, 1.0, 2.0, 3.0]), np.array([10.0, 11.0, 12.0, 13.0]))
    other = Series(np.array([0.4, 1.1, 2.9]), np.array([20.0, 21.0, 22.0]))
    assert _side_by_side(one, other) == ([10.0, 11.0, 13.0], [20.0, 21.0, 22.0])


def compared(
    levels=(4.0, 8.0, 12.0),
    *,
    path="discharge",
    ohms=0.010,
    offset=0.005,
    every=0.5,
    dwell=30.0,
    accuracy=None,
    steps=0.0,
):
    """Levels of 30 s at which the instrument reads ``offset`` more than the terminals and loses, or adds, I·R of its leads."""
    current, voltage = (LOAD_CURRENT, LOAD_VOLTAGE) if path == "discharge" else (SUPPLY_CURRENT, SUPPLY_VOLTAGE)
    sign = -1.0 if path == "discharge" else 1.0
    t = np.arange(0.0, dwell * len(levels), every)
    amperes = np.array(levels)[(t // dwell).astype(int)]
    wave = 1e-4 * (-1.0) ** np.arange(len(t))
    terminal = 26.0 + sign * 0.02 * amperes + wave
    there = terminal + offset + sign * ohms * amperes
    if steps:
        terminal, there = (np.round(each / steps) * steps for each in (terminal, there))
    held = tuple(Held(level, dwell * number) for number, level in enumerate(levels))
    done = Attempt("stage", "", 0, 0.0, 0.0, None, dwell * len(levels), "done", "", None, held)
    channels = {current: Series(t, amperes), voltage: Series(t, there), METER_VOLTAGE: Series(t, terminal)}
    return Meters(Recording(channels, (done,)), Specification("", accuracy=accuracy or {}))


@pytest.mark.parametrize(("path", "name"), [("discharge", "load"), ("charge", "supply")])
def test_what_lies_between_is_the_slope_and_what_they_differ_by_the_offset(path, name):
    maker = compared(path=path)
    leads, meters = maker.leads(), maker.meters()
    assert leads.value == pytest.approx(0.010, abs=1e-6)
    assert meters.value == pytest.approx(0.005, abs=1e-5)
    assert leads.caveats == (f"resistance of both leads and clamps together, {name} to pack terminals",)


def test_displays_that_step_exactly_together_are_compared():
    """Seen: rounding made the variance of their difference less than nothing, and the evaluation ended with a defect."""
    for seed in range(50):
        dice = np.random.default_rng(seed)
        maker = compared()
        meter = maker.recording.channels[METER_VOLTAGE]
        terminal = np.round(meter.value + dice.normal(0, 0.01, len(meter)), 3)
        there = Series(meter.t, terminal + 0.005)
        channels = {**maker.recording.channels, METER_VOLTAGE: Series(meter.t, terminal), LOAD_VOLTAGE: there}
        same = Meters(Recording(channels, maker.recording.attempts), maker.declared)
        assert same.meters().value == pytest.approx(0.005, abs=1e-6)


@pytest.mark.parametrize(("ohms", "said"), [(0.0499, False), (0.0501, True)])
def test_more_than_fifty_milliohms_are_a_thin_lead_or_a_loose_clamp(ohms, said):
    """Fifty milliohms: common practice, no source."""
    caveats = compared(ohms=ohms).leads().caveats
    assert any("more than 50 mΩ: check for a thin lead" in each for each in caveats) is said


def test_the_gains_are_in_the_resistance_as_far_as_what_they_read_moves():
    """The terminals fall by 20 mΩ, the load's reading by 30 mΩ; ± limits are half-width/√3."""
    accuracy = {METER_VOLTAGE: Accuracy(0.01), LOAD_VOLTAGE: Accuracy(0.02), LOAD_CURRENT: Accuracy(0.03)}
    rows = {row.source: row.contribution for row in compared(accuracy=accuracy).leads().budget}
    volts = ((0.01 * 0.020) ** 2 + (0.02 * 0.030) ** 2) ** 0.5 / 3**0.5
    assert rows["gain of the voltmeters"] == pytest.approx(volts, rel=1e-3)
    assert rows["gain of the current reading"] == pytest.approx(0.03 * 0.010 / 3**0.5, rel=1e-3)


@pytest.mark.parametrize(
    ("channel", "name", "share"),
    [
        (METER_VOLTAGE, "gain of the voltmeters", 0.020),
        (LOAD_VOLTAGE, "gain of the voltmeters", 0.030),
        (LOAD_CURRENT, "gain of the current reading", 0.010),
    ],
)
def test_of_a_meter_whose_gain_nobody_states_nothing_is_in_the_budget(channel, name, share):
    rows = {row.source: row.contribution for row in compared(accuracy={channel: Accuracy(0.01)}).leads().budget}
    gains = {source: value for source, value in rows.items() if source.startswith("gain")}
    assert gains == {name: pytest.approx(0.01 * share / 3**0.5, rel=1e-3)}


def test_the_limits_of_the_difference_are_both_makers_figures_together():
    accuracy = {METER_VOLTAGE: Accuracy(0.001, 0.003), LOAD_VOLTAGE: Accuracy(0.002, 0.010)}
    finding = compared(accuracy=accuracy).meters()
    level = 26.0 - 0.02 * 8.0
    assert finding.upper == pytest.approx(0.003 * level + 0.013, abs=1e-4)
    assert finding.lower == -finding.upper
    assert finding.expected == 0.0


def test_a_display_that_stands_still_hides_its_resolution_and_one_that_moves_does_not():
    accuracy = {METER_VOLTAGE: Accuracy(resolution=0.01), LOAD_VOLTAGE: Accuracy(resolution=0.01)}
    still = {row.source: row.contribution for row in compared(accuracy=accuracy, steps=0.01).meters().budget}
    assert still["resolution of the voltmeters"] > 0.0
    fine = {METER_VOLTAGE: Accuracy(resolution=1.9e-4), LOAD_VOLTAGE: Accuracy(resolution=1.9e-4)}
    assert "resolution of the voltmeters" not in {row.source for row in compared(accuracy=fine).meters().budget}


@pytest.mark.parametrize(
    ("more", "measured"),
    [
        ({"levels": (4.0, 8.0)}, False),
        ({"levels": (4.0, 4.01, 4.02)}, False),
        ({"levels": (4.0, 4.0, 4.1)}, True),
        ({"dwell": 3.5}, True),
        ({"dwell": 3.0}, False),
    ],
)
def test_three_levels_of_two_currents_with_three_readings_each_are_the_least(more, measured):
    """Two seconds of each level are left out, a tenth of an ampere makes two of them: our own choice."""
    finding = compared(**more).leads()
    assert (finding.value is not None) is measured
    assert measured or finding.reason == "too few currents were compared"


def test_without_a_voltmeter_on_the_terminals_nothing_is_compared():
    maker = compared()
    channels = {name: each for name, each in maker.recording.channels.items() if name != METER_VOLTAGE}
    finding = Meters(Recording(channels, maker.recording.attempts), maker.declared).meters()
    assert "no voltmeter on the pack's terminals" in finding.reason


def test_a_meter_whose_accuracy_nobody_has_declared_is_judged_by_nothing():
    """Seen: limits of ±0.0 V, or of the other meter alone, and a sound bench failed by them."""
    known = Accuracy(0.001, 0.002)
    for accuracy in ({}, {METER_VOLTAGE: known}, {LOAD_VOLTAGE: known}):
        finding = compared(accuracy=accuracy).meters()
        assert (finding.lower, finding.upper, finding.conformity) == (None, None, None)
        (caveat,) = finding.caveats
        assert "no limits: the bench file declares no accuracy of" in caveat
        assert ("load's voltmeter" in caveat.partition("no accuracy")[2]) == (LOAD_VOLTAGE not in accuracy)
    finding = compared(accuracy={METER_VOLTAGE: known, LOAD_VOLTAGE: known}).meters()
    assert finding.conformity == "pass"
