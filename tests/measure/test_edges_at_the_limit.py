"""Trip instants on random records: none invented, none missed, and as near to the truth as the samples allow.

What a step between two point samples allows is h/√12 (JCGM 100:2008, 4.3.7). tests/benchmarks/trip_instants.py does ten
thousand records, here it is one thousand.
"""

from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runner.engine.watch.watcher import Watcher
from runner.events import SUPPLY_CURRENT
from runner.measure.fits.averaging import of_window
from runner.measure.fits.edge import find_edge
from runner.measure.recording import Series
from tests.distributions import half_width
from tests.random_records import PATH, SET_VOLTAGE, record


def seen_in(one):
    """What the watcher says has changed, with the time of the first sample that showed it."""
    watcher = Watcher({PATH: 0.01})
    watcher.paced(one.interval)
    watcher.expect(PATH, SET_VOLTAGE, one.set_current, 0.0)
    words = [(verdict.word, verdict.since) for sample in one.samples for verdict in watcher.take(sample)]
    return [(word, since) for word, since in words if word in ("stopped", "returned")]


def edges_in(one, seen):
    flowing = [(s.t, s.readings[SUPPLY_CURRENT]) for s in one.samples if SUPPLY_CURRENT in s.readings]
    current = Series(np.array([t for t, _ in flowing]), np.array([v for _, v in flowing]))
    return [find_edge(current, since, rising=word == "returned") for word, since in seen]


def score(seeds):
    """Invented, missed, and for each edge the error in units of what its samples allow, and whether the interval held it."""
    count, errors = Counter(), []
    for seed in seeds:
        one = record(seed)
        seen = seen_in(one)
        count["invented"] += max(len(seen) - len(one.changes), 0)
        count["missed"] += max(len(one.changes) - len(seen), 0)
        if [word for word, _ in seen] != [word for word, _ in one.changes]:
            count["wrong"] += 1
            continue
        for edge, (_, when) in zip(edges_in(one, seen), one.changes, strict=True):
            assert edge is not None
            errors.append((edge.instant - when) / ((edge.first - edge.last) / 12**0.5))
            count["edges"] += 1
            count["held"] += abs(edge.instant - when) <= half_width(edge, 0.95)
    return count, np.array(errors)


def test_no_trip_is_invented_and_none_missed_and_the_instant_is_at_the_limit():
    count, errors = score(range(400))
    assert (count["invented"], count["missed"], count["wrong"]) == (0, 0, 0)
    assert count["edges"] > 200
    assert float(np.sqrt(np.mean(errors**2))) < 1.05 + 3 * 0.45 / len(errors) ** 0.5  # its own scatter in so few
    assert 0.93 - 0.03 < count["held"] / count["edges"] < 0.97 + 0.025


def test_a_reading_inside_the_fall_of_an_averaging_meter_narrows_the_instant():
    dice = np.random.default_rng(3)
    aperture, step, inside = 0.5, 0.5, 0
    for _ in range(50):
        tau = 20.0 + dice.random() * step
        t = np.arange(0.0, 30.0, step)
        share = np.clip((t + aperture / 2 - tau) / aperture, 0.0, 1.0)
        level = 4.0
        value = level * (1 - share) + dice.normal(0, 0.004, len(t))
        at = float(t[value < 0.05 * level][0])
        edge = find_edge(Series(t, value), at, rising=False, meter=of_window(aperture, 0.5))
        blunt = find_edge(Series(t, value), at, rising=False)
        assert edge is not None
        assert abs(edge.instant - tau) < (0.03 if not edge.rectangular else 0.3)
        inside += not edge.rectangular
        assert edge.rectangular or edge.uncertainty < 0.2 * blunt.uncertainty
    assert inside > 35, "nine in ten changes fall inside a reading"


@given(shift=st.floats(-1e5, 1e5), scale=st.floats(0.01, 100.0), seed=st.integers(0, 40))
def test_shifting_time_and_scaling_current_move_the_instant_and_nothing_else(shift, scale, seed):
    one = record(seed)
    seen = seen_in(one)
    for (word, since), edge in zip(seen, edges_in(one, seen), strict=True):
        flowing = [(s.t, s.readings[SUPPLY_CURRENT]) for s in one.samples if SUPPLY_CURRENT in s.readings]
        moved = Series(np.array([t + shift for t, _ in flowing]), np.array([scale * v for _, v in flowing]))
        other = find_edge(moved, since + shift, rising=word == "returned")
        assert other.instant == pytest.approx(edge.instant + shift, abs=1e-5)
        assert other.uncertainty == pytest.approx(edge.uncertainty, rel=1e-4, abs=1e-9)
        assert other.level == pytest.approx(scale * edge.level, rel=1e-9)
