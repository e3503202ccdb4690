"""Ramps from a key at each whole degree: what the keys explain, and what the temperature has wandered beyond that."""

import numpy as np
import pytest
from scipy import stats

from runner.measure.fits.ramp import fit_taps, wander
from runner.measure.recording import Series

REACTION = (0.3, 0.15)  # s
RATE = 2 / 60  # K/s


def taps(dice, wandering=0.0):
    """Keys at whole degrees of a ramp that began at 49.5 °C at 0 s, each late as REACTION says; a slow deviation in K."""
    degrees = np.arange(50.0, 58.0)
    there = (degrees - 49.5 + wandering * dice.normal(0, 1, len(degrees))) / RATE
    return Series(np.sort(there + dice.normal(*REACTION, len(degrees))), degrees)


def errors_in_their_uncertainty(dice, count, fitted):
    for _ in range(count):
        tau = dice.uniform(200, 225)
        ramp = fitted(tau)
        true = 49.5 + RATE * tau
        u = (ramp.temperature_uncertainty**2 + ramp.wander**2) ** 0.5
        yield (ramp.temperature - true) / u / stats.t.ppf(0.975, min(ramp.dof, 1e6))


def test_keys_alone_are_held_as_often_as_stated():
    dice = np.random.default_rng(1)
    found = list(errors_in_their_uncertainty(dice, 2000, lambda tau: fit_taps(taps(dice), tau, 0.0, REACTION)))
    assert 0.93 <= np.mean(np.abs(found) <= 1.0) <= 0.97


def test_keys_alone_are_rarely_taken_for_a_wandering():
    dice = np.random.default_rng(2)
    wandered = [fit_taps(taps(dice), 220.0, 0.0, REACTION).wander > 0 for _ in range(1000)]
    assert np.mean(wandered) == pytest.approx(0.05, abs=0.02)


def test_a_temperature_that_wanders_is_not_taken_for_keys():
    dice = np.random.default_rng(3)
    ramps = [fit_taps(taps(dice, wandering=0.1), 220.0, 0.0, REACTION) for _ in range(300)]
    assert np.median([ramp.wander for ramp in ramps]) == pytest.approx(0.1, rel=0.3)
    assert all(ramp.dof == 2 for ramp in ramps if ramp.wander > 0)


def test_noise_alone_is_taken_for_a_wandering_in_one_of_twenty():
    dice = np.random.default_rng(4)
    found = [wander(noise, float(noise.std(ddof=1))) > 0 for noise in dice.normal(0, 1, (2000, 90))]
    assert np.mean(found) == pytest.approx(0.05, abs=0.02)
