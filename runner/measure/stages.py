"""What is found by levels: the current at which a path opens, the temperature a decade box stands for, and the delay.

The threshold lies between the last level that was held and the first that was not, with equal probability everywhere
between (JCGM 100:2008, 4.3.7). The delay is the time from when the tripping level was there to the edge, less half of the
pack's polling period until it looked, and half of one because it may count looks, which takes up to one more; a single
jump far beyond the threshold measures it. Levels that were held for less than the delay say nothing about the threshold: the
pack may have decided at an earlier one.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cached_property
from itertools import pairwise

import numpy as np

from runner.events import CURRENT_OF, DISCHARGE
from runner.measure.budget import Quantity
from runner.measure.cutoff import recovery_time
from runner.measure.finding import Evaluator, Finding, Limits
from runner.measure.fits.edge import LEVEL_WINDOW, Edge
from runner.measure.fits.staircase import Acted, Staircase, find_turns
from runner.measure.readings import reading_error
from runner.measure.recording import Accuracy, Attempt, Held, Series, Specification
from runner.measure.thermal import hysteresis
from runner.vocabulary import BudgetSource, Outcome

SETTING_TIME = (
    0.1  # s before its reading back that a level may have been there, where the record says not when it was asked for
)
KEY_AFTER = 3.0  # reactions at most from the last knob of a decade box to the key (common practice, no source)
REPEATS = 0.03  # K by which steps of 0.1 K move a change at a held level; find_turns has the noise (from memory)
PLUGGED_IN = 25.0  # °C that a box is set to before it is plugged in, as the procedures have it
WORTH_SAYING = 0.1  # K by which filter and delay leave a threshold open
IMPOSSIBLE = (
    "by the levels at which the current stopped and returned, the release lies beyond the trip: were they set as asked?"
)
SETTLING = 0.3  # s of a level that are left out of its mean


class Stages(Evaluator):
    """The findings of an over-current protection: the current, the delay, and how long the pack stays off."""

    def findings(self) -> dict[str, Callable[[], Finding]]:
        """By name, how each is worked out."""
        return {
            "trip": self.trip,
            "delay": self.delay,
            "recovery_time": lambda: recovery_time(self, "try", "stage"),
        }

    def trip(self) -> Finding:
        declared, limits = self.declared, self.declared.trip_limits
        stopped = [attempt for attempt in self.ended("stage", Outcome.STOPPED) if not _is_jump(attempt)]
        if not stopped:
            return _did_not(self, "stage", "trip", "A", limits, up=True)
        found = _levels(self, stopped[-1])
        if isinstance(found, str):
            return self.missing("trip", "A", found, expected=declared.trip, limits=limits)
        edge, held, at = found
        by_jump = any(_is_jump(attempt) for attempt in self.ended("stage", Outcome.STOPPED))
        hasty = _too_hasty(self, stopped[-1], self.delay(), by_jump=by_jump)
        if hasty:
            return self.missing("trip", "A", hasty, expected=declared.trip, limits=limits)
        if held is None:
            low = limits[0] if limits else None
            why = f"tripped already at the first level, {at.value:.4g} A"
            failed = low is not None and self._between(at, edge.last)[1] < low
            return self.missing("trip", "A", why, expected=declared.trip, limits=limits, failed=failed)
        before, after = self._flowed(held, at.since), self._flowed(at, edge.last)
        accuracy = declared.accuracy.get(CURRENT_OF[declared.path], Accuracy())
        theta = self.inputs.add(
            BudgetSource.LEVELS, (before + after) / 2, abs(after - before) / 12.0**0.5, "rectangular"
        ) + reading_error(self.inputs, accuracy, after, "current reading")
        caveats = (f"no trip at {before:.4g} A, trip at {after:.4g} A", *self.about_leads)
        return self.measured("trip", "A", theta, expected=declared.trip, limits=limits, caveats=caveats)

    def delay(self) -> Finding:
        stopped = self.ended("stage", Outcome.STOPPED)
        stopped = [attempt for attempt in stopped if _is_jump(attempt)] or stopped
        if not stopped:
            return self.missing("delay", "s", self.reason("stage"), expected=_declared_delay(self.declared))
        found = _levels(self, stopped[-1])
        if isinstance(found, str):
            return self.missing("delay", "s", found, expected=_declared_delay(self.declared))
        edge, _, at = found
        first, last = self._passed(at, edge)
        since = self.inputs.add(
            BudgetSource.CURRENT_THERE, (first + last) / 2, (last - first) / 12.0**0.5, "rectangular"
        )
        return _delay(self, edge, since)

    def _passed(self, level: Held, edge: Edge) -> tuple[float, float]:
        """Between which times the current passed the trip.

        A load draws its current within milliseconds of being told, which was between the order and its reading back; a supply
        takes its time to get there, and its readings say when it passed.
        """
        asked = level.since - SETTING_TIME if level.asked is None else level.asked
        if self.declared.path == DISCHARGE:
            return asked, level.since
        trip = self._trip_about()
        part = self.recording.of(CURRENT_OF[self.declared.path]).between(asked, edge.last + 1e-6)
        above = part.t[part.value >= min(trip, 0.97 * level.value)]
        below = part.t[part.t < above[0]] if len(above) else part.t
        last = float(above[0]) if len(above) else level.since
        first = (float(below[-1]) if len(below) else asked) - 2 * max(
            self.meter.lag, 0.0
        )  # a mean comes after what it is of
        unsure = self._trip_is_passed_within(part, first, last, trip)
        return max(first - unsure, asked), max(last + unsure, level.since)

    def _trip_about(self) -> float:
        """A: the declared trip, or the middle of the range in which it is."""
        limits = self.declared.trip_limits
        return (self.declared.trip or (sum(limits) / 2 if limits else 0.0)) or 0.0

    def _trip_is_passed_within(self, part: Series, first: float, last: float, trip: float) -> float:
        """Seconds that a rising current needs for what is not known of the trip: a fiftieth of it."""
        if last <= first or not len(part):
            return 0.0
        risen = float(np.interp(last, part.t, part.value) - np.interp(first, part.t, part.value))
        return min(0.02 * trip * (last - first) / risen, last - first) if risen > 0 else 0.0

    def _between(self, level: Held, until: float) -> tuple[float, float]:
        """A at least and at most that flowed while a level stood, by what the reading is accurate to."""
        flowed = self._flowed(level, until)
        unsure = self.declared.accuracy.get(CURRENT_OF[self.declared.path], Accuracy()).within(flowed)
        return flowed - unsure, flowed + unsure

    def _flowed(self, level: Held, until: float) -> float:
        """The mean current that was read while a level stood, or its set value."""
        part = self.recording.of(CURRENT_OF[self.declared.path]).between(level.since + SETTLING, until - 1e-6)
        good = part.value[part.value > 0.5 * level.value]
        return float(good.mean()) if len(good) else level.value


class Substituted(Evaluator):
    """The findings of a sensor with a decade box in its place."""

    def findings(self) -> dict[str, Callable[[], Finding]]:
        """By name, how each is worked out."""
        declared = self.declared
        return {
            "trip": lambda: self._threshold("trip", Outcome.STOPPED, declared.trip, declared.trip_limits),
            "release": lambda: self._threshold("release", Outcome.RETURNED, declared.release, declared.release_limits),
            "hysteresis": self._hysteresis,
            "delay_and_lag": lambda: self.missing("delay and lag", "s", "the decade box has no lag; see the delay"),
            "delay": self.delay,
        }

    def _threshold(self, name: str, outcome: str, expected: float | None, limits: Limits | None) -> Finding:
        stairs = self._stairs(outcome)
        if not stairs:
            single = [attempt for attempt in self.ended("substitute", outcome) if len(attempt.levels) == 1]
            if single and not _stairs_gave_up(self, outcome):
                return self._at_the_first(name, single[0], expected, limits)
            return _did_not(self, "substitute", name, "°C", limits, up="over" in self.declared.protection)
        turned = self._turned(outcome)
        if turned is None:
            why = self.reason("substitute") if self._turns.possible else IMPOSSIBLE
            return self.missing(name, "°C", why, expected=expected, limits=limits)
        caveats = ("a decade box in place of the sensor: the sensor itself, its place and its contact are not tested",)
        return self.measured(
            name,
            "°C",
            turned + self._box(float(turned.x)),
            expected=expected,
            limits=limits,
            caveats=(*self._about_filter(outcome), *caveats),
            repeats=tuple(middle for attempt in stairs if (middle := self._middle(attempt)) is not None),
        )

    def _stairs(self, outcome: str) -> list[Attempt]:
        return [attempt for attempt in self.ended("substitute", outcome) if len(attempt.levels) > 1]

    def _at_the_first(self, name: str, attempt: Attempt, expected: float | None, limits: Limits | None) -> Finding:
        value = attempt.levels[0].value
        why = f"changed already at the first level, {value:.2f} °C"
        outside = limits is not None and _outside(
            self._between(attempt.levels[0], attempt.at),
            limits,
            falling=name == "trip",
            over="over" in self.declared.protection,
        )
        return self.missing(name, "°C", why, expected=expected, limits=limits, failed=outside)

    def _middle(self, attempt: Attempt) -> float | None:
        """°C half way between the last level that did nothing and the one that did, as they were set."""
        found = _levels(self, attempt)
        return None if isinstance(found, str) or found[1] is None else (found[1].value + found[2].value) / 2

    def _turned(self, outcome: str) -> Quantity | None:
        """Where the pack turns, in °C without the box's error; None where no staircase shows it."""
        if all(self._middle(attempt) is None for attempt in self._stairs(outcome)):
            return None
        found = self._turns
        turned = found.trip if outcome == Outcome.STOPPED else found.release
        if turned is None or not found.possible:
            return None
        add = self.inputs.add
        # what filter and delay do to trip and release is one cause: it moves both the same way, or against each other
        sign = 1.0 if outcome == Outcome.STOPPED or found.together >= 0 else -1.0
        return (
            add(BudgetSource.LEVELS, turned.value, turned.inside, "rectangular")
            + sign * turned.filtered * self.inputs.shared(BudgetSource.PACK_FILTER, 0.0, 1.0)
            + add(BudgetSource.REPEATABILITY, 0.0, REPEATS)
        )

    def _about_filter(self, outcome: str) -> tuple[str, ...]:
        """That the changes came so late that they may belong to an earlier level, where that matters."""
        turned = self._turns.trip if outcome == Outcome.STOPPED else self._turns.release
        if turned is None or turned.filtered < WORTH_SAYING:
            return ()
        return (
            "the change may belong to an earlier level (filter of the pack): included in the uncertainty; "
            "hold levels longer to decide",
        )

    @cached_property
    def _turns(self) -> Staircase:
        """What all changes of the run say together."""
        declared = self.declared
        reaction, deviation = declared.reaction
        settings = sorted(
            (level.since - reaction, level.value)
            for attempt in self.attempts
            if attempt.kind == "substitute"
            for level in attempt.levels
        )
        half = declared.delay_uncertainty * 3.0**0.5
        counted = (
            math.ceil((declared.delay + half) / declared.polling - 1e-9) * declared.polling if declared.polling else 0.0
        )
        changes: dict[str, list[Acted]] = {Outcome.STOPPED: [], Outcome.RETURNED: []}
        for outcome, acted in changes.items():
            rising = ("over" in declared.protection) == (outcome == Outcome.STOPPED)
            for attempt in self.ended("substitute", outcome):
                found = _levels(self, attempt)
                if not isinstance(found, str):
                    u = math.hypot(found[0].uncertainty, deviation, reaction / 3.0**0.5)
                    acted.append(Acted(found[0].instant, u, rising, attempt.levels[0].since - reaction))
        return find_turns(
            np.array([-math.inf, *(at for at, _ in settings)]),
            np.array([PLUGGED_IN, *(value for _, value in settings)]),
            changes[Outcome.STOPPED],
            changes[Outcome.RETURNED],
            (declared.delay - half, max(declared.delay + half, counted)),
            declared.polling,
        )

    def _box(self, temperature: float) -> Quantity:
        """What the box's ± limits come to in K: ΔT = (ΔR/R)·R/|dR/dT|."""
        return self.inputs.add(BudgetSource.BOX, 0.0, self._box_within(temperature) / 3.0**0.5, "rectangular")

    def _box_within(self, temperature: float) -> float:
        slope = self.declared.slope.get(self.sensor or "")
        return self.declared.box / abs(slope(temperature)) if slope else 0.0

    def _between(self, level: Held, _until: float) -> tuple[float, float]:
        """°C at least and at most that a level of the box stands for."""
        half = self._box_within(level.value)
        return level.value - half, level.value + half

    def _set(self, level: Held) -> Quantity:
        """When the box was set to a level: with the key, or before it by up to KEY_AFTER of a person's reactions."""
        reaction, deviation = self.declared.reaction
        key = self.inputs.add(BudgetSource.KEY, level.since, deviation, "normal")
        half = KEY_AFTER * reaction / 2
        return key - self.inputs.add(BudgetSource.REACTION.of("box"), half, half / 3.0**0.5, "rectangular")

    def _hysteresis(self) -> Finding:
        trip, release = (self._turned(outcome) for outcome in (Outcome.STOPPED, Outcome.RETURNED))
        if trip is None or release is None:
            return self.missing("hysteresis", "K", f"the {'trip' if trip is None else 'release'} was not measured")
        return self.measured("hysteresis", "K", hysteresis(self.declared, trip, release))

    def delay(self) -> Finding:
        jumps = [attempt for attempt in self.ended("substitute", Outcome.STOPPED) if len(attempt.levels) == 1]
        if not jumps:
            return self.missing("delay", "s", self.reason("substitute"), expected=_declared_delay(self.declared))
        found = _levels(self, jumps[-1])
        if isinstance(found, str):
            return self.missing("delay", "s", found, expected=_declared_delay(self.declared))
        edge, _, at = found
        since = self._set(at)
        return _delay(self, edge, since)


def _delay(maker: Evaluator, edge: Edge, since: Quantity) -> Finding:
    """From the tripping level to the edge, less what the pack's looks add."""
    declared = maker.declared
    looks, lost = declared.looks
    quantity = (
        maker.inputs.add(BudgetSource.EDGE_INSTANT, edge.instant, edge.uncertainty, edge.distribution)
        - since
        - maker.inputs.add(BudgetSource.POLLING, *looks)
        - maker.inputs.add(BudgetSource.DELAY_IN_LOOKS, *lost)
    )
    expected, limits = _declared_delay(declared), declared.delay_limits
    caveats: tuple[str, ...] = ()
    if declared.polling <= 0 and looks[1] > 0:
        caveats = (f"interval between the pack's looks not declared; up to {declared.unknown_looks:g} s assumed",)
    return maker.with_averaging(
        maker.measured("delay", "s", quantity, expected=expected, limits=limits, caveats=caveats)
    )


def _declared_delay(declared: Specification) -> float | None:
    """s; None where the sheet declares none."""
    return declared.delay if declared.delay_assumed is None else None


def _levels(maker: Evaluator, attempt: Attempt) -> tuple[Edge, Held | None, Held] | str:
    """(edge, the level held before, the level that changed it), or why not."""
    begin = attempt.levels[0].since if attempt.kind == "stage" and attempt.levels else attempt.began - LEVEL_WINDOW
    edge = maker.edge(attempt, begin=begin)
    if edge is None:
        return "the samples around the change are too few to evaluate"
    begun = [level for level in attempt.levels if level.since <= edge.first]
    if not begun:
        return "the change came before the first level"
    return edge, begun[-2] if len(begun) > 1 else None, begun[-1]


def _is_jump(attempt: Attempt) -> bool:
    """A single level far beyond the threshold, made for the delay."""
    return len(attempt.levels) == 1


def _too_hasty(maker: Evaluator, stairs: Attempt, delay: Finding, *, by_jump: bool) -> str:
    """Why the levels of a staircase were held too short for the pack's delay, or nothing.

    What the delay has turned out to be says so where a single jump has shown it; seen on the staircase itself, it is never longer
    than its levels, and what is declared counts.
    """
    spacing = [b.since - a.since for a, b in pairwise(stairs.levels)]
    if not spacing:
        return ""
    declared = maker.declared
    seen = delay.value if delay.value is not None and delay.expanded_uncertainty is not None else 0.0
    needed = (seen if by_jump else max(seen, declared.delay - declared.delay_uncertainty * 3.0**0.5)) + declared.polling
    if min(spacing) >= needed:
        return ""
    return f"each level lasted {min(spacing):.1f} s, the pack needs {needed:.1f} s: the trip may belong to an earlier level"


def _stairs_gave_up(maker: Evaluator, outcome: str) -> bool:
    return any(attempt.outcome == Outcome.GAVE_UP and len(attempt.levels) > 1 for attempt in maker.attempts)


def _outside(between: tuple[float, float], limits: Limits, *, falling: bool, over: bool) -> bool:
    """Whether a change that came at the first level already came too early for the limits, wherever that level was."""
    low, high = limits
    if falling == over:
        return low is not None and between[1] < low
    return high is not None and between[0] > high


def _did_not(
    maker: Stages | Substituted, kind: str, name: str, unit: str, limits: Limits | None, *, up: bool
) -> Finding:
    """It was given up: was a level beyond the limits for certain, for longer than the pack needs, so that this is a failure?"""
    declared = maker.declared
    expected = declared.trip if name == "trip" else declared.release
    given_up = [attempt for attempt in maker.attempts if attempt.kind == kind and attempt.outcome == Outcome.GAVE_UP]
    wanted = Outcome.STOPPED if name == "trip" else Outcome.RETURNED
    mine = [attempt for attempt in given_up if attempt.sought == wanted]
    if not mine or mine[0].limit is None or limits is None:
        return maker.missing(name, unit, maker.reason(kind), expected=expected, limits=limits)
    low, high = limits
    rising = up if name == "trip" else not up
    ends = [each.since if each.asked is None else each.asked for each in mine[0].levels[1:]] + [mine[0].at]
    beyond, set_beyond = [], False
    for level, end in zip(mine[0].levels, ends, strict=True):
        least, most = maker._between(level, end)
        set_beyond |= (high is not None and level.value > high) if rising else (low is not None and level.value < low)
        if (high is not None and least > high) if rising else (low is not None and most < low):
            beyond.append(level.since)
    waited = mine[0].at - beyond[0] if beyond else 0.0
    failed, why = waited > declared.longest_delay, mine[0].why
    if name == "release" and declared.latching:
        return maker.missing(name, unit, f"{why}; declared as latching", expected=expected, limits=limits)
    if set_beyond and not beyond:
        why = f"{why}; by what was read, and how accurate that is, no level was beyond the limit for certain"
    if beyond and not failed:
        longest = declared.longest_delay
        why = f"{why}; the level beyond the limit lasted {waited:.0f} s; the declared maximum delay is {longest:.0f} s"
    return maker.missing(name, unit, why, expected=expected, limits=limits, failed=failed)
