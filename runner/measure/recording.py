"""What an evaluation is given: arrays, what was attempted, and what was declared beforehand."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from runner.events import CHARGE, DISCHARGE, PROBE_TEMPERATURE
from runner.measure.conformity import Decision
from runner.measure.fits.averaging import Averaging
from runner.vocabulary import Observed

# s between looks of a pack whose sheet does not say (common practice, no source)
UNKNOWN_LOOKS = {"temperature": 2.0, "voltage": 0.5, "current": 0.1}

Array = NDArray[np.float64]
_Part = tuple[float, float, str]  # mean, standard uncertainty (s), distribution


@dataclass(frozen=True)
class Series:
    """Valid readings of one channel: times in s since the start, rising; values in SI or °C. Same length."""

    t: Array
    value: Array

    def between(self, begin: float, end: float) -> Series:
        """The readings with begin ≤ t ≤ end."""
        first, last = np.searchsorted(self.t, begin, "left"), np.searchsorted(self.t, end, "right")
        return Series(self.t[first:last], self.value[first:last])

    def first(self, count: int) -> Series:
        """The first so many readings."""
        return Series(self.t[:count], self.value[:count])

    def __len__(self) -> int:
        return len(self.t)


NOTHING = Series(np.empty(0), np.empty(0))


@dataclass(frozen=True)
class Held:
    """One level of a staircase: its ``value`` (A, V, or °C), ``since`` when it was read back, and when it was ``asked`` for (s)."""

    value: float
    since: float
    by_hand: bool = False
    asked: float | None = None


@dataclass(frozen=True)
class Attempt:
    """One step that provokes something and how the engine saw it end. Times in s, ``rate`` in K/s signed.

    ``at`` is the time of the first sample after the change; ``ramp_began`` is None if it never came to the ramp;
    ``limit`` is where it was given up, in the unit of what was changed; ``levels`` are those of a staircase.
    ``by_hand``: a person's key said when, a reaction later than it was. ``sought`` is the outcome it waited for, or nothing,
    ``concluded`` when the run drew its conclusion.
    """

    kind: str
    sensor: str
    cycle: int
    rate: float
    began: float
    ramp_began: float | None
    at: float
    outcome: str
    why: str
    limit: float | None = None
    levels: tuple[Held, ...] = ()
    by_hand: bool = False
    sought: str = ""
    concluded: float | None = None


@dataclass(frozen=True)
class Typed:
    """A reading that a person typed: what it is called, SI value, time in s, and what it is of, if findings use it."""

    name: str
    value: float
    t: float
    of: Observed | None = None


@dataclass(frozen=True)
class Recording:
    """A run as the evaluation sees it. ``ended_early`` is the reason why, or empty.

    ``channels`` are the valid readings by the names of events.CHANNELS; ``breaks`` are (from, to) in s during which the
    run was broken off.
    """

    channels: Mapping[str, Series]
    attempts: tuple[Attempt, ...]
    ended_early: str = ""
    typed: tuple[Typed, ...] = ()
    breaks: tuple[tuple[float, float], ...] = ()
    taps: Series = NOTHING

    def read(self, of: Observed, begin: float, end: float = math.inf) -> list[Typed]:
        """The typed readings of this with begin ≤ t ≤ end, in order."""
        return [each for each in self.typed if each.of == of and begin <= each.t <= end]

    def of(self, channel: str) -> Series:
        """The readings of a channel, none if it was not read."""
        return self.channels.get(channel, NOTHING)


@dataclass(frozen=True)
class Accuracy:
    """± limits of a reading: ``gain`` of it plus ``offset``, and its resolution, in SI."""

    gain: float = 0.0
    offset: float = 0.0
    resolution: float = 0.0

    def within(self, value: float) -> float:
        """By how much a reading of about ``value`` may be off at most."""
        return self.gain * abs(value) + self.offset + self.resolution


@dataclass(frozen=True)
class Reference:
    """A thermometer of its own beside a sensor: the channel it reads, and of it what Specification has of the first one."""

    channel: str
    calibration: tuple[float, str]
    resolution: float
    coupling: float
    coupling_growth: float | None
    coupling_direction: float | None
    probe_lag: tuple[float, float]
    beyond: str = ""  # that a threshold lies where its certificate says nothing


@dataclass(frozen=True)
class Specification:
    """What sheet and bench file say: limits in the unit of the protection, times in s, all else in SI.

    ``sensor_lag`` and ``probe_lag`` are (value, standard uncertainty) in s, or None where nobody knows; ``coupling`` is in K,
    its growth a share of the difference to ambient, None where nobody has said; ``leads`` the same in Ω by path, a counter's by
    its role; ``accuracy`` by channel; ``box`` the ± ratio of a decade box and ``slope`` (dR/dT)/R in 1/K, as a function of °C,
    by sensor.
    ``averaging`` is what is known of the windows of the current readings, by path, and of the voltmeter's by its
    channel. ``cell_noise`` (V, one standard deviation of a cell) and ``filter_lag`` (s) are the pack's, None where nobody knows.
    ``reaction`` is (value, standard uncertainty) of a person's key.
    """

    protection: str
    trip: float | None = None
    trip_limits: tuple[float, float] | None = None
    release: float | None = None
    release_limits: tuple[float, float] | None = None
    delay: float = 0.0
    delay_uncertainty: float = 0.0
    delay_limits: tuple[float, float] | None = None
    delay_assumed: tuple[float, float] | None = (
        None  # (s, s) where the sheet declares no delay; ``delay`` is the middle then
    )
    polling: float = 0.0
    assumed: str = ""  # how limits that the sheet does not declare were come by
    latching: bool = False
    cells: int = 1
    cell_noise: float | None = None
    filter_lag: float | None = None
    calibration: tuple[float, str] = (0.0, "normal")
    resolution: float = 0.0
    coupling: float = 0.0
    coupling_growth: float | None = None
    coupling_direction: float | None = None
    probe_lag: tuple[float, float] | None = None
    sensor_lag: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    sensors: tuple[str, ...] = ()
    wanted: tuple[str, ...] = ()
    decision: Decision = field(default_factory=Decision)
    accuracy: Mapping[str, Accuracy] = field(default_factory=dict)
    leads: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    averaging: Mapping[str, Averaging] = field(default_factory=dict)
    capacity: tuple[float | None, float | None] = (None, None)  # rated and minimum, A·s
    energy: tuple[float | None, float | None] = (None, None)  # rated and minimum, J
    box: float = 0.0
    slope: Mapping[str, Callable[[float], float]] = field(default_factory=dict)
    reaction: tuple[float, float] = (0.0, 0.0)
    counter: tuple[Accuracy, Accuracy] | None = None  # charge and energy of a counter that is read by hand
    clamp: tuple[Accuracy, float] | None = None  # of its current, and s from one of its readings to the next
    references: Mapping[str, Reference] = field(default_factory=dict)  # of sensors that have a thermometer of their own
    beside: Mapping[str, Reference] = field(default_factory=dict)  # of sensors that have a second thermometer at them
    probe_channel: str = PROBE_TEMPERATURE  # what the reference reads

    def at(self, sensor: str) -> Specification:
        """The same with the thermometer that is the reference of this sensor."""
        own = self.references.get(sensor)
        if own is None:
            return self
        return replace(
            self,
            probe_channel=own.channel,
            calibration=own.calibration,
            resolution=own.resolution,
            coupling=own.coupling,
            coupling_growth=own.coupling_growth,
            coupling_direction=own.coupling_direction,
            probe_lag=own.probe_lag,
            assumed="; ".join(each for each in (self.assumed, own.beyond) if each),
        )

    @property
    def delay_in_looks(self) -> tuple[float, float, str]:
        """(mean, standard uncertainty, distribution) in s from the look that noticed to the one with which the pack acts.

        A delay that is counted in looks ends with a look: it takes ⌈d/p⌉·p, which is one of a few values for all delays within
        what is declared. Where it is one value only, a pack that has a timer instead may be as early as its delay.
        """
        half, polling = self.delay_uncertainty * 3.0**0.5, self.polling
        if polling <= 0:
            return self.delay, self.delay_uncertainty, "rectangular"
        first, last = (max(math.ceil(each / polling - 1e-9), 0) for each in (self.delay - half, self.delay + half))
        values = last - first + 1
        if values == 1:
            early, late = self.delay - half, first * polling
            return (early + late) / 2, (late - early) / 12.0**0.5, "rectangular"
        u = polling * ((values**2 - 1) / 12) ** 0.5
        return (first + last) / 2 * polling, u, "two values" if values == 2 else "rectangular"

    @property
    def unknown_looks(self) -> float:
        """s between the looks of a pack, at most, whose sheet does not say."""
        return UNKNOWN_LOOKS[self.protection.rpartition("_")[2]]

    @property
    def looks(self) -> tuple[_Part, _Part]:
        """(what passes until the pack looks, what it takes beyond its delay), for looks every p seconds.

        Until it looks, anything up to p. Beyond its delay, nothing, where a timer runs, or up to a whole look, where looks are
        counted: nobody says which. Of looks that the sheet does not declare, p itself may be anything up to ``unknown_looks``
        (means and variances of p·x over p uniform and x as before).
        """
        p = self.polling
        if p > 0:
            return (p / 2, p / 12.0**0.5, "rectangular"), (p / 2, p / 2, "two values")
        most = self.unknown_looks
        until, beyond = (1 / 9 - 1 / 16) ** 0.5, (1 / 6 - 1 / 16) ** 0.5
        return (most / 4, most * until, "rectangular"), (most / 4, most * beyond, "rectangular")

    @property
    def about_delay(self) -> str:
        """That the delay was not declared, and what was assumed; empty where it was."""
        if self.delay_assumed is None:
            return ""
        return "trip delay not declared; {:g} s to {:g} s assumed".format(*self.delay_assumed)

    @property
    def longest_delay(self) -> float:
        """s from the look that notices to the pack's act, at most, by what is declared; and up to a polling period before it."""
        return float(self.delay + self.delay_uncertainty * 3.0**0.5 + 2 * self.polling)

    @property
    def path(self) -> str:
        """The path that the protection opens."""
        return DISCHARGE if "discharge" in self.protection or self.protection == "under_voltage" else CHARGE
