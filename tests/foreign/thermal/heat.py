"""What a hand with a heat gun or an ice pack does to the place where sensor and probe are taped together.

All ranges are common practice, no source (from memory). A first-order lag behind a course that is straight between its points
has an exact solution (first-order hold), which is used; checked in test_thermal_world.py.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

GRID = 0.1  # s
LONGEST = 9000.0  # s of a record


@dataclass
class Hand:
    """How evenly the place is heated and cooled. ``pulses``: s on and off of a gun, and K of ripple it leaves; 0 without.

    ``drafts``: K of the deepest, ``draft_share``: the part of a draft that the sensor under its tape feels, where the probe feels all;
    ``overshoot``: K by which heat goes on after the hand has stopped; ``uneven``: K (one sigma) by which the place wanders about
    the even ramp, over ``wanders`` s.
    """

    pulses: float = 0.0
    ripple: float = 0.0
    drafts: float = 0.0
    draft_share: float = 1.0
    overshoot: float = 0.2
    uneven: float = 0.0
    wanders: float = 30.0


def lagged(values, tau, start):
    """The course that is behind ``values`` (on GRID, straight in between) by a first-order lag of ``tau`` s, from ``start`` on."""
    keep = math.exp(-GRID / tau)
    share = (1 - keep) * tau / GRID
    now, before = 1 - share, share - keep
    return lfilter([now, before], [1, -keep], values, zi=[start - now * values[0]])[0]


class Disturbances:
    """What comes on top of the hand's even course: K over the record's time, for the place itself and for drafts apart."""

    def __init__(self, draw, hand):
        self.hand = hand
        self.knots = np.arange(0.0, LONGEST, hand.wanders / 3)
        keep = math.exp(-1 / 3)
        shocks = draw.standard_normal(len(self.knots)) * math.sqrt(1 - keep**2)
        self.wander = hand.uneven * lfilter([1.0], [1.0, -keep], shocks)
        lengths = draw.uniform(0.8, 1.2, int(LONGEST / max(hand.pulses, 2.0)) + 2) * max(hand.pulses, 2.0)
        duty = draw.uniform(0.25, 0.5)
        begins = np.cumsum(lengths) - lengths[0]
        self.pulse_t = np.column_stack((begins, begins + duty * lengths)).ravel()
        self.pulse_v = np.tile([-0.5, 0.5], len(begins)) * hand.ripple
        count = draw.poisson(LONGEST / 90.0) if hand.drafts else 0
        self.draft_t = np.sort(draw.uniform(0.0, LONGEST, count))
        self.draft_s = draw.uniform(5.0, 30.0, count)
        cold = np.where(draw.random(count) < 0.8, -1.0, 1.0)  # air from the room, or warm air that drifts over
        self.draft_k = cold * draw.uniform(0.2, 1.0, count) * hand.drafts

    def place(self, t, direction):
        """K at the place, without drafts, on the times ``t``; ``direction`` is +1 while it is heated."""
        return np.interp(t, self.knots, self.wander) + direction * np.interp(t, self.pulse_t, self.pulse_v)

    def drafts(self, t, ambient_side):
        """K by drafts: each comes and goes like half a sine. ``ambient_side`` is −1 above ambient: room air cools there."""
        sum_of = np.zeros_like(t)
        first, last = np.searchsorted(self.draft_t, [t[0] - 30.0, t[-1]])
        for index in range(first, last):
            x = (t - self.draft_t[index]) / self.draft_s[index]
            inside = (x > 0) & (x < 1)
            sum_of[inside] += -ambient_side * self.draft_k[index] * np.sin(np.pi * x[inside])
        return sum_of


def leg(start, approach, rate, fast, hand, carry, pause, until):
    """(values on GRID, index at which the ramp begins): from ``start`` quickly to ``approach``, a pause, then at ``rate`` to ``until``.

    Rates in K/s with their sign. ``carry``: K that the place still goes on in the old direction, from the leg before. The hand arrives at
    the approach with a part of its overshoot.
    """
    sign = math.copysign(1.0, rate)
    knots_t, knots_v = [0.0], [start]

    def go(to, seconds):
        knots_t.append(knots_t[-1] + max(seconds, GRID))
        knots_v.append(to)

    if carry:
        go(start - sign * carry * 0.8, 4.0)
        go(start - sign * carry, 4.0)
    if sign * (approach - knots_v[-1]) > 0:
        beyond = approach + sign * hand.overshoot
        go(beyond, abs(beyond - knots_v[-1]) / fast)
        go(approach + sign * hand.overshoot * 0.5, 5.0 + pause)
    ramp = knots_t[-1]
    go(until, abs(until - knots_v[-1]) / abs(rate))
    t = np.arange(0.0, knots_t[-1], GRID)
    return np.interp(t, knots_t, knots_v), int(ramp / GRID) + 1
