"""What looks like a trip and is none, or is one and looks like something else: each from a way real benches are.

Packs of one cell and of sixteen, displays that creep and jitter, meters that are slow, supplies that say nothing of themselves.
Figures are common practice, no source.
"""

import pytest

from tests.engine.test_bounds_of_the_watcher import SET, steady

# ---- it comes back -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("on", "off", "word"), [(2, 2, "returned"), (2, 1, "returned"), (1, 4, "retrying")])
def test_a_current_that_comes_and_goes_after_a_stop_is_told_within_half_a_minute(on, off, word):
    watched = steady().read(40, 0.0, SET, every=0.25)
    watched.read(120, lambda n: 4.0 if n % (on + off) < on else 0.0, 27.0, every=0.25)
    assert word in watched.words
    assert {"returned": "retrying", "retrying": "returned"}[word] not in watched.words
