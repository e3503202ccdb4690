"""The watcher's words on records of a world that shares nothing with it; thousands of them: tests/benchmarks/foreign_words.py."""

import numpy as np

from tests.foreign.score import scored
from tests.foreign.world import record

RECORDS = 250


def test_nothing_is_invented_and_the_word_is_right_in_nearly_every_record():
    scores = [(seed, scored(record(seed))) for seed in range(RECORDS)]
    assert [seed for seed, score in scores if any("invented" in what for what in score.wrong)] == []
    wrong = [seed for seed, score in scores if score.wrong]
    assert len(wrong) <= 0.01 * RECORDS + 4, wrong  # 1 %, and its own scatter in so few
    assert sum(score.unclear for _, score in scores) <= 0.05 * RECORDS


def test_plain_stops_and_returns_are_seen_at_the_first_reading_that_can_show_them():
    for interval in (0.1, 0.25, 1.0):
        errors = []
        for seed in range(120):
            one = record(seed, "transistor", interval)
            if one.aperture == 0 and one.renewal == 0:
                errors += [error / interval for error in scored(one).errors]
        assert len(errors) > 10
        assert np.min(errors) > -0.3
        assert np.max(errors) < 1.5, "within one polling, with its jitter"
