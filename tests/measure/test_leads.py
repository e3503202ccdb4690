"""The resistance of leads from two voltmeters, against truths that are put in."""

from dataclasses import replace

import numpy as np

from runner.events import LOAD_CURRENT, LOAD_VOLTAGE, METER_VOLTAGE
from runner.measure.findings import findings
from runner.measure.meters import _side_by_side
from runner.measure.recording import Accuracy, Attempt, Held, Recording, Series
from tests.builders import declared

LEVELS, DWELL = (4.0, 8.0, 12.0, 16.0, 20.0, 24.0), 30.0  # A, s
ACCURACY = {
    METER_VOLTAGE: Accuracy(0.0002, 0.003),
    LOAD_VOLTAGE: Accuracy(0.0005, 0.01),
    LOAD_CURRENT: Accuracy(0.001, 0.01),
}


def compared(resistance, dice, *, noise=0.002, loose=0.0, steps=0.0):
    """A load that takes LEVELS from a pack of 30 mΩ; the meters are read in turn, wrong within their limits.

    ``loose``: how much a bad clamp changes from level to level, in V; ``steps``: what the voltmeters show, in V.
    """
    wrong = {channel: 1.0 + dice.uniform(-each.gain, each.gain) for channel, each in ACCURACY.items()}
    away = {channel: dice.uniform(-each.offset, each.offset) for channel, each in ACCURACY.items()}
    clamp = dice.normal(0, loose, len(LEVELS)) if loose else np.zeros(len(LEVELS))

    def read(channel, t, values):
        read = values * wrong[channel] + away[channel] + dice.normal(0, noise, len(t))
        return Series(t, np.round(read / steps) * steps if steps and channel != LOAD_CURRENT else read)

    def bench(first):
        t = np.arange(first, DWELL * len(LEVELS), 0.5)
        number = (t // DWELL).astype(int)
        amperes = np.array(LEVELS)[number]
        terminal = 26.5 - 0.03 * amperes - 1e-5 * t
        return t, amperes, terminal, terminal - resistance * amperes + clamp[number]

    t, amperes, _, there = bench(0.0)
    later, _, terminal, _ = bench(0.1)
    channels = {
        LOAD_CURRENT: read(LOAD_CURRENT, t, amperes),
        LOAD_VOLTAGE: read(LOAD_VOLTAGE, t, there),
        METER_VOLTAGE: read(METER_VOLTAGE, later, terminal),
    }
    held = tuple(Held(level, DWELL * number) for number, level in enumerate(LEVELS))
    stage = Attempt("stage", "", 0, 0.0, 0.0, None, DWELL * len(LEVELS), "done", "", None, held)
    accuracy = {channel: replace(each, resolution=steps) for channel, each in ACCURACY.items()}
    values = {"protection": "", "sensors": (), "wanted": ("leads",), "accuracy": accuracy}
    (finding,) = findings(Recording(channels, (stage,)), declared(**values))
    return finding


def held_of(count, **bench):
    dice, held = np.random.default_rng(11), 0
    for _ in range(count):
        truth = dice.uniform(0.001, 0.02)
        finding = compared(truth, dice, **bench)
        held += abs(finding.value - truth) <= finding.expanded_uncertainty
    return held / count


def test_the_interval_of_the_leads_holds_them_as_often_as_it_says():
    assert 0.93 <= held_of(200) <= 0.975


def test_it_does_so_too_where_the_meters_gains_are_what_matters():
    assert held_of(200, noise=0.0003) >= 0.93


def test_a_clamp_that_changes_from_level_to_level_is_in_the_budget():
    finding = compared(0.01, np.random.default_rng(4), loose=0.02)
    assert finding.budget[0].source == "scatter around the fitted line"
    assert held_of(400, loose=0.02) >= 0.90


def test_displays_that_stand_still_hide_what_is_between_their_steps():
    dice, held = np.random.default_rng(12), 0
    for _ in range(300):
        truth = dice.uniform(0.001, 0.02)
        finding = compared(truth, dice, noise=0.0, steps=0.01)
        held += abs(finding.value - truth) <= finding.expanded_uncertainty
    assert finding.budget[0].source == "resolution of the voltmeters"
    assert held / 300 >= 0.93


def test_a_meter_that_is_read_seldom_is_paired_with_no_reading_twice():
    one = Series(np.arange(0.0, 10.0, 0.1), np.arange(100.0))
    other = Series(np.array([0.04, 0.06, 5.0, 20.0]), np.array([1.0, 2.0, 3.0, 4.0]))
    assert _side_by_side(one, other) == ([0.0, 1.0, 50.0, 99.0], [1.0, 2.0, 3.0, 4.0])
    assert _side_by_side(other, one)[0] == [1.0, 2.0, 3.0]
