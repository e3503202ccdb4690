"""Over how long a meter averages, from how its readings follow a current that stops at once.

A reading of a meter that averages over A seconds, its time at the share w of the window (1: its end, 1/2: its middle), is
the share clip((e − t + w·A)/A, 0, 1) of the level where the current stops at the instant e. A fall that was read while it happened
therefore says what A is; falls that were never read inside say that A is short against the interval. Nobody has to
know which: every (A, w) that is possible has its probability, and each fall of a run changes it (Bayes' theorem, JCGM 101:2008,
6.1.1 for what nothing is known of).

Where it is not declared: w is 1 for what averages for longer than the interval of polling, because a reading is never of what is
yet to come; bench supplies average over nothing to 1 s and give the time just past (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LONGEST = 1.6  # s
SPANS = np.concatenate([[0.0], np.geomspace(0.01, LONGEST, 44)])
STAMPS = {1.0: 0.5, 0.5: 0.4, 0.0: 0.1}  # where the time of a reading is in its window, and how often that is so
LEAST_DEVIATION = 0.03  # of the level: no fall is a perfect step, no window a perfect rectangle
FARTHEST = 6.0  # standard deviations: a reading that is further off says nothing more against a window
NEVER = 1e-12  # of the probability that one window has to another, whatever is seen


@dataclass(frozen=True)
class Fall:
    """Readings around the end of a current: times in s, as shares of the level from 1 to 0; ``noise`` is one of them.

    ``last`` is the time of the last reading on the level, ``first`` of the first that shows nothing.
    """

    t: Array
    share: Array
    noise: float
    last: float
    first: float


@dataclass(frozen=True)
class Averaging:
    """The windows (``spans`` in s, ``stamps`` as shares of them) that a meter may have, each with its probability."""

    spans: Array
    stamps: Array
    probability: Array
    found: int = 0  # the number of falls that were read while they happened
    declared: bool = False

    @property
    def mean(self) -> float:
        """The expected window in s."""
        return float(self.spans @ self.probability)

    @property
    def lag(self) -> float:
        """s by which the middle of a window is expected before the time of its reading."""
        return float(((self.stamps - 0.5) * self.spans) @ self.probability)

    def likely(self) -> Averaging:
        """The same without what is next to impossible."""
        kept = self.probability > self.probability.max() * 1e-4
        probability = self.probability[kept]
        return Averaging(
            self.spans[kept], self.stamps[kept], probability / probability.sum(), self.found, self.declared
        )


def of_window(span: float, stamp: float = 1.0) -> Averaging:
    """A window that somebody knows: s, and where in it the time of the reading is (1: its end)."""
    return Averaging(np.array([span]), np.array([stamp]), np.array([1.0]), declared=True)


INSTANT = of_window(0.0)


def unknown(interval: float) -> Averaging:
    """What is known of a meter's window before anything was seen, for one that is polled every ``interval`` s."""
    spans, stamps = (each.ravel() for each in np.meshgrid(SPANS, np.array(list(STAMPS)), indexing="ij"))
    weight = np.array([STAMPS[float(stamp)] for stamp in stamps])
    weight[(stamps < 1.0) & (spans > interval)] = 0.0
    for span in SPANS:  # as likely to be short as to be long
        here = spans == span
        weight[here] /= weight[here].sum()
    return Averaging(spans, stamps, weight / weight.sum())


def learned(before: Averaging, falls: Sequence[Fall]) -> Averaging:
    """What is known after these falls."""
    if before.declared or not falls:
        return before
    chance = before.probability.copy()
    for fall in falls:
        seen = _chances(fall, before.spans, before.stamps, _instants(fall, LONGEST, 160)).sum(axis=1)
        if not seen.max() > 0.0:  # no window explains this fall, and it says nothing of any
            continue
        chance *= np.maximum(seen / seen.max(), NEVER)
        chance /= chance.sum()
    inside = sum(bool(np.any((fall.share > 0.1) & (fall.share < 0.9))) for fall in falls)
    return Averaging(before.spans, before.stamps, chance, inside)


def instant_of(fall: Fall, meter: Averaging) -> tuple[float, float]:
    """(when the current stopped, its standard uncertainty), both in s."""
    likely = meter.likely()
    instants = _instants(fall, float(likely.spans.max()), 480)
    each = _chances(fall, likely.spans, likely.stamps, instants)
    weight = likely.probability @ each
    if not weight.sum() > 0.0:  # no window explains it
        return (fall.last + fall.first) / 2, (fall.first - fall.last) / math.sqrt(12.0)
    weight = weight / weight.sum()
    mean = float(weight @ instants)
    step = float(instants[1] - instants[0])
    return mean, math.sqrt(float(weight @ (instants - mean) ** 2) + step**2 / 12.0)


def _instants(fall: Fall, longest: float, count: int) -> Array:
    """The instants at which the current may have stopped, where no window is longer than that (s)."""
    return np.linspace(fall.last - longest, fall.first + longest, count)


def _chances(fall: Fall, spans: Array, stamps: Array, instants: Array) -> Array:
    """How likely the readings are, for each window (first axis) and instant (second), up to a factor."""
    deviation = math.hypot(max(fall.noise, 0.0), LEAST_DEVIATION)
    span = np.maximum(spans, 1e-6)[:, None, None]
    ahead = instants[None, :, None] - fall.t[None, None, :] + (stamps * spans)[:, None, None]
    off = (np.clip(ahead / span, 0.0, 1.0) - fall.share) / deviation
    return np.asarray(np.exp(-0.5 * np.minimum(off**2, FARTHEST**2).sum(axis=2)))
