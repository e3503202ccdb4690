"""The instant at which the current stopped or returned, and how well the samples fix it.

For point samples, the instant lies anywhere between the last sample before and the first one after, with equal
probability: its middle is the estimate and (b − a)/√12 its standard uncertainty (JCGM 100:2008, 4.3.7). Nothing does
better without knowing more of the meter.

Most meters average: a reading taken while the current changed is a share of what flowed before, and says where in the meter's
window the change was. What window that is, the readings of a run's falls say (fits/averaging.py), or the bench file does.

A path that opens ends the current at once, so the instant is where it leaves its level; one that closes lets the
supply's current rise as fast as it can, so the instant is where it leaves zero.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from runner.measure.fits.averaging import Averaging, Fall, instant_of
from runner.measure.recording import Series

SEARCH_BEFORE = 5.0  # s before the first sample that showed the change
FEWEST_BEFORE = 3  # samples: at slow meters the search reaches back further, to have so many
LEVEL_WINDOW = 10.0  # s over which the level before a fall is taken
RISING_SAMPLES = 3  # after a rise the run may switch off at once: only the samples that confirmed it count
FALLING, FEWEST_AFTER = 3.0, 4  # s and samples of a fall that are looked at
LEAST_FALL = 0.9  # of the level: above this nothing has fallen
LEAST_RISE = 0.02  # of the level: a pre-charge is the beginning of a return
LEFT_CHANGES = 0.3  # of what a pack leaves flowing when it has opened: so much of it is no return
LATEST = 1.0  # s before a fall: if they stand on another level than the seconds before, that is the level
STANDS = 0.05  # of that level: more than this between the first and the last of them is a fall and no level
NOISE_MARGIN = 5.0  # standard deviations of the level that are no change
GONE = 0.05  # of the level: less than this above what is left in the end has stopped
SETTLING, SLOWEST_SETTLING = (
    0.1,
    0.5,
)  # s: how a supply's current rises once the pack lets it (common practice, no source)


@dataclass(frozen=True)
class Edge:
    """``instant`` and its standard ``uncertainty`` in s; the level in A; ``last`` and ``first`` sample time around it.

    ``marked``: a person's key said when; the standard uncertainties of the key and of the display it was pressed at, in s.
    ``rectangular`` says that the instant is equally likely anywhere within √3·u of the estimate; else it is normal.
    """

    instant: float
    uncertainty: float
    level: float
    last: float
    first: float
    rectangular: bool = True
    marked: tuple[float, float] | None = None

    @property
    def distribution(self) -> str:
        """As a budget calls it."""
        return "rectangular" if self.rectangular else "normal"


@dataclass(frozen=True)
class _Around:
    """The samples up to the change: ``near`` ends with the first after it, the last unchanged is at ``index``."""

    near: Series
    index: int
    here: int
    level: float
    noise: float


def find_edge(
    current: Series, at: float, *, rising: bool, meter: Averaging | None = None, begin: float = -np.inf
) -> Edge | None:
    """The edge whose first sample after it was seen at time ``at``, or None if the samples do not show one.

    Samples before ``begin`` (s), when the current was switched on, belong to something else.
    ``meter`` is what is known of the window over which each reading is the mean; None: readings of an instant.
    """
    around = _around(current, at, rising=rising, begin=begin)
    if around is None:
        return None
    last, first = (float(around.near.t[around.index + step]) for step in (0, 1))
    if meter is None or not meter.spans.any():
        return Edge((last + first) / 2, (first - last) / 12.0**0.5, around.level, last, first)
    if rising:
        instant, uncertainty = _rise(current, around, meter)
        return Edge(instant, uncertainty, around.level, last, first)
    fall = _fall(current, around)
    instant, uncertainty = instant_of(fall, meter)
    if np.any((fall.share > GONE) & (fall.share < LEAST_FALL)):
        return Edge(instant, uncertainty, around.level, last, first, rectangular=False)
    return Edge(instant, max(uncertainty, (first - last) / 12.0**0.5), around.level, last, first)


def find_fall(current: Series, at: float, begin: float = -np.inf) -> Fall | None:
    """The readings of a current that ended; its first sample after it was seen at time ``at``. None as in ``find_edge``."""
    around = _around(current, at, rising=False, begin=begin)
    return None if around is None else _fall(current, around)


def _around(current: Series, at: float, *, rising: bool, begin: float) -> _Around | None:
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
    stands = abs(latest[0] - latest[-1]) <= max(STANDS * now, 2 * NOISE_MARGIN * _noise(before, then) * then)
    if not rising and stands and LEAST_RISE * then < now < LEAST_FALL * then:
        before = latest  # the pack let less through before it stopped: that level is the one it fell from
    level = float(np.max(after)) if rising else float(np.median(before))
    noise = _noise(before, level)
    if rising:
        latest = _since_the_last_try(latest, level)
    if rising and near.value[-1] <= _risen(latest, level):  # seen as a beginning beside less than came in the end
        risen = np.flatnonzero(after > _risen(latest, level))
        here += int(risen[0]) if len(risen) else 0
        near = Series(current.t[first : here + 1], current.value[first : here + 1])
    changed = near.value > _risen(latest, level) if rising else near.value < _fallen(noise, level)
    unchanged = np.flatnonzero(~changed)
    if len(unchanged) == 0 or unchanged[-1] == len(near) - 1:
        return None
    return _Around(near, int(unchanged[-1]), here, level, noise)


def _fall(current: Series, around: _Around) -> Fall:
    """The readings from just before the fall until nothing more goes away."""
    start = around.here - (len(around.near) - 1) + max(around.index - 1, 0)
    end = max(int(np.searchsorted(current.t, current.t[around.here] + FALLING)), around.here + FEWEST_AFTER)
    t, value = current.t[start:end], current.value[start:end]
    left = float(np.median(np.sort(value)[:FEWEST_AFTER][:3]))
    if left > LEAST_FALL * around.level:
        left = 0.0
    share = (value - left) / (around.level - left)
    gone = np.flatnonzero(share < GONE)
    stop = min(int(gone[0]) + 2, len(t)) if len(gone) else len(t)
    first = float(t[min(int(gone[0]), len(t) - 1)]) if len(gone) else float(t[-1])
    return Fall(t[:stop], share[:stop], around.noise, float(around.near.t[around.index]), first)


def _rise(current: Series, around: _Around, meter: Averaging) -> tuple[float, float]:
    """(instant, standard uncertainty): between the last sample without and the first with, as the meter's window has it.

    The last one may hide a beginning of LEAST_RISE of the level. The first one is a share s of it, so that for s·A at least the
    current has been on before the end of its window, and longer by what a supply takes to settle.
    """
    near, index = around.near, around.index
    after = current.value[around.here : int(np.searchsorted(current.t, near.t[-1] + FALLING))]
    share = min(max(float(near.value[index + 1] / max(around.level, np.max(after))), 0.0), 1.0)
    ends = (1.0 - meter.stamps) * meter.spans
    high = float(near.t[index + 1]) + ends - share * meter.spans
    hidden = float(near.t[index]) + ends - np.sqrt(2 * LEAST_RISE * SETTLING * meter.spans)
    inside = share < 1.0 - GONE
    low = np.minimum(np.maximum(hidden, high - SLOWEST_SETTLING) if inside else hidden, high)
    mean = float((low + high) / 2 @ meter.probability)
    spread = (high - low) ** 2 / 12.0 + ((low + high) / 2 - mean) ** 2
    uncertainty = float(spread @ meter.probability) ** 0.5
    return mean, uncertainty if inside else max(uncertainty, float(near.t[index + 1] - near.t[index]) / 12.0**0.5)


def _since_the_last_try(without: np.ndarray, level: float) -> np.ndarray:
    """The readings since a pack last tried by itself and opened again: a try just before a return is no noise."""
    tried = np.flatnonzero(without > 0.5 * level)
    since = without[tried[-1] + 1 :] if len(tried) else without
    return since if len(since) else without


def _fallen(noise: float, level: float) -> float:
    """Below this the current has left its level: a tenth of it, or more where it is noisier than that."""
    return min(LEAST_FALL, max(1.0 - NOISE_MARGIN * noise, 0.5)) * level


def _risen(without: np.ndarray, level: float) -> float:
    """Above this a current has begun: a fiftieth of the level above what was left, or more where that is noisy."""
    left = float(np.median(without))
    noise = 1.4826 * float(np.median(np.abs(without - left)))
    return left + max(LEAST_RISE * level, NOISE_MARGIN * noise, LEFT_CHANGES * abs(left))


def _noise(before: np.ndarray, level: float) -> float:
    """The standard deviation of the readings before, as a share of the level, from the median of their distances."""
    return float(1.4826 * np.median(np.abs(before - np.median(before))) / level) if level > 0 else 0.0
