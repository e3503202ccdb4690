"""Packs that see with noise, in steps and through a filter, and supplies that average: the run measures them like any other.

Ranges: common practice, no source. The truth is the threshold that the simulated pack compares with.
"""

import random

import numpy as np
import pytest

from runner.rehearsal.truth import truth_of
from runner.twin.sensing import Senses, SensingTruth
from runner.workspace.job import find_procedure
from tests.builders import rehearsed


@pytest.mark.parametrize(("scenario", "seed"), [("noisy-pack", 701), ("as-they-come", 703)])
def test_three_ramps_are_measured_and_their_intervals_hold_the_truth(tmp_path, scenario, seed):
    run = rehearsed(tmp_path, scenario, seed=seed, procedure=find_procedure("charge-over-temperature"), sensors=("T1",))
    found = {each.name: each for each in run.result.evaluation.findings}
    for each in (found["trip"], found["release"], found["hysteresis"]):
        assert each.name == "hysteresis" or len(each.repeats) == 3
        assert abs(each.value - truth_of(each.as_json(), run.truth)) <= each.expanded_uncertainty


def test_a_converter_adds_its_noise_and_rounds_to_its_steps():
    senses = Senses(SensingTruth(kelvins=0.1, step=0.25), random.Random(1))
    seen = np.array([senses.temperatures({"T1": 55.1})["T1"] for _ in range(4000)])
    assert seen.mean() == pytest.approx(55.0, abs=0.01), "the nearest step"
    assert seen.std() == pytest.approx(0.1, rel=0.05)


def test_a_mean_of_looks_follows_a_step_over_so_many():
    senses = Senses(SensingTruth(looks=4), random.Random(1))
    seen = [senses.temperatures({"T1": value})["T1"] for value in (20.0, 20.0, 20.0, 20.0, 60.0, 60.0, 60.0, 60.0)]
    assert seen[3:] == [20.0, 30.0, 40.0, 50.0, 60.0]
    assert senses.voltages(3.4, 3.2) == (3.4, 3.2)
    assert SensingTruth().plain
