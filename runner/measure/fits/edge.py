"""The instant at which the current stopped or returned, and how well the samples fix it.

For point samples, the instant lies anywhere between the last sample before and the first one after, with equal
probability: its middle is the estimate and (b − a)/√12 its standard uncertainty (JCGM 100:2008, 4.3.7). Nothing does
better without knowing more of the meter.

A meter that averages over an aperture gives more: a reading taken while the current changed is the share of the aperture
before the change, and says where in it the change was.

A path that opens ends the current at once, so the instant is where it leaves its level; one that closes lets the
supply's current rise as fast as it can, so the instant is where it leaves zero.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from runner.measure.recording import Series

SEARCH_BEFORE = 5.0  # s before the first sample that showed the change
FEWEST_BEFORE = 3  # samples: at slow meters the search reaches back further, to have so many
LEVEL_WINDOW = 10.0  # s over which the level before a fall is taken
RISING_SAMPLES = 3  # after a rise the run may switch off at once: only the samples that confirmed it count
LEAST_FALL = 0.9  # of the level: above this nothing has fallen
MOST_RISE = 0.1  # of the level, where a reading may be the mean of before and after
LEAST_RISE = 0.02  # of the level: a pre-charge is the beginning of a return
LEFT_CHANGES = 0.3  # of what a pack leaves flowing when it has opened: so much of it is no return
LATEST = 1.0  # s before a fall: if they stand on another level than the seconds before, that is the level
NOISE_MARGIN = 5.0  # standard deviations of the level that are no change
BESIDE = 0.05  # of the level: a reading nearer than this to one of its ends is not inside the change


@dataclass(frozen=True)
class Edge:
    """``instant`` and its standard ``uncertainty`` in s; the level in A; ``last`` and ``first`` sample time around it.

    ``rectangular`` says that the instant is equally likely anywhere within √3·u of the estimate; else it is normal.
    """

    instant: float
    uncertainty: float
    level: float
    last: float
    first: float
    rectangular: bool = True

    def half_width(self, coverage: float) -> float:
        """Half of the interval that holds the instant with a probability, in s."""
        if self.rectangular:
            return float(coverage * 3.0**0.5 * self.uncertainty)
        from scipy import stats

        return float(stats.norm.ppf(0.5 + coverage / 2) * self.uncertainty)


def find_edge(
    current: Series, at: float, *, rising: bool, aperture: float = 0.0, begin: float = -np.inf
) -> Edge | None:
    """The edge whose first sample after it was seen at time ``at``, or None if the samples do not show one.

    Samples before ``begin`` (s), when the current was switched on, belong to something else.
    ``aperture`` is the time in s over which each reading is the mean, its stamp in the middle; 0 for point samples.
    """
    here = int(np.searchsorted(current.t, at - 1e-9))
    first = max(int(np.searchsorted(current.t, begin)), 0)
    first = max(first, min(int(np.searchsorted(current.t, at - SEARCH_BEFORE)), max(here - FEWEST_BEFORE, 0)))
    near = Series(current.t[first : here + 1], current.value[first : here + 1])
    level_from = max(int(np.searchsorted(current.t, max(begin, at - LEVEL_WINDOW))), 0)
    before, after = current.value[min(first, level_from) : here], current.value[here : here + RISING_SAMPLES]
    if len(before) < 2 or len(after) == 0:
        return None
    latest = current.value[max(here - max(FEWEST_BEFORE, int(np.sum(near.t >= at - LATEST))), first) : here]
    now, then = float(np.median(latest)), float(np.median(before))
    if not rising and LEAST_RISE * then < now < LEAST_FALL * then:
        before = latest  # the pack let less through before it stopped: that level is the one it fell from
    level = float(np.max(after)) if rising else float(np.median(before))
    begun = MOST_RISE * level if aperture > 0 else _risen(latest, level)
    changed = near.value > begun if rising else near.value < _fallen(before, level)
    unchanged = np.flatnonzero(~changed)
    if len(unchanged) == 0 or unchanged[-1] == len(near) - 1:
        return None
    index = int(unchanged[-1])
    last, first_changed = float(near.t[index]), float(near.t[index + 1])
    inside = _inside(near, index, level, aperture, rising=rising)
    if inside is not None:
        return Edge(inside, max(_noise(before, level), 0.01) * aperture, level, last, first_changed, rectangular=False)
    return Edge((last + first_changed) / 2, (first_changed - last) / 12.0**0.5, level, last, first_changed)


def _fallen(before: np.ndarray, level: float) -> float:
    """Below this the current has left its level: a tenth of it, or more where it is noisier than that."""
    return min(LEAST_FALL, max(1.0 - NOISE_MARGIN * _noise(before, level), 0.5)) * level


def _risen(without: np.ndarray, level: float) -> float:
    """Above this a current has begun: a fiftieth of the level above what was left, or more where that is noisy."""
    left = float(np.median(without))
    noise = 1.4826 * float(np.median(np.abs(without - left)))
    return left + max(LEAST_RISE * level, NOISE_MARGIN * noise, LEFT_CHANGES * abs(left))


def _noise(before: np.ndarray, level: float) -> float:
    """The standard deviation of the readings before, as a share of the level, from the median of their distances."""
    return float(1.4826 * np.median(np.abs(before - np.median(before))) / level) if level > 0 else 0.0


def _inside(near: Series, index: int, level: float, aperture: float, *, rising: bool) -> float | None:
    """Where in the aperture of a reading the change was, if one was taken while it happened."""
    if aperture <= 0:
        return None
    for candidate in (index, index + 1):
        share = float(near.value[candidate]) / level
        if BESIDE < share < 1 - BESIDE:
            before = 1.0 - share if rising else share
            return float(near.t[candidate]) - aperture / 2 + before * aperture
    return None
