"""The delay of an over-current protection from a single jump, against truths that are put in."""

import math

import numpy as np
import pytest

from runner.events import LOAD_CURRENT, SUPPLY_CURRENT
from runner.measure.findings import findings
from runner.measure.recording import Attempt, Held, Recording, Series
from tests.builders import declared

POLLING, INTERVAL = 0.1, 0.25  # s


def a_jump(delay, dice, *, told=True, counts=True):
    """A load that is told at about 10 s to draw 55 A, from a pack that looks every POLLING and counts its delay in looks, or has a timer."""
    asked = 10.0 + dice.uniform(0, 1)
    there, read_back = asked + dice.uniform(0, 0.06), asked + 0.06
    noticed = there + dice.uniform(0, POLLING)
    opened = noticed + (math.ceil(delay / POLLING) * POLLING if counts else delay)
    t = np.arange(dice.uniform(0, INTERVAL), opened + 2.0, INTERVAL)
    amperes = np.where((t >= there) & (t < opened), 55.0, 0.0)
    at = float(t[t >= opened][0])
    level = Held(55.0, read_back, asked=asked if told else None)
    attempt = Attempt("stage", "", 0, 0.0, asked - 1.0, None, at, "stopped", "", None, (level,))
    return Recording({LOAD_CURRENT: Series(t, amperes)}, (attempt,))


def the_delay(recording):
    (finding,) = findings(
        recording,
        declared(
            protection="discharge_over_current",
            sensors=(),
            wanted=("delay",),
            trip=50.0,
            delay=1.0,
            delay_uncertainty=0.5 / 3**0.5,
            delay_limits=(0.5, 1.5),
            polling=POLLING,
        ),
    )
    return finding


def test_the_interval_of_a_delay_holds_it_whether_the_pack_counts_looks_or_has_a_timer():
    """Nobody says which; a little more than stated where it counts, a little less where it does not."""
    dice, shares = np.random.default_rng(5), []
    for counts in (True, False):
        delays = dice.uniform(0.8, 1.2, 200)
        found = [the_delay(a_jump(delay, dice, counts=counts)) for delay in delays]
        held = [abs(each.value - delay) <= each.expanded_uncertainty for each, delay in zip(found, delays, strict=True)]
        shares.append(float(np.mean(held)))
    assert min(shares) > 0.90
    assert 0.93 <= float(np.mean(shares)) <= 0.97


def test_a_record_that_says_when_the_level_was_asked_for_knows_the_delay_better():
    one, other = (the_delay(a_jump(1.0, np.random.default_rng(6), told=told)) for told in (True, False))
    assert one.expanded_uncertainty < other.expanded_uncertainty


@pytest.mark.parametrize(
    ("delay", "polling", "half", "distribution"),
    [
        (1.0, 1.0, 0.1, "two values"),
        (1.0, 0.25, 0.1, "two values"),
        (1.0, 0.1, 0.5, "rectangular"),
        (1.0, 0.3, 0.1, "two values"),
        (0.8, 1.0, 0.1, "rectangular"),
        (0.5, 0.0, 0.1, "rectangular"),
        (0.0, 1.0, 0.0, "rectangular"),
    ],
)
def test_a_delay_counted_in_looks_takes_one_of_a_few_values(delay, polling, half, distribution):
    mean, u, shape = declared(delay=delay, polling=polling, delay_uncertainty=half / 3**0.5).delay_in_looks
    assert shape == distribution
    reach = {"two values": 1.0, "rectangular": 3**0.5}[shape] * u
    drawn = np.random.default_rng(7).uniform(delay - half, delay + half, 2000)
    taken = np.ceil(drawn / polling - 1e-9) * polling if polling else drawn
    assert np.all(np.abs(taken - mean) <= reach + 1e-9)
    assert np.all(np.abs(delay - mean) <= reach + 1e-9)  # and a pack with a timer, which counts no looks
    assert reach <= half + polling


def a_box_set_at_once(delay, dice, varies):
    """A decade box that is set far beyond the threshold at about 10 s; the key comes as much before as after, and varies."""
    there = 10.0 + dice.uniform(0, 1)
    pressed = there + dice.normal(0, varies)
    opened = there + dice.uniform(0, 1.0) + math.ceil(delay)  # a pack that looks once a second
    t = np.arange(dice.uniform(0, INTERVAL), opened + 2.0, INTERVAL)
    amperes = np.where(t < opened, 4.0, 0.0)
    at = float(t[t >= opened][0])
    level = Held(65.0, pressed)
    attempt = Attempt("substitute", "T1", 0, 0.0, pressed - 5.0, None, at, "stopped", "", None, (level,))
    return Recording({SUPPLY_CURRENT: Series(t, amperes)}, (attempt,))


@pytest.mark.parametrize("varies", [0.02, 0.4])
def test_the_delay_by_a_decade_box_holds_it_as_often_as_it_says(varies):
    dice, held, count = np.random.default_rng(8), 0, 250
    for _ in range(count):
        delay = dice.uniform(0.75, 1.25)
        values = {"wanted": ("delay",), "delay": 1.0, "delay_uncertainty": 0.25 / 3**0.5, "delay_limits": (0.5, 1.5)}
        (finding,) = findings(
            a_box_set_at_once(delay, dice, varies), declared(**values, polling=1.0, reaction=(0.3, varies))
        )
        held += abs(finding.value - delay) <= finding.expanded_uncertainty
    assert 0.92 <= held / count <= 0.985
