"""Our integrals, instants and the watcher on records of an independent battery model.

data/*.csv and lfp_reference.json: one LFP cell (and four in series) by PyBaMM 26.10.1.1 (BSD-3), parameter set Prada2013,
SPMe; the figures asserted are the library's own, not taken from the CSV. Sampled every 2 s (10 s for the four cells).
"""

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from runner.engine.watch.watcher import Watcher
from runner.events import CHARGE, LOAD_CURRENT, METER_VOLTAGE, SUPPLY_CURRENT, SUPPLY_VOLTAGE, Sampled
from runner.measure.findings import findings
from runner.measure.fits.edge import find_edge
from runner.measure.fits.integral import integrate
from runner.measure.fits.recovery import forecast
from runner.measure.readings import gap_before
from runner.measure.recording import Attempt, Recording, Series
from tests.builders import declared

DATA = Path(__file__).parent / "data"
SUMMARY = json.loads((DATA / "lfp_reference.json").read_text())["records"]
STEP = 2.0  # s between the records' rows


def record(name):
    """(t, current, voltage) as the record has them."""
    with (DATA / f"{name}.csv").open() as file:
        rows = list(csv.reader(file))[1:]
    t, current, voltage = (np.array([float(row[column]) for row in rows]) for column in range(3))
    return t, current, voltage


def discharge():
    t, current, voltage = record("lfp_discharge")
    return Series(t, current), Series(t, voltage)


def run_of(current, voltage, cut_off, recovered):
    drain = Attempt("drain", "", 0, 0.0, 0.0, None, cut_off, "stopped", "")
    full = Attempt("charge", "", 0, 0.0, -2.0, None, -1.0, "full", "")
    rest = Attempt("recover", "", 0, 0.0, cut_off, None, recovered, "returned", "")
    return Recording({LOAD_CURRENT: current, METER_VOLTAGE: voltage}, (full, drain, rest))


def first_without_current(current):
    return float(current.t[np.flatnonzero(current.value < 0.01)[0]])


def test_the_cut_off_is_where_the_library_ends_its_discharge():
    current, _ = discharge()
    edge = find_edge(current, first_without_current(current), rising=False)
    assert edge.instant == pytest.approx(SUMMARY["lfp_discharge"]["first_step_end_s"], abs=STEP)


def test_capacity_is_the_librarys_own_integral():
    current, voltage = discharge()
    at = first_without_current(current)
    values = {
        "protection": "under_voltage",
        "sensors": (),
        "wanted": ("capacity", "energy"),
        "capacity": (2.3 * 3600, None),
    }
    found = findings(run_of(current, voltage, at, at + 66), declared(**values))
    capacity = found[0]
    assert capacity.value / 3600 == pytest.approx(
        SUMMARY["lfp_discharge"]["first_step_capacity_Ah"], abs=0.92 * STEP / 3600
    )
    assert capacity.fit == "stays below the rated value"
    assert found[1].value / found[0].value == pytest.approx(
        3.2, abs=0.1
    )  # mean voltage of such a cell, common practice


def test_the_cut_off_voltage_is_the_one_the_library_was_told():
    current, voltage = discharge()
    at = first_without_current(current)
    values = {
        "protection": "under_voltage", "sensors": (), "wanted": ("trip", "recovery_time"), "trip": 2.5, "trip_limits": (2.4, 2.6),
        "delay": 0.0, "polling": 0.0, "filter_lag": None,
    }  # fmt: skip
    trip, _ = findings(run_of(current, voltage, at, at + 66), declared(**values))
    # the last row is up to one step before the end, and the voltage falls by some mV/s there
    assert trip.value == pytest.approx(2.5, abs=0.02)
    # the library writes a row at the very end, so the truth lies at the edge of the bracket between two rows: √3·u away
    u = trip.expanded_uncertainty / trip.coverage_factor
    assert abs(trip.value - 2.5) <= 3**0.5 * u


def test_the_recovery_passes_2_8_volts_when_the_library_says():
    _, voltage = discharge()
    off = SUMMARY["lfp_discharge"]["first_step_end_s"]
    rest = voltage.between(off + 0.1, 1e9)
    passed = float(rest.t[np.flatnonzero(rest.value >= 2.8)[0]])
    assert passed - gap_before(rest, passed) / 2 - off == pytest.approx(66.0, abs=STEP)
    assert voltage.value[-1] == pytest.approx(SUMMARY["lfp_discharge"]["last_voltage_V"], abs=1e-5)


@pytest.mark.parametrize("after", [25.0, 35.0, 50.0])
def test_the_forecast_of_the_recovery_holds_what_comes(after):
    _, voltage = discharge()
    off = SUMMARY["lfp_discharge"]["first_step_end_s"]
    seen = voltage.between(off + 0.1, off + after)
    expected = forecast(seen, off, 2.8)
    assert expected.low <= 66.0 <= expected.high
    assert expected.high < 66.0 * 3 or after < 30.0  # early on, nobody can say that it will come at all


def test_a_voltage_that_will_not_be_reached_is_not_promised():
    _, voltage = discharge()
    off = SUMMARY["lfp_discharge"]["first_step_end_s"]
    assert forecast(voltage.between(off + 0.1, off + 1800.0), off, 3.3).high == np.inf


def test_four_cells_in_series_give_the_librarys_charge_and_energy():
    with (DATA / "lfp_pack_4s_1C.csv").open() as file:
        rows = [[float(cell) for cell in row] for row in list(csv.reader(file))[1:]]
    t, volts, amperes, _ = (np.array(column) for column in zip(*rows, strict=True))
    end = 2940.616  # s, where the library ends the discharge at 10.0 V
    flowing = t <= end
    charge = integrate(Series(t[flowing], amperes[flowing]), 0.0, end) / 3600
    energy = integrate(Series(t[flowing], (amperes * volts)[flowing]), 0.0, end) / 3600
    assert charge == pytest.approx(1.878727, rel=2e-4)
    assert energy == pytest.approx(23.5152, rel=2e-3)  # rows are 10 s apart, the voltage bends between them


def test_a_taper_to_full_is_tapering_and_full_and_never_a_trip():
    t, current, voltage = record("lfp_charge")
    watcher = Watcher({CHARGE: 0.005})
    watcher.expect(CHARGE, 3.6, 1.15, 0.0)
    words = []
    for at, amperes, volts in zip(t, -current, voltage, strict=True):
        mode = "CC" if volts < 3.5999 else "CV"
        sample = Sampled(float(at), {SUPPLY_CURRENT: float(amperes), SUPPLY_VOLTAGE: float(volts)}, {}, mode, True)
        words += [verdict.word for verdict in watcher.take(sample)]
    assert words == ["steady", "tapering", "full"]


def test_the_charge_put_in_is_the_librarys_own_integral():
    t, current, _ = record("lfp_charge")
    put_in = integrate(Series(t, -current), float(t[0]), float(t[-1])) / 3600
    assert put_in == pytest.approx(-SUMMARY["lfp_charge"]["whole_capacity_Ah"], rel=2e-4)


@pytest.mark.parametrize(
    ("when", "word"), [(2000.0, "stopped"), (2600.0, "stopped"), (5300.0, "stopped"), (6400.0, "full")]
)
def test_a_sudden_stop_of_the_reference_cell_is_a_trip_on_the_plateau_and_full_near_the_end(when, word):
    t, current, voltage = record("lfp_charge")
    watcher = Watcher({CHARGE: 0.005})
    watcher.expect(CHARGE, 3.6, 1.15, 0.0)
    words = []
    for at, amperes, volts in zip(t, -current, voltage, strict=True):
        flows = at < when
        readings = {SUPPLY_CURRENT: float(amperes) if flows else 0.0, SUPPLY_VOLTAGE: float(volts) if flows else 3.6}
        words += [v.word for v in watcher.take(Sampled(float(at), readings, {}, "CC" if flows else "CV", True))]
        if at > when + 20:
            break
    assert words[-1] == word
