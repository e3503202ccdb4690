"""Charge and energy on discharges that are not ours (tests/foreign/discharge); thousands of them: tests/benchmarks/foreign.py."""

from typing import NamedTuple

import numpy as np
import pytest

from runner.events import LOAD_CURRENT, SUPPLY_CURRENT
from runner.measure.capacity import Throughput
from runner.measure.recording import Accuracy, Attempt, Recording, Series, Specification
from runner.vocabulary import Outcome
from tests.foreign.discharge.world import departures, trial
from tests.foreign.handed import found
from tests.made_once import made_once

RECORDS, FAR = 12, 2.0  # U


class Row(NamedTuple):
    """A finding, and what it should have found."""

    value: float | None
    expanded: float
    source: str  # of the largest line of its budget
    true: float


def records(_folder):
    """Of every departure, by its name and the finding's."""
    rows = {}
    for departure in departures():
        for seed in range(RECORDS):
            one = trial(seed, departure)
            for each in found(one):
                source = each.budget[0].source if each.budget else ""
                row = Row(each.value, each.expanded_uncertainty, source, one.truth[each.name])
                rows.setdefault(f"{departure}/{each.name}", []).append(row)
    return rows


@pytest.fixture(scope="module")
def scored(tmp_path_factory):
    """Rows of (departure, name of the finding)."""
    _, rows = made_once(tmp_path_factory, "discharges", records)
    return {tuple(key.split("/")): [Row(*each) for each in rows[key]] for key in rows}


def errors(rows):
    """In units of U, of those that were measured."""
    return np.array([abs(each.value - each.true) / each.expanded for each in rows if each.value is not None])


@pytest.mark.parametrize("name", ["capacity", "energy"])
def test_intervals_hold_the_truth_as_often_as_they_say(scored, name):
    all_of_them = errors([row for (_, finding), rows in scored.items() if finding == name for row in rows])
    assert 0.91 <= np.mean(all_of_them <= 1) <= 0.995, "95 %, and what so few records scatter by"
    assert all_of_them.max() < FAR


def test_no_departure_takes_the_intervals_with_it(scored):
    for (departure, _), rows in scored.items():
        mine = errors(rows)
        assert len(mine) >= 0.8 * len(rows), departure
        assert np.mean(mine <= 1) >= 0.5, departure  # 90 %, and what six records scatter by


def test_an_interval_is_no_wider_than_its_bench_makes_it(scored):
    def median(departure, name):
        return np.median([each.expanded / each.true for each in scored[departure, name] if each.value])

    plain = median("plain", "capacity")
    for departure in (
        "leads unknown",
        "sense leads",
        "noise",
        "constant power",
        "means of a second",
        "late stamps",
        "derating",
    ):
        assert median(departure, "capacity") < 1.5 * plain
    assert median("sense leads", "energy") < 1.5 * plain
    assert median("leads unknown", "energy") < 0.02
    assert median("bench silent", "energy") < 0.015


def test_what_is_largest_is_what_departs(scored):
    for departure, source in (
        ("leads unknown", "resistance of the leads"),
        ("bench silent", "gaps without readings"),
    ):
        largest = [each.source for each in scored[departure, "energy"] if each.source]
        assert max(set(largest), key=largest.count) == source


@pytest.mark.parametrize("departure", ["plain", "steps", "bench silent", "interrupted", "clamp"])
def test_a_charge_that_is_put_in_holds_like_one_that_is_taken_out(departure):
    """The same readings, now of a supply that charges until the pack opens."""
    held = 0
    for seed in range(30):
        one = trial(seed, departure)
        charges = [
            Attempt(
                "charge",
                "",
                0,
                0.0,
                part.began,
                None,
                part.at,
                Outcome.STOPPED if part.stopped else Outcome.BROKEN_OFF,
                "",
            )
            for part in one.extra["parts"]
        ]
        recording = Recording({SUPPLY_CURRENT: Series(*one.channels[LOAD_CURRENT])}, tuple(charges))
        accuracy = {SUPPLY_CURRENT: Accuracy(*one.declared["accuracy"][LOAD_CURRENT])}
        finding = Throughput(recording, Specification("", accuracy=accuracy)).findings()["charge_put_in"]()
        error = abs(finding.value - one.truth["capacity"]) / finding.expanded_uncertainty
        assert error < FAR
        held += error <= 1
    assert held >= 25
