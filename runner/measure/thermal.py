"""Trip, release, hysteresis, delay and lag of one temperature sensor, from ramps of a reference thermometer beside it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from runner.measure.budget import Quantity
from runner.measure.contact import Pair, pair_shared, paired
from runner.measure.finding import Evaluator, Finding
from runner.measure.fits.counted_marks import counted
from runner.measure.fits.ramp import SETTLING, Ramp, fit_ramp, fit_taps
from runner.measure.fits.repeatability import Repeatability, repeatability
from runner.measure.recording import Attempt, Recording, Specification
from runner.measure.threshold import (
    SLOWEST_SENSOR,
    Crossing,
    Shared,
    Threshold,
    find_threshold,
    group_of,
    shared,
)
from runner.vocabulary import BudgetSource, Observed, Outcome


def hysteresis(declared: Specification, trip: Quantity, release: Quantity) -> Quantity:
    """How far (K) the pack has to come back from its trip to release; below zero where it releases beyond its trip."""
    return trip - release if "over" in declared.protection else release - trip


OWN = frozenset(source for source in BudgetSource if source.own)  # what one more ramp averages out
WORTH_A_REPEAT = 0.05  # of the interval
ROOM = 23.0  # °C, where nobody has read it
SLOWEST_LAG = 20.0  # s: by how much sensor, delay and polling may be behind the probe when a heating is given up


class Thermal(Evaluator):
    """The findings of one sensor: trip, release, hysteresis, delay and lag."""

    def __init__(self, recording: Recording, declared: Specification, sensor: str) -> None:
        declared = declared.at(sensor)
        super().__init__(recording, declared, sensor)
        self._left_out: dict[str, list[str]] = {}  # kind of attempt -> why ramps of it are not used
        self._pair: Pair | None = None
        read = recording.read(Observed.AMBIENT_TEMPERATURE, 0.0)
        self._ambient = read[0].value if read else ROOM

    def findings(self) -> dict[str, Callable[[], Finding]]:
        """By name, how each is worked out."""
        rising = "over" in self.declared.protection
        trip_crossings = self._crossings("heat" if rising else "cool", Outcome.STOPPED)
        release_crossings = self._crossings("cool" if rising else "heat", Outcome.RETURNED)
        changes = {"trip": trip_crossings, "release": release_crossings}
        declared, sensor = self.declared, self.sensor or ""
        repeats = repeatability([group_of(each, declared) for each in changes.values() if each])
        self._pair = paired(changes, declared, sensor)
        common = (
            shared(self.inputs, declared, sensor, self._ambient)
            if self._pair is None
            else pair_shared(self.inputs, declared, sensor, self._ambient, self._pair)
        )
        trip, release = (self._threshold(name, each, repeats, common) for name, each in changes.items())
        return {
            "trip": lambda: self._finding(
                "trip", trip, trip_crossings, declared.trip, declared.trip_limits, "heat" if rising else "cool"
            ),
            "release": lambda: self._finding(
                "release",
                release,
                release_crossings,
                declared.release,
                declared.release_limits,
                "cool" if rising else "heat",
            ),
            "hysteresis": lambda: self._hysteresis(trip, release),
            "delay_and_lag": lambda: self._delay_and_lag(trip, trip_crossings),
        }

    # ---- from attempts to thresholds -------------------------------------------------------------------------

    def _crossings(self, kind: str, wanted: str) -> list[Crossing]:
        return [
            crossing
            for attempt in self.attempts
            if attempt.kind == kind and attempt.outcome == wanted
            for crossing in [self._crossing(attempt)]
            if crossing is not None
        ]

    def _threshold(
        self, name: str, crossings: Sequence[Crossing], repeats: Repeatability, common: Shared
    ) -> Threshold | None:
        if not crossings:
            return None
        found = find_threshold(crossings, self.declared, common, repeats, self.inputs)
        return found if self._pair is None else replace(found, value=found.value + self._pair.shift(name, self.inputs))

    def _crossing(self, attempt: Attempt) -> Crossing | None:
        edge = self.edge(attempt)
        if edge is None:
            return None
        taps = self.recording.taps
        if len(taps):
            began = attempt.began if attempt.ramp_began is None else attempt.ramp_began - 1.0
            marks, doubtful = counted(taps.between(began, edge.instant + self.declared.reaction[0]), attempt.rate)
            if doubtful:
                self._left_out.setdefault(attempt.kind, []).append(f"ramp {attempt.cycle} was not used: {doubtful}")
                return None
            ramp = fit_taps(marks, edge.instant, began, self.declared.reaction)
            return None if ramp is None else Crossing(attempt, edge, ramp)
        settled = attempt.began if attempt.ramp_began is None else attempt.ramp_began + SETTLING
        not_before = min(settled, max(edge.instant - 20.0, attempt.began))
        ramp = fit_ramp(
            self.recording.of(self.declared.probe_channel), edge.instant, not_before, self.declared.resolution
        )
        return None if ramp is None else Crossing(attempt, edge, ramp, self._second(edge.instant, not_before))

    def _second(self, instant: float, not_before: float) -> Ramp | None:
        """The same of a second probe at the sensor, where there is one."""
        second = self.declared.beside.get(self.sensor or "")
        if second is None:
            return None
        return fit_ramp(self.recording.of(second.channel), instant, not_before, second.resolution)

    # ---- from thresholds to findings -------------------------------------------------------------------------

    def _finding(
        self,
        name: str,
        threshold: Threshold | None,
        crossings: Sequence[Crossing],
        expected: float | None,
        limits: tuple[float, float] | None,
        kind: str,
    ) -> Finding:
        wanted = Outcome.STOPPED if name == "trip" else Outcome.RETURNED
        given_up = [each for each in self.ended(kind, Outcome.GAVE_UP) if each.sought == wanted]
        if given_up:
            return self._did_not(name, given_up[0], expected, limits, crossings)
        if threshold is None:
            why = "; ".join(self._left_out.get(kind, ())) or self.reason(kind)
            return self.missing(name, "°C", why, expected=expected, limits=limits)
        if threshold.impossible:
            return self.missing(name, "°C", threshold.impossible, expected=expected, limits=limits)
        caveats = [*threshold.caveats, *self._left_out.get(kind, ())]
        if self._pair is not None:
            caveats += self._pair.caveats(name)
        elif self.declared.beside.get(self.sensor or "") is not None:
            caveats.append("second probe on this sensor not used: not read at every trip and release")
        smaller = self._one_more(threshold, crossings, limits)
        if smaller:
            caveats.append(
                f"close to a limit; one more ramp would reduce the uncertainty by about {100 * smaller:.0f} %"
            )
        if len(self.recording.taps):
            caveats.append("thermometer read by hand (mark at each whole degree)")
        if any(crossing.edge.marked is not None for crossing in crossings):
            caveats.append("current read on a clamp (moment marked by the operator)")
        early = [crossing for crossing in crossings if crossing.attempt.ramp_began is None]
        if early:
            caveats.append(
                f"{len(early)} of {len(crossings)} changes occurred before the slow ramp: functional check only"
            )
        found = self.measured(
            name,
            "°C",
            threshold.value,
            expected=expected,
            limits=limits,
            caveats=tuple(caveats),
            fit=threshold.fit,
            repeats=tuple(crossing.ramp.temperature for crossing in crossings),
            plots=tuple(crossings),
            functional=len(early) == len(crossings) or threshold.quick,
            one_more=smaller,
        )
        return found if self._pair is None else replace(found, advice=self._pair.advice)

    def _one_more(
        self, threshold: Threshold, crossings: Sequence[Crossing], limits: tuple[float, float] | None
    ) -> float:
        """By what share one more repeat would help: near a limit, with enough of the interval from what repeats average out."""
        value, expanded = float(threshold.value.x), 2.0 * float(threshold.value.u)
        if limits is None or min(abs(value - limit) for limit in limits) > expanded:
            return 0.0
        rows = self.inputs.rows(threshold.value)
        whole = sum(row.contribution**2 for row in rows)
        own = sum(row.contribution**2 for row in rows if row.kind in OWN) / whole
        smaller = 1.0 - (1.0 - own / (len(crossings) + 1)) ** 0.5
        return smaller if smaller >= WORTH_A_REPEAT else 0.0

    def _hysteresis(self, trip: Threshold | None, release: Threshold | None) -> Finding:
        if trip is None or release is None or trip.impossible or release.impossible:
            missing = "trip" if trip is None or trip.impossible else "release"
            return self.missing("hysteresis", "K", f"the {missing} was not measured")
        return self.measured(
            "hysteresis",
            "K",
            hysteresis(self.declared, trip.value, release.value),
            caveats=("the probe's calibration error is assumed equal at both temperatures",),
            functional=trip.quick or release.quick,
        )

    def _delay_and_lag(self, trip: Threshold | None, crossings: Sequence[Crossing]) -> Finding:
        if trip is None or trip.delay_and_lag is None or trip.impossible:
            why = (
                "the trip was not measured"
                if trip is None or trip.impossible
                else f"{trip.fit}; two ramps at different rates are needed"
            )
            return self.missing("delay and lag", "s", why)
        found = self.measured(
            "delay and lag",
            "s",
            trip.delay_and_lag,
            caveats=(
                "this is the sum of trip delay, half a polling interval and sensor lag behind the probe; "
                "do not compare it with the declared delay",
            ),
            fit=trip.fit,
        )
        return self.with_averaging(found)

    def _slowest_sensor(self) -> float:
        """s by which the sensor alone may be behind the probe."""
        lag, uncertainty = self.declared.sensor_lag.get(self.sensor or "", (SLOWEST_SENSOR, 0.0))
        return lag + 2 * uncertainty

    def _did_not(
        self,
        name: str,
        attempt: Attempt,
        expected: float | None,
        limits: tuple[float, float] | None,
        crossings: Sequence[Crossing],
    ) -> Finding:
        """It did not trip (or release) by the temperature at which it was given up. Is that enough to fail it?"""
        assert attempt.limit is not None
        declared = self.declared
        lower, upper = limits if limits else (None, None)
        margin = (
            abs(attempt.rate) * max(SLOWEST_LAG, self._slowest_sensor() + declared.longest_delay)
            + 2 * (declared.calibration[0] ** 2 + declared.coupling**2) ** 0.5
        )
        beyond = (
            upper is not None
            and lower is not None
            and (attempt.limit - margin > upper if attempt.rate > 0 else attempt.limit + margin < lower)
        )
        caveats = (f"seen before in this run: {len(crossings)}",) if crossings else ()
        close = f"with lag and uncertainty ({margin:.1f} K) too close to a limit to decide"
        reason = attempt.why if beyond else f"{attempt.why}; {close}"
        if name == "release" and declared.latching:
            beyond, reason = False, f"{attempt.why}; declared as latching"
        return self.missing(name, "°C", reason, expected=expected, limits=limits, failed=beyond, caveats=caveats)
