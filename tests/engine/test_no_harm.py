"""Fifty of the random procedures of tests/harmless.py; tests/benchmarks/no_harm.py runs two thousand."""

import pytest

from tests.harmless import outcome

LOWEST, HIGHEST = 2.0, 3.9  # V that a cell of LFP never is below and above (common practice, no source)


@pytest.mark.parametrize("first", range(0, 50, 10))
def test_what_passes_the_check_harms_no_cell_and_heats_no_sensor_beyond_its_ceiling(first):
    outcomes = [outcome(seed) for seed in range(first, first + 10)]
    for seed, each in enumerate(outcomes, start=first):
        if not each.refused:
            assert each.lowest >= LOWEST, (seed, each)
            assert each.highest <= HIGHEST, (seed, each)
            assert each.hottest <= each.ceiling + 2.0, (seed, each)


def test_the_random_procedures_are_worth_something():
    """Some are refused, some run, and some of those are ended by a ceiling."""
    outcomes = [outcome(seed) for seed in range(60, 75)]
    assert 2 <= sum(bool(each.refused) for each in outcomes) <= 13
