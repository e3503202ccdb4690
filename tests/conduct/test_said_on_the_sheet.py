"""How a pack's path opens can be said on its sheet: packs that keep a current alive, try again or ask for less, with and without.

Each is held against what the simulated bench wrote down as true.
"""

import pytest

from tests.builders import short_rehearsal


def remarks(run):
    return [say for _, say in run.result.evaluation.story.remarks]


@pytest.mark.parametrize(
    ("scenario", "word"),
    [("keep-alive", "keep-alive"), ("retrying", "retrying"), ("derating", "limited by the pack"), ("sound", "")],
)
def test_a_path_that_does_more_than_open_and_close_is_told_on_the_certificate(tmp_path, scenario, word):
    words = {say.partition(":")[0] for say in remarks(short_rehearsal(tmp_path, scenario))}
    assert words & {"keep-alive", "retrying", "limited by the pack", "pre-charging"} == ({word} if word else set())
