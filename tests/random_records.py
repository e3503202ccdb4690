"""Random records of a current with everything that happens to one, and what really happened in them.

Levels 0.5 to 20 A; noise of 0.01 to 5 % of the level (normal); intervals of 20 ms to 2 s, jittered by a tenth; trips and
returns at times that have nothing to do with the samples; tapers with time constants of 100 s to an hour; slow ramps of the
current; single and double bad samples; gaps of up to five intervals.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

import numpy as np

from runner.events import CHARGE, SUPPLY_CURRENT, SUPPLY_VOLTAGE, Sampled

SET_VOLTAGE = 29.2
SUPPLY_RISE = 0.0  # s: here a supply comes back at once


@dataclass(frozen=True)
class Record:
    """The samples, the interval between them, the set current, and the true changes: ("stopped" or "returned", when)."""

    kind: str
    samples: list[Sampled]
    interval: float
    set_current: float
    changes: list[tuple[str, float]]


def record(seed: int) -> Record:
    """One record; the same seed gives the same one."""
    dice = random.Random(f"record {seed}")
    interval = 10 ** dice.uniform(np.log10(0.02), np.log10(2.0))
    level, noise = dice.uniform(0.5, 20.0), 10 ** dice.uniform(-4, np.log10(0.05))
    kind = dice.choice(["step", "step and back", "taper", "ramp", "nothing"])
    count = 150 + int(14.0 / interval)  # a return has to stay for some seconds: packs try by themselves
    times = [interval * (index + dice.uniform(-0.1, 0.1)) + 1.0 for index in range(count)]
    at = times[60] + dice.random() * interval * 20
    back = at + max(interval * dice.uniform(15, 40), dice.uniform(1.5, 8.0))
    changes = {"step": [("stopped", at)], "step and back": [("stopped", at), ("returned", back)]}.get(kind, [])
    slowness = dice.uniform(100.0, 3600.0)
    slope = dice.uniform(-0.2, 0.2)
    lost, wrong, gap = _bad(dice, times, [when for _, when in changes])
    samples = []
    for index, t in enumerate(times):
        if index in gap:
            continue
        stopped = bool(changes) and t >= at and not (len(changes) > 1 and t >= back)
        true, mode = _current(kind, t, times, level, slowness, slope)
        value = 0.0 if stopped or index in wrong else true
        readings = {SUPPLY_VOLTAGE: SET_VOLTAGE if stopped else 26.6 if mode == "CC" else SET_VOLTAGE}
        if index in lost:
            samples.append(Sampled(t, readings, {SUPPLY_CURRENT: "no reply"}, mode, True))
            continue
        readings[SUPPLY_CURRENT] = max(value + dice.gauss(0.0, noise * level if value else 0.001), 0.0)
        samples.append(Sampled(t, readings, {}, "CV" if stopped else mode, True))
    return Record(kind, samples, interval, level, changes)


def _current(kind: str, t: float, times: list[float], level: float, slowness: float, slope: float) -> tuple[float, str]:
    begin = times[40]
    if kind == "taper" and t > begin:
        return level * float(np.exp(-(t - begin) / slowness)), "CV"
    if kind == "ramp":
        return level * (1 + slope * (t - times[0]) / (times[-1] - times[0])), "CC"
    return level, "CC"


def _bad(dice: random.Random, times: list[float], changes: list[float]) -> tuple[set[int], set[int], set[int]]:
    """Lost samples, samples of no current, and gaps; none of them so near to a change that nobody could tell."""
    near = {i for i, t in enumerate(times) if any(abs(t - when) < 6 * (times[1] - times[0]) for when in changes)}
    free = [i for i in range(30, len(times) - 10) if i not in near]
    lost = {dice.choice(free) for _ in range(dice.randrange(3))}
    wrong: set[int] = set()
    for _ in range(dice.randrange(3)):
        first = dice.choice(free)
        wrong |= {first} if dice.random() < 0.5 or first + 1 in near else {first, first + 1}
    gap: set[int] = set()
    if dice.random() < 0.3:
        first = dice.choice(free)
        gap = {i for i in range(first, first + dice.randrange(2, 6)) if i not in near}
        gap = set() if any(abs(i - j) < 4 for i in gap for j in wrong) else gap  # that would be three bad ones in a row
    return lost - wrong, _apart(wrong), gap


def _apart(wrong: set[int]) -> set[int]:
    """No three bad samples in a row: that is no dropout any more."""
    return {i for i in wrong if not ({i - 1, i - 2} <= wrong)}


PATH = CHARGE
