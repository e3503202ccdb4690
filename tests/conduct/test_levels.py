"""A level of a staircase says when it was asked for and when it was read back, and an event is stamped after its reading back."""

import itertools

from runner.events import LoadIsSet
from runner.orders import Level, SetLoad
from runner.record.folder import EVENTS
from runner.record.journal import read_journal
from runner.twin.server import ANSWER_TIME
from runner.workspace.job import find_procedure
from tests.builders import rehearsed


def test_levels_are_there_between_the_asking_and_the_reading_back(tmp_path):
    run = rehearsed(tmp_path, procedure=find_procedure("discharge-over-current"), sensors=())
    entries = list(read_journal(run.result.folder.path / EVENTS))
    levels = [entry.what for entry in entries if isinstance(entry.what, Level)]
    staircase = [level for level in levels if level.asked is not None]
    assert len(staircase) >= 5
    assert all(ANSWER_TIME[0] <= level.since - level.asked < 0.5 for level in staircase)
    set_points = [
        (order.t, event.t)
        for order, event in itertools.pairwise(entries)
        if isinstance(order.what, SetLoad) and isinstance(event.what, LoadIsSet)
    ]
    assert len(set_points) >= 5
    assert all(read_back - asked >= ANSWER_TIME[0] for asked, read_back in set_points)
