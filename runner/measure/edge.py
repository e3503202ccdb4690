"""The instant at which the current stopped or returned, and how well the samples fix it.

For point samples, the instant lies anywhere between the last sample before and the first one after, with equal
probability: its middle is the estimate and (b − a)/√12 its standard uncertainty (JCGM 100:2008, 4.3.7). Nothing does
better without knowing more of the meter.

A path that opens ends the current at once, so the instant is where it leaves its level; one that closes lets the
supply's current rise as fast as it can, so the instant is where it leaves zero.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from runner.measure.recording import Series

SEARCH_BEFORE = 5.0  # s before the first sample that showed the change
LEVEL_WINDOW = 10.0  # s over which the level before a fall is taken
RISING_SAMPLES = 3  # after a rise the run may switch off at once: only the samples that confirmed it count
STARTS_TO_FALL = 0.9  # of the level
STARTS_TO_RISE = 0.1


@dataclass(frozen=True)
class Edge:
    """``instant`` and its standard ``uncertainty`` in s; the level in A; ``last`` and ``first`` sample time around it."""

    instant: float
    uncertainty: float
    level: float
    last: float
    first: float


def find_edge(current: Series, at: float, *, rising: bool) -> Edge | None:
    """The edge whose first sample after it was seen at time ``at``, or None if the samples do not show one."""
    near = current.between(at - SEARCH_BEFORE, at + 1e-6)
    before = current.between(at - LEVEL_WINDOW, at - 1e-6).value
    after = current.between(at, at + LEVEL_WINDOW).value[:RISING_SAMPLES]
    if len(near.t) < 2 or len(before) < 2 or len(after) == 0:
        return None
    level = float(np.max(after)) if rising else float(np.median(before))
    changed = near.value > STARTS_TO_RISE * level if rising else near.value < STARTS_TO_FALL * level
    unchanged = np.flatnonzero(~changed)
    if len(unchanged) == 0 or unchanged[-1] == len(near.t) - 1:
        return None
    last, first = float(near.t[unchanged[-1]]), float(near.t[unchanged[-1] + 1])
    return Edge((last + first) / 2, (first - last) / 12.0**0.5, level, last, first)
