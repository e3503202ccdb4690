"""Open measured records of a pouch cell (LCO/graphite, 2.28 A h), 1 Hz: voltage, and temperature rise with its cooling.

data/{1C,2C}_discharge_U.txt and 1C_discharge_T.txt as in the wheel of PyBaMM 24.1 (BSD-3), measured by W. Ai and others,
DOI 10.1149/2.0122001JES, and B. Rieger and others (2016). No current is recorded: the nominal one is assumed. The expected
figures were computed from the files by linear interpolation, independently of this program.
"""

from pathlib import Path

import numpy as np
import pytest

from runner.measure.fits.integral import integrate
from runner.measure.fits.ramp import fit_ramp
from runner.measure.fits.recovery import fit_relaxation
from runner.measure.recording import Series

DATA = Path(__file__).parent / "data"
RESOLUTION = 0.00345  # K, the step of the temperature record


def read(name):
    t, value = np.loadtxt(DATA / f"{name}.txt", unpack=True)
    return Series(t, value)


def until_3_volts(name):
    """The record up to 3.0 V, and when it gets there."""
    record = read(name)
    first = int(np.flatnonzero(record.value <= 3.0)[0])
    (t0, t1), (v0, v1) = record.t[first - 1 : first + 1], record.value[first - 1 : first + 1]
    end = float(t0 + (v0 - 3.0) / (v0 - v1) * (t1 - t0))
    return Series(np.append(record.t[:first], end), np.append(record.value[:first], 3.0)), end


@pytest.mark.parametrize(
    ("name", "current", "seconds", "charge", "energy"),
    [("1C_discharge_U", 2.28, 3610.693, 2.28677, 8.3985), ("2C_discharge_U", 4.56, 1768.305, 2.23985, 7.9435)],
)
def test_time_charge_and_energy_to_three_volts(name, current, seconds, charge, energy):
    voltage, end = until_3_volts(name)
    assert end == pytest.approx(seconds, abs=0.01)
    flowing = Series(voltage.t, np.full(len(voltage), current))
    assert integrate(flowing, 0.0, end) / 3600 == pytest.approx(charge, rel=1e-4)
    assert integrate(Series(voltage.t, voltage.value * current), 0.0, end) / 3600 == pytest.approx(energy, rel=2e-4)


def test_the_real_ramp_of_temperature_is_fitted_where_it_passes_three_kelvin():
    rise = read("1C_discharge_T")
    ramp = fit_ramp(rise, 2782.0, 2700.0, RESOLUTION)  # it first shows 3 K at 2782 s
    assert ramp.temperature == pytest.approx(3.0, abs=0.03)
    assert 0.0005 < ramp.rate < 0.005
    assert ramp.scatter < 0.02


def test_the_cooling_constant_of_the_real_record():
    """−0.0310 + 1.4089·exp(−(t − 3900)/303.5 s), the constant known to 0.9 s."""
    rise = read("1C_discharge_T")
    cooling = rise.between(3900.0, float(rise.t[-1]))
    fit = fit_relaxation(cooling.t - 3900.0, cooling.value, (1 / 100.0,))
    assert 1 / fit.rates[0] == pytest.approx(303.5, abs=1.0)
    assert fit.final == pytest.approx(-0.0310, abs=0.0005)
    assert fit.amplitudes[0] == pytest.approx(1.4089, abs=0.003)
