"""The voltage along a discharge whose current was counted: at the readings of the current, by straight lines between its own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from runner.measure.fits.integral import ROOT12, Flow, noise
from runner.measure.recording import Array, Series

COLLAPSED = 0.5  # of what it mostly is: less is no voltage of a pack that gives current
UNREAD = 0.02  # of the charge: more than this before the first or after the last reading, and the voltage was not read
APART = 0.25  # of the charge: more than this between two readings, and a line between them says nothing
SETTLED, NOISE_FROM, SIGMAS = (
    5.0,
    120.0,
    3.0,
)  # s after the load is on, s of readings, and how many deviations are noise
# s before the current comes in which a voltage is one at rest, and s by which a current that is a mean and shown late may seem to
# come after its voltage has fallen (a second and half a second: common practice, no source)
BEFORE, LAGS = 10.0, 1.5
FEW = 9  # readings from which it is told whether voltage and current are of one instrument
AT_ONCE = 1e-3  # s: readings of voltage and current nearer together than this are of one instrument


@dataclass(frozen=True)
class Along:
    """``volts`` at the readings of each part's current; ``shown`` are its own readings, ``charge`` what each stands for, in A·s.

    ``changes``: standard uncertainty in J of each interval between its readings and of the ends, where they are not those of the
    current. ``per_second``: J by which one second between the stamps of voltage and current counts.
    """

    volts: tuple[Array, ...]
    shown: Array
    charge: Array
    changes: Array
    per_second: float


def along(voltage: Series, flows: Sequence[Flow]) -> Along | None:
    """The voltage along the parts, or None if it was not read all along."""
    total = sum(flow.charge for flow in flows)
    found = [_part(voltage, flow) for flow in flows]
    parts = [each for each in found if each is not None]
    if len(parts) < len(flows):
        return None
    if sum(each.before + each.after for each in parts) > UNREAD * total or any(
        each.longest > APART * total for each in parts
    ):
        return None
    return Along(
        tuple(each.volts for each in parts),
        np.concatenate([each.readings.value for each in parts]),
        np.concatenate([each.charge for each in parts]),
        np.concatenate([each.changes for each in parts]),
        sum(each.per_second for each in parts),
    )


@dataclass(frozen=True)
class _Part:
    volts: Array
    readings: Series
    charge: Array
    changes: Array
    before: float  # A·s before the first reading
    after: float  # and after the last
    longest: float
    per_second: float


def _part(voltage: Series, flow: Flow) -> _Part | None:
    begin, end = flow.span
    near = voltage.between(begin - AT_ONCE, end + AT_ONCE)
    if len(near):
        # where stamps are late, readings of a pack that has opened seem to belong to it
        stands = np.flatnonzero(near.value > COLLAPSED * np.median(near.value))
        near = Series(near.t[: stands[-1] + 1], near.value[: stands[-1] + 1])
    if len(near) < 2:
        return None
    until = np.concatenate(
        [[0.0], np.cumsum((flow.steps - flow.blank / 2) * (flow.current[:-1] + flow.current[1:]) / 2)]
    )
    counted = np.interp(near.t, flow.t, until)
    between = np.diff(counted)
    before, after = float(counted[0]), float(until[-1] - counted[-1])
    halves = between / 2
    charge = np.concatenate([[before], halves]) + np.concatenate([halves, [after]])
    volts = np.interp(flow.t, near.t, near.value)
    few = near.t[:FEW]
    later = np.searchsorted(flow.t, few).clip(1, len(flow.t) - 1)
    same = float(np.median(np.minimum(np.abs(few - flow.t[later - 1]), np.abs(few - flow.t[later])))) < AT_ONCE
    if same:  # every product is of one instant, and its changes are those of the power
        return _Part(volts, near, charge, np.empty(0), before, after, float(between.max()), 0.0)
    # after the last reading it may fall twice as fast as it did in as long a time before
    fell = abs(float(near.value[-1] - np.interp(2 * near.t[-1] - end, near.t, near.value)))
    changes = np.append(np.abs(np.diff(near.value)) * between / ROOT12, fell * after / 3.0**0.5)
    per_second = float(np.abs(np.sum((flow.current[:-1] + flow.current[1:]) / 2 * np.diff(volts))))
    return _Part(volts, near, charge, changes, before, after, float(between.max()), per_second)


def most_leads(voltage: Series, flow: Flow, resolution: float) -> float:
    """The most that the leads of an instrument can have, in Ω: what its voltage fell by when the current came, all of it theirs.

    Infinite if that was not seen. The pack has a resistance of its own, so the truth lies well below.
    """
    first, _ = flow.span
    resting = voltage.between(flow.t[0] - BEFORE, first - LAGS)
    loaded = voltage.between(first, first + SETTLED)
    if not len(resting) or not len(loaded):
        return math.inf
    lowest = int(np.argmin(loaded.value))
    drawn = float(np.interp(loaded.t[lowest], flow.t, flow.current))
    step = float(resting.value.max() - loaded.value[lowest])
    if step <= 0 or drawn <= 0:
        return math.inf
    beside = 2 * resolution + SIGMAS * noise(voltage.between(first, first + NOISE_FROM).value)
    return (step + beside) / drawn


def under_load(voltage: Series, flow: Flow, resolution: float) -> Array:
    """The times, in gaps of the current, at which the voltage showed that it flowed: it stood where the load held it.

    The step of the voltage when the load came on says by how much it would be higher without; half of that is enough.
    """
    first, _ = flow.span
    resting, loaded = voltage.between(flow.t[0] - AT_ONCE, first), voltage.between(first, first + 2 * flow.limit)
    found = [np.empty(0)]
    if not len(resting) or not len(loaded):
        return found[0]
    step = float(resting.value.max() - loaded.value[0])
    drawn = float(np.interp(loaded.t[0], flow.t, flow.current))
    if step <= 5 * resolution or drawn <= 0:
        return found[0]
    for index in np.flatnonzero(flow.blank):
        begin, end = flow.t[index], flow.t[index + 1]
        before, after = (int(np.searchsorted(voltage.t, begin, "right")) - 1, int(np.searchsorted(voltage.t, end)))
        if before < 0 or after >= len(voltage):
            continue
        inside = slice(before + 1, after)
        line = np.interp(voltage.t[inside], voltage.t[[before, after]], voltage.value[[before, after]])
        least = float(min(flow.current[index], flow.current[index + 1]))
        stood = np.abs(voltage.value[inside] - line) < step / 2 * min(least / drawn, 1.0)
        found.append(voltage.t[inside][stood])
    return np.concatenate(found)
