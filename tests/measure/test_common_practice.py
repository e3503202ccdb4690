"""A four-series LFP pack of the trade: figures that are common practice, no source, through the pack sheet and the findings."""

import numpy as np
import pytest

from runner.events import LOAD_CURRENT, LOAD_VOLTAGE, METER_VOLTAGE
from runner.measure.findings import findings
from runner.measure.recording import Accuracy, Attempt, Held, Recording, Series
from runner.sheets.pack import parse_pack
from tests.builders import declared

SHEET = """\
kind: pack
name: trade
serial: "1"
chemistry: LFP
cells_in_series: 4
nominal_voltage: 12.8 V
full_charge_voltage: 14.6 V
cut_off_voltage: 10 V
rated_capacity: 100 Ah
minimum_capacity: 97 Ah
rated_energy: 1280 Wh
maximum_charge_current: 50 A
sensors: [{name: T1, place: middle}]
protections:
  charge over-temperature: {trip: 55 degC, tolerance: 2 K, release: 45 degC, delay: 1 s, sensors: all}
  charge under-temperature: {trip: 0 degC, tolerance: 2 K, release: 5 degC, delay: 1 s, sensors: all}
  under-voltage: {trip: 10.5 V, tolerance: 0.5 V, release: 11.2 V, delay: 1 s}
"""


def test_the_figures_of_the_trade_fit_each_other():
    pack = parse_pack(SHEET, "pack.yaml")
    assert pack.full_charge_voltage == pytest.approx(4 * 3.65)
    assert pack.cut_off_voltage == pytest.approx(4 * 2.5)
    assert pack.protections.under_voltage.release == pytest.approx(4 * 2.8)
    assert pack.rated_energy == pytest.approx(pack.nominal_voltage * pack.rated_capacity)
    assert pack.minimum_capacity == pytest.approx(0.97 * pack.rated_capacity)
    assert pytest.approx(36.5, abs=0.6) == 460 / 12.8  # A that an inverter's 460 W take
    cold = pack.protections.charge_under_temperature
    assert cold.release - cold.trip == pytest.approx(5.0)


CAPACITY = {
    "protection": "under_voltage", "sensors": (), "wanted": ("capacity",), "capacity": (100 * 3600.0, 97 * 3600.0),
    "accuracy": {LOAD_CURRENT: Accuracy(0.001, 0.01)},
}  # fmt: skip


@pytest.mark.parametrize(
    ("hours", "conformity", "outcome"),
    [
        (2.80, "pass", "reaches the rated value"),
        (2.69, "pass", "reaches the declared minimum, not the rated value"),
        (2.60, "fail", "stays below the declared minimum"),
    ],
)
def test_capacity_has_three_outcomes_against_rated_and_minimum(hours, conformity, outcome):
    end = hours * 3600
    t = np.arange(0.0, end + 10, 2.0)
    current = Series(t, np.where(t < end, 36.5, 0.0))
    full = Attempt("charge", "", 0, 0.0, -9.0, None, -1.0, "full", "")
    drain = Attempt("drain", "", 0, 0.0, 0.0, None, float(t[t >= end][0]), "stopped", "")
    (finding,) = findings(Recording({LOAD_CURRENT: current}, (full, drain)), declared(**CAPACITY))
    assert finding.value / 3600 == pytest.approx(36.5 * hours, rel=1e-3)
    assert (finding.conformity, finding.fit) == (conformity, outcome)


def test_without_a_full_charge_before_it_a_discharge_is_no_capacity():
    t = np.arange(0.0, 7210.0, 2.0)
    drain = Attempt("drain", "", 0, 0.0, 0.0, None, 7200.0, "stopped", "")
    current = Series(t, np.where(t < 7200, 36.5, 0.0))
    (finding,) = findings(Recording({LOAD_CURRENT: current}, (drain,)), declared(**CAPACITY))
    assert finding.conformity == "not measured"
    assert "did not start from full" in finding.reason


def test_a_gap_in_the_readings_is_never_bridged_in_silence():
    t = np.arange(0.0, 9410.0, 2.0)
    t = t[(t < 3000) | (t > 3060)]
    current = Series(t, np.where(t < 9400, 36.5, 0.0))
    attempts = (
        Attempt("charge", "", 0, 0.0, -9.0, None, -1.0, "full", ""),
        Attempt("drain", "", 0, 0.0, 0.0, None, 9400.0, "stopped", ""),
    )
    (finding,) = findings(Recording({LOAD_CURRENT: current}, attempts), declared(**CAPACITY))
    whole, gap = 36.5 * 9399, 36.5 * 64
    assert finding.value == pytest.approx(whole - gap / 2, rel=1e-4)
    assert abs(finding.value - whole) < finding.expanded_uncertainty
    assert any("gaps without readings" in text for text in finding.caveats)
    assert finding.budget[0].source in ("gaps without readings", "gain of the current")


def test_a_gap_that_is_too_long_leaves_nothing_to_claim():
    t = np.arange(0.0, 9410.0, 2.0)
    t = t[(t < 3000) | (t > 3600)]
    current = Series(t, np.where(t < 9400, 36.5, 0.0))
    attempts = (
        Attempt("charge", "", 0, 0.0, -9.0, None, -1.0, "full", ""),
        Attempt("drain", "", 0, 0.0, 0.0, None, 9400.0, "stopped", ""),
    )
    (finding,) = findings(Recording({LOAD_CURRENT: current}, attempts), declared(**CAPACITY))
    assert finding.conformity == "not measured"
    assert "too long" in finding.reason


def test_the_leads_between_a_terminal_meter_and_one_behind_a_shunt_show_at_the_trades_current():
    """Some tens of millivolts between a meter on the terminals and one behind shunt and leads at 36.5 A: common practice."""
    held_of = {"leads": 0, "meters": 0}
    for seed in range(40):
        leads, meters = a_comparison(np.random.default_rng(seed), 0.0012, -0.004)
        assert 36.5 * leads.value == pytest.approx(0.044, abs=0.002)
        assert meters.conformity == "pass"
        held_of["leads"] += abs(leads.value - 0.0012) < leads.expanded_uncertainty
        held_of["meters"] += abs(meters.value + 0.004) < meters.expanded_uncertainty
    assert min(held_of.values()) >= 35  # of 40 at 95 %: fewer in one case of a hundred


def a_comparison(dice, resistance, offset):
    """Leads and meters at four currents; only the load's voltmeter has noise."""
    levels = [5.0, 15.0, 25.0, 36.5]
    t = np.arange(0.0, 120.0, 0.5)
    amperes = np.array([levels[min(int(at // 30), 3)] for at in t])
    meter = 13.1 - 0.004 * amperes
    there = meter - resistance * amperes + offset + dice.normal(0, 0.001, len(t))
    held = tuple(Held(level, 30.0 * number) for number, level in enumerate(levels))
    stage = Attempt("stage", "", 0, 0.0, 0.0, None, 120.0, "done", "", None, held)
    channels = {LOAD_CURRENT: Series(t, amperes), LOAD_VOLTAGE: Series(t, there), METER_VOLTAGE: Series(t, meter)}
    accuracy = {METER_VOLTAGE: Accuracy(0.0002, 0.003), LOAD_VOLTAGE: Accuracy(0.0005, 0.01)}
    values = {"protection": "", "sensors": (), "wanted": ("leads", "meters"), "accuracy": accuracy}
    return findings(Recording(channels, (stage,)), declared(**values))
