"""Where a pack turns, from what a decade box was set to and when the path opened or closed.

A pack looks every p seconds, filters what it sees, and acts D seconds after the first look at which that is past its threshold. So
an edge says at which look that was, t = edge − D, and that the threshold lies between what was compared at t − p and at t. Without
a filter that is one step of the box. A mean of n looks, or a filter of the first order, is still on its way from earlier levels,
and the threshold is then further back than the last step shows.

Which filter a pack has nobody says. But each change of a run has its own answer to each (filter, D): a large step that comes when
the plain delay is over speaks against a filter, one that comes late for it, and an edge long after the last setting too. Every one
that is possible has its probability, and all changes together say which agree (Bayes' theorem; JCGM 101:2008, 6.1.1).

Filters: none, means of 4 to 16 looks, first order with 1 to 10 s (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NONE_OF_THREE = 1 / 3  # no filter, a mean, the first order: as likely the one as the other
MEANS = (2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0)  # looks
LAGS = (0.7, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.5, 8.0, 10.0)  # s
UNKNOWN_LOOKS = (0.2, 0.5, 1.0, 2.0, 4.0)  # s between looks, where the sheet does not say (common practice, no source)
AS_DECLARED, NODES = 0.95, 7  # how often a pack keeps its declared delay, and in how many parts that is looked at
OTHER, LONGER = 12, (2.0, 5.0)  # other delays, from nothing to so many times the declared one and so many s more
NOISE = (
    0.2  # K by which noise and steps of a pack move a change, beyond what the levels show (common practice, no source)
)
BY_NOISE = 0.02  # of the changes come at a look that shows nothing new, because the pack is noisy
NEVER = 1e-9  # of the probability that one threshold has to another, whatever is seen
STEP, MOST_STEPS = 0.02, 2000  # K between thresholds that are looked at, and how many at most
EDGE = 0.03  # K over which a step's end is spread, so that changes that differ by little do not contradict each other
BEYOND = 1.0  # K to either side of what was set
JITTER = np.linspace(-3.0, 3.0, 9)  # standard deviations of the times
COMMON = np.exp(-(JITTER**2) / 2) / np.exp(-(JITTER**2) / 2).sum()


@dataclass(frozen=True)
class Acted:
    """A change: ``at`` in s with its standard uncertainty ``u`` (the hand's as well); ``rising`` if what is seen rose to it.

    ``begin`` in s: when the box was first set for this change.
    """

    at: float
    u: float
    rising: bool
    begin: float


@dataclass(frozen=True)
class Turned:
    """A threshold: its mean in °C, its deviation in K ``inside`` a known filter and delay, and what these add, ``filtered``."""

    value: float
    inside: float
    filtered: float


@dataclass(frozen=True)
class Staircase:
    """Both thresholds, None where there was no such change; ``together`` is the correlation of what filter and delay do to them.

    ``possible`` is False where the changes leave no room for a release on the side of the trip on which it has to be.
    """

    trip: Turned | None
    release: Turned | None
    together: float
    possible: bool = True


@dataclass(frozen=True)
class _Ways:
    """The possible ways of a pack, one a place in each array: polling p (s), looks of a mean, lag (s), delay D (s).

    ``chance`` is the probability of the filter, ``of_delay`` that of the delay. The ``delays`` of one filter follow on each other.
    """

    polling: Array
    looks: Array
    lag: Array
    delay: Array
    chance: Array
    of_delay: Array
    delays: int


@dataclass(frozen=True)
class _Seen:
    """What the changes of one direction say: ``likely`` (ways × ``thresholds`` in °C), the probability of the delay in it."""

    thresholds: Array
    likely: Array

    def beside(self, other: _Seen, ways: _Ways, *, above: bool) -> _Seen:
        """The same with the other direction, whose threshold lies below this one or ``above`` it.

        Filter and looks are the same for both; the delay is not, because a path takes its own time to open and to close.
        """
        of_filter = other.likely.reshape(-1, ways.delays, len(other.thresholds)).sum(axis=1)
        upto = np.cumsum(of_filter, axis=1)
        part = upto[:, np.clip(np.searchsorted(other.thresholds, self.thresholds) - 1, 0, None)]
        part = np.where(self.thresholds < other.thresholds[0], 0.0, part)
        part = (upto[:, -1:] - part if above else part) + NEVER * upto[:, -1:]
        return _Seen(self.thresholds, self.likely * np.repeat(part, ways.delays, axis=0))

    def turned(self, ways: _Ways) -> tuple[Turned, Array, Array]:
        """The threshold over all ways, the probability of each way, and by how much each is off it."""
        likely = self.likely * ways.chance[:, None]
        mass = np.maximum(likely.sum(axis=1), 1e-300)
        weight = mass / mass.sum()
        middle = likely @ self.thresholds / mass
        spread = likely @ self.thresholds**2 / mass - middle**2
        mean = float(weight @ middle)
        off = middle - mean
        turned = Turned(mean, float(weight @ np.maximum(spread, 0.0)) ** 0.5, float(weight @ off**2) ** 0.5)
        return turned, weight, off


def find_turns(
    set_at: Array,
    set_to: Array,
    trips: Sequence[Acted],
    releases: Sequence[Acted],
    delay: tuple[float, float],
    polling: float,
) -> Staircase:
    """The thresholds of a run.

    ``set_at`` (s, rising) and ``set_to`` (°C): all settings of the box, the first one as it was before everything;
    ``delay`` (s): from the shortest to the longest that is declared, counted in looks or not; ``polling`` in s, 0 where nobody
    knows it.
    """
    ways = _ways(delay, polling)
    seen = [_likely(set_at, set_to, changes, ways) if changes else None for changes in (trips, releases)]
    trip, release = seen
    if trip is None or release is None:
        alone = [None if each is None else each.turned(ways)[0] for each in seen]
        return Staircase(alone[0], alone[1], 0.0)
    # a path that opens when what is seen rises closes at less of it, and the other way round
    rising = trips[0].rising
    trip, release = trip.beside(release, ways, above=not rising), release.beside(trip, ways, above=rising)
    (opened, weight, off), (closed, other_weight, other_off) = trip.turned(ways), release.turned(ways)
    # by how much each filter moves both, over its own delays
    off, other_off = (
        _over_delays(share * moved, ways) / np.maximum(_over_delays(share, ways), 1e-300)
        for share, moved in ((weight, off), (other_weight, other_off))
    )
    both = float(weight @ (off * other_off))
    size = float((weight @ off**2) * (weight @ other_off**2)) ** 0.5
    possible = opened.value >= closed.value if rising else opened.value <= closed.value
    return Staircase(opened, closed, both / size if size > 0 else 0.0, possible)


def _over_delays(values: Array, ways: _Ways) -> Array:
    """The sum over all delays of each filter and interval of looks, at each of its ways."""
    sums = values.reshape(-1, ways.delays).sum(axis=1)
    return np.asarray(np.repeat(sums, ways.delays))


def _ways(delay: tuple[float, float], polling: float) -> _Ways:
    low, high = delay
    near = low + (high - low) * (np.arange(NODES) + 0.5) / NODES
    far = (LONGER[0] * high + LONGER[1]) * (np.arange(OTHER) + 0.5) / OTHER
    filters = [(1.0, 0.0, NONE_OF_THREE)]
    filters += [(n, 0.0, NONE_OF_THREE / len(MEANS)) for n in MEANS]
    filters += [(1.0, lag, NONE_OF_THREE / len(LAGS)) for lag in LAGS]
    delays = [(d, AS_DECLARED / NODES) for d in near] + [(d, (1 - AS_DECLARED) / OTHER) for d in far]
    rows = [
        (p, looks, lag, d, one, other)
        for p in ((polling,) if polling > 0 else UNKNOWN_LOOKS)
        for looks, lag, one in filters
        for d, other in delays
    ]
    table = np.array(rows)
    return _Ways(table[:, 0], table[:, 1], table[:, 2], table[:, 3], table[:, 4], table[:, 5], len(delays))


def _compared(set_at: Array, set_to: Array, ways: _Ways, at: Array, earlier: int) -> Array:
    """What the pack compares at its look at ``at``, or so many looks ``earlier`` (way × jitter), °C.

    A setting is seen by the looks since: m of them have seen min(m/n, 1) of it in a mean, 1 − exp(−m·p/τ) in the first order.
    """
    p = ways.polling[:, None, None]
    seen = np.maximum(np.floor((at[:, :, None] - set_at[1:]) / p) + 1.0 - earlier, 0.0)
    lag = ways.lag[:, None, None]
    mean = np.minimum(seen / ways.looks[:, None, None], 1.0)
    share = np.where(lag > 0, 1.0 - np.exp(-seen * p / np.where(lag > 0, lag, 1.0)), mean)
    return np.asarray(set_to[0] + share @ np.diff(set_to))


def _likely(set_at: Array, set_to: Array, changes: Sequence[Acted], ways: _Ways) -> _Seen:
    """What all changes of one direction say together."""
    own = [set_to[(set_at >= change.begin - 1e-6) & (set_at <= change.at)] for change in changes]
    stairs = [each for each in own if len(each) > 1]  # a single large step says only that it lies this side of it
    before = np.array([set_to[set_at < change.begin - 1e-6][-1] for change in changes])
    steps = np.concatenate(stairs or [*own, before])
    low, high = float(steps.min()) - BEYOND, float(steps.max()) + BEYOND
    theta = np.linspace(low, high, min(int((high - low) / STEP), MOST_STEPS))
    whole = np.ones((len(ways.chance), len(theta)))
    for change in changes:
        known = set_at <= change.at
        at = change.at + change.u * JITTER[None, :] - ways.delay[:, None]
        now, before = (_compared(set_at[known], set_to[known], ways, at, earlier) for earlier in (0, 1))
        sign = 1.0 if change.rising else -1.0
        low_end, high_end = np.minimum(sign * before, sign * now), sign * now
        here = sign * theta
        density = np.zeros_like(whole)
        for index, share in enumerate(COMMON):
            upper, lower = high_end[:, index, None], low_end[:, index, None]
            between = _soft((upper - here) / EDGE) - _soft((lower - here) / EDGE)
            density += share * (between + BY_NOISE * np.exp(-(((here - upper) / NOISE) ** 2) / 2))
        whole *= density + NEVER
    return _Seen(theta, whole * ways.of_delay[:, None])


def _soft(x: Array) -> Array:
    """From 0 to 1 over about one to either side."""
    return np.asarray(np.clip((x + 1.0) / 2.0, 0.0, 1.0))
