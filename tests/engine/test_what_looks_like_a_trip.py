"""What looks like a trip and is none, or is one and looks like something else: each from a way real benches are.

Packs of one cell and of sixteen, displays that creep and jitter, meters that are slow, supplies that say nothing of themselves.
Figures are common practice, no source.
"""

import pytest

from tests.engine.test_bounds_of_the_watcher import SET, Watched, steady

# ---- it comes back -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("on", "off", "word"), [(2, 2, "returned"), (2, 1, "returned"), (1, 4, "retrying")])
def test_a_current_that_comes_and_goes_after_a_stop_is_told_within_half_a_minute(on, off, word):
    watched = steady().read(40, 0.0, SET, every=0.25)
    watched.read(120, lambda n: 4.0 if n % (on + off) < on else 0.0, 27.0, every=0.25)
    assert word in watched.words
    assert {"returned": "retrying", "retrying": "returned"}[word] not in watched.words


# ---- readings that are none, or old --------------------------------------------------------------------------------


def test_a_supply_that_holds_its_current_to_the_digit_near_its_set_voltage_is_believed():
    """100 mA of a display stand still as long as the current is regulated."""
    assert Watched().read(60, 4.0, 28.95).words == ["steady"]
    assert "unclear" in Watched().read(60, 4.0, 28.95, mode="").words, "where nothing says that it is"


def test_a_voltage_that_is_still_the_mean_of_before_the_beginning_is_no_contradiction():
    watched = Watched().read(5, 4.0, lambda n: 26.0 * min(1.0, 0.25 * n), every=0.25)
    assert watched.words == ["steady"]
