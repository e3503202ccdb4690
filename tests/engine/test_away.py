"""Sensors that were moved: a person is told to put them back however the run ends, unless that was confirmed."""

import pytest

from runner.engine.away import SensorsAway
from runner.engine.program import Planned
from runner.engine.texts.ends import BACK_ON, PLUG_IN


def steps(kind):
    kinds = [
        ("confirm", "", 0),
        ("confirm", "T1", 1),
        (kind, "T1", 1),
        ("confirm", "T2", 2),
        (kind, "T2", 2),
        ("confirm", "", 0),
    ]
    return [
        Planned(index, each, each, "", sensor=sensor, group=group) for index, (each, sensor, group) in enumerate(kinds)
    ]


@pytest.mark.parametrize(("kind", "words"), [("heat", BACK_ON), ("cool", BACK_ON), ("substitute", PLUG_IN)])
def test_a_run_that_ends_among_a_sensors_steps_says_where_the_sensors_belong(kind, words):
    first, freed, *_ = planned = steps(kind)
    away = SensorsAway(planned)
    away.begun(first)
    assert not away.say
    away.begun(freed)
    assert away.say == words


def test_only_the_hold_point_after_the_last_sensor_says_that_they_are_back():
    planned = steps("heat")
    away = SensorsAway(planned)
    for step in planned:
        away.begun(step)
        if step is not planned[-1] and step.kind == "confirm":
            away.confirmed(step)
    assert away.say == BACK_ON
    away.confirmed(planned[-1])
    assert not away.say


def test_sensors_that_are_only_looked_at_are_not_away():
    planned = steps("read")
    away = SensorsAway(planned)
    for step in planned:
        away.begun(step)
    assert not away.say
