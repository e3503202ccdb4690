"""What a person says of a current that no instrument records: when it changed, and how much of it they read on a clamp.

A key comes a reaction after the sight, and the sight up to one refresh of the clamp after the change: in the mean half of one.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from runner.measure.fits.edge import Edge
from runner.measure.recording import Array, Attempt, Recording, Specification
from runner.vocabulary import Observed

UNKNOWN_REFRESH = 0.5  # s: clamps renew their reading two or three times a second (common practice, no source)


def marked_edge(attempt: Attempt, recording: Recording, declared: Specification) -> Edge:
    """The instant of a change that a person has marked, from what is declared of their reaction and of the clamp.

    ``level`` is the largest current read on the clamp up to the mark, in A, for pictures only.
    """
    reaction, deviation = declared.reaction
    refresh = UNKNOWN_REFRESH if declared.clamp is None else declared.clamp[1]
    display = refresh / 12.0**0.5
    instant = attempt.at - reaction - refresh / 2
    read = [each.value for each in recording.typed if each.of == Observed.CLAMP_CURRENT and each.t <= attempt.at + 60.0]
    level = max((abs(value) for value in read), default=1.0) or 1.0
    u = float(np.hypot(deviation, display))
    return Edge(instant, u, level, instant, attempt.at, rectangular=False, marked=(deviation, display))


def charged_between(attempt: Attempt, recording: Recording) -> list[tuple[Array, Array]]:
    """(times in s, currents in A) of each part of an attempt in which a charger was on, from switch to switch.

    The current before the first reading is that of the first, after the last that of the last. A part without any is left out.
    """
    parts = []
    for on, off in pairwise(attempt.levels):
        if on.value <= 0 or off.value > 0:
            continue
        read = recording.read(Observed.CLAMP_CURRENT, on.since, off.since)
        if read:
            t = np.array([on.since, *(each.t for each in read), off.since])
            amps = np.abs(np.array([read[0].value, *(each.value for each in read), read[-1].value]))
            parts.append((t, amps))
    return parts
