"""Shift in time, scale, sign and resampling change nothing of a fit that they should not."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runner.measure.fits.integral import integrate
from runner.measure.fits.ramp import fit_bend, fit_ramp, wander
from runner.measure.fits.recovery import fit_relaxation
from runner.measure.readings import lowest_held
from runner.measure.recording import Series

SEEDS = st.integers(0, 200)


def a_ramp(seed, rate=2 / 60, noise=0.02):
    dice = np.random.default_rng(seed)
    t = np.cumsum(dice.uniform(0.3, 0.7, 200))
    return Series(t, 50 + rate * t + dice.normal(0, noise, len(t)))


@given(seed=SEEDS, shift=st.floats(-1e6, 1e6), offset=st.floats(-100, 100))
def test_a_ramp_may_be_moved_in_time_and_in_temperature(seed, shift, offset):
    ramp = a_ramp(seed)
    one = fit_ramp(ramp, float(ramp.t[-1]), 0.0, 0.0)
    other = fit_ramp(Series(ramp.t + shift, ramp.value + offset), float(ramp.t[-1]) + shift, shift, 0.0)
    assert other.temperature == pytest.approx(one.temperature + offset, abs=1e-5)
    assert other.rate == pytest.approx(one.rate, abs=1e-7)
    assert other.temperature_uncertainty == pytest.approx(one.temperature_uncertainty, rel=1e-3)


@given(seed=SEEDS)
def test_cooling_is_heating_with_the_other_sign(seed):
    up = a_ramp(seed)
    one = fit_ramp(up, float(up.t[-1]), 0.0, 0.0)
    other = fit_ramp(Series(up.t, -up.value), float(up.t[-1]), 0.0, 0.0)
    assert (other.temperature, other.rate) == pytest.approx((-one.temperature, -one.rate))
    assert other.temperature_uncertainty == pytest.approx(one.temperature_uncertainty)
    assert other.straight == one.straight


@given(seed=SEEDS)
def test_half_of_the_readings_say_the_same_less_well(seed):
    ramp = a_ramp(seed)
    whole = fit_ramp(ramp, float(ramp.t[-1]), 0.0, 0.0)
    half = fit_ramp(Series(ramp.t[::2], ramp.value[::2]), float(ramp.t[-1]), 0.0, 0.0)
    u = (whole.temperature_uncertainty**2 + half.temperature_uncertainty**2) ** 0.5
    assert abs(whole.temperature - half.temperature) < 5 * u
    assert half.temperature_uncertainty > whole.temperature_uncertainty * 0.8


@given(seed=SEEDS, size=st.floats(0.001, 1.0))
def test_noise_is_no_wandering_and_wandering_is_no_noise(seed, size):
    dice = np.random.default_rng(seed)
    noise = size * dice.normal(0, 1, 2000)
    slow = size * np.sin(np.arange(2000) / 40.0 + dice.uniform(0, 6))
    assert wander(noise, float(noise.std())) < 0.35 * size
    assert wander(noise + slow, float((noise + slow).std())) == pytest.approx(size / 2**0.5, rel=0.2)


@given(seed=SEEDS, scale=st.floats(0.01, 100))
def test_a_parabola_scales_with_its_values(seed, scale):
    ramp = a_ramp(seed)
    end = float(ramp.t[-1])
    one = fit_bend(ramp, end, end - 20, end, 0.0).at(-1.0)
    other = fit_bend(Series(ramp.t, scale * ramp.value), end, end - 20, end, 0.0).at(-1.0)
    assert other == pytest.approx(tuple(scale * each for each in one), rel=1e-6)


@given(seed=SEEDS, shift=st.floats(-1e6, 1e6))
def test_an_integral_may_be_moved_in_time(seed, shift):
    series = a_ramp(seed)
    one = integrate(series, 10.0, 80.0)
    other = integrate(Series(series.t + shift, series.value), 10.0 + shift, 80.0 + shift)
    assert other == pytest.approx(one, rel=1e-6)


@given(seed=SEEDS, cut=st.floats(20.0, 70.0))
def test_an_integral_is_the_sum_of_its_parts(seed, cut):
    series = a_ramp(seed, noise=0.0)
    whole = integrate(series, 10.0, 80.0)
    parts = integrate(series, 10.0, cut) + integrate(series, cut, 80.0)
    assert parts == pytest.approx(whole, rel=1e-3)  # at the cut the reading is held, not interpolated


@settings(max_examples=25)
@given(time=st.floats(20.0, 400.0), scale=st.floats(0.1, 10.0), offset=st.floats(-5, 5))
def test_a_relaxation_is_found_whatever_its_size_and_place(time, scale, offset):
    x = np.linspace(0.0, 600.0, 80)
    fit = fit_relaxation(x, offset + scale * np.exp(-x / time), (1 / 100.0,))
    assert 1 / fit.rates[0] == pytest.approx(time, rel=1e-3)
    assert fit.final == pytest.approx(offset, abs=1e-3 * scale + 1e-3)


@given(seed=SEEDS, dip=st.floats(0.1, 1.4))
def test_a_dip_that_was_too_short_to_release_anything_is_not_held(seed, dip):
    dice = np.random.default_rng(seed)
    t = np.arange(0.0, 60.0, 0.25)
    value = 28.0 - 0.005 * t + dice.normal(0, 0.0005, len(t))
    at = dice.uniform(5.0, 50.0)
    value[(t >= at) & (t < at + dip)] -= 1.0
    assert lowest_held(Series(t, value), 2.0) == pytest.approx(28.0 - 0.005 * 57.75, abs=0.003)
    assert lowest_held(Series(t[:3], value[:3]), 2.0) == np.inf


@given(seed=SEEDS, begin=st.floats(-10, 110), width=st.floats(-5, 60))
def test_the_readings_between_two_times_are_those_between_them(seed, begin, width):
    series = a_ramp(seed)
    at = float(series.t[seed % len(series)])
    for first, last in ((begin, begin + width), (at, at + width), (at - width, at)):
        part, inside = series.between(first, last), (series.t >= first) & (series.t <= last)
        assert part.t.tolist() == series.t[inside].tolist()
        assert part.value.tolist() == series.value[inside].tolist()
