"""Voltage protections: the terminal voltage at which the pack opened the path, and at which it came back.

At the instant τ of the edge the voltage is V(τ); the pack had looked its delay earlier, and half of a polling period before
that, in the mean, its threshold was passed, when the voltage was θ = V(τ − d − p/2), read off a parabola through the last
readings before τ. The steepness dV/dt there turns what is not known of τ, d and the polling into volts. Between the pack's
terminals and an instrument at the end of its leads lies I·R of the leads: corrected where they are known, allowed for where
they are not.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from runner.events import CHARGE, CURRENT_OF, DISCHARGE, METER_VOLTAGE, VOLTAGE_OF
from runner.measure.budget import Quantity
from runner.measure.by_hand import recovery_by_hand, trip_by_hand
from runner.measure.capacity import Throughput
from runner.measure.finding import Evaluator, Finding, Limits
from runner.measure.fits.cells import about_cells, early, lag_of_filter, late
from runner.measure.fits.edge import Edge
from runner.measure.fits.level import Change, after_rise, before_fall, came_back, find_change, opened
from runner.measure.fits.ramp import Bend, fit_bend
from runner.measure.readings import UNKNOWN_LEADS, gap_before, lead_resistance, lowest_held, reading_error, terminals
from runner.measure.recording import Accuracy, Attempt, Series
from runner.notation.quantity import minus
from runner.vocabulary import BudgetSource, Observed, Outcome

WINDOW = 15.0  # s of readings before the edge
BEFORE_EDGE = 0.05  # s: readings nearer to the edge than this may already belong to the other side
RISE_TIME = 0.5  # s: a current that has not come by then after the supply was on was not let through
AFTER, SHRINK = 20.0, 0.75  # s of readings after a return, and by how much fewer are tried where they are no parabola
FEWEST_AFTER = 12  # readings
STEEPER = 0.25  # of the way back to the decision, for relaxations from 20 s: tests/measure/test_release_by_return.py
NO_PARABOLA = 0.5  # of the scatter's variance: more than this that moves slowly is no noise
DISPLAYED_WITHIN = 0.01  # V: what a pack shows of a cell is right to so much (common practice, no source)
LEAST_WAIT = 300.0  # s: a pack that has not come back by then does not do so by itself (common practice, no source)
UNKNOWN_AGE = 0.6  # s: how old a reading is at most whose meter nobody has described (common practice, no source)
LATE_STAMPS = 0.15  # s: so much later than taken a reading may be stamped (common practice, no source)
RIPPLE = 2.0**0.5  # of the scatter: the amplitude of a sine, which brings a look forward or holds one off
# of the current that came: less than that is none. A pack that returns over a pre-charge lets a twentieth to a fifth through at
# first (common practice, no source), and has released by then
NO_CHARGE = 0.02


class CutOff(Evaluator):
    """The findings of an over-voltage or under-voltage protection."""

    def findings(self) -> dict[str, Callable[[], Finding | None]]:
        """By name, how each is worked out."""
        return {
            "trip": self.trip,
            "release": self.release,
            "recovery_time": self.recovery_time,
            "wake_charge": self.wake_charge,
        }

    # ---- trip ------------------------------------------------------------------------------------------------

    def trip(self) -> Finding:
        declared = self.declared
        kind = "drain" if declared.path == DISCHARGE else "charge"
        limits = declared.trip_limits
        stopped = self.ended(kind, Outcome.STOPPED)
        if not stopped:
            return self._did_not_trip(kind, limits)
        if stopped[-1].by_hand:
            return trip_by_hand(self, stopped[-1])
        edge = self.edge(stopped[-1])
        caveats: list[str] = []
        if edge is None:
            return self.missing("trip", "V", self.reason(kind), expected=declared.trip, limits=limits)
        voltage, current, leads = self._voltage_before(edge, stopped[-1])
        level = before_fall(voltage, edge.instant - WINDOW, edge.last + 1e-6)
        bend = fit_bend(level, edge.instant, edge.instant - WINDOW, edge.last + 1e-6, 0.0)
        if bend is None:
            why = "too few voltage readings before the cut-off"
            return self.missing("trip", "V", why, expected=declared.trip, limits=limits)
        delay, u_delay, distribution = declared.delay_in_looks
        lag, u_lag = lag_of_filter(declared)
        age, u_age = self._age()
        behind = delay + declared.polling / 2 + lag - age
        value, u_fit, slope = bend.at(-behind)
        add, inside = self.inputs.add, -1.0 if declared.path == DISCHARGE else 1.0
        if declared.about_delay:
            caveats.append(f"{declared.about_delay}; 1 s more changes the result by {abs(slope) * 1e3:.2g} mV")
        elif declared.delay and declared.delay_limits is None:
            caveats.append(
                f"declared trip delay {declared.delay:g} s used (assumed ±10 %); "
                f"1 s more changes the result by {abs(slope) * 1e3:.2g} mV"
            )
        theta = (
            add(BudgetSource.VOLTAGE_FIT, value, u_fit, "normal", bend.dof)
            + add(BudgetSource.VOLTAGE_SHAPE, 0.0, bend.wander, "normal", bend.dof)
            + add(BudgetSource.EDGE_INSTANT, 0.0, abs(slope) * edge.uncertainty, edge.distribution)
            + add(BudgetSource.TRIP_DELAY, 0.0, abs(slope) * u_delay, distribution)
            + add(BudgetSource.POLLING, 0.0, abs(slope) * declared.polling / 12.0**0.5, "rectangular")
            + add(BudgetSource.PACK_FILTER, 0.0, abs(slope) * u_lag, "rectangular")
            + add(BudgetSource.VOLTAGE_AGE, 0.0, abs(slope) * u_age, "rectangular")
            + add(BudgetSource.RIPPLE, 0.0, RIPPLE * bend.scatter / 3.0**0.5, "rectangular")
            + inside * early(declared, self.inputs)
            + reading_error(self.inputs, self._accuracy(voltage), value, "voltmeter")
            + self._lead_drop(leads, current, caveats)
        )
        caveats += [*about_cells(declared), *self.about_leads]
        caveats.append(f"{float(theta.x) / declared.cells:.3f} V per cell (mean of {declared.cells} cells)")
        return self.measured(
            "trip",
            "V",
            theta,
            expected=declared.trip,
            limits=limits,
            caveats=tuple(caveats),
            fit=f"voltage slope at the cut-off: {minus(f'{slope * 1e3:.3g}')} mV/s",
        )

    def _did_not_trip(self, kind: str, limits: Limits | None) -> Finding:
        declared = self.declared
        given_up = self.ended(kind, Outcome.GAVE_UP)
        if not given_up:
            return self.missing("trip", "V", self.reason(kind), expected=declared.trip, limits=limits)
        attempt, sign = given_up[0], -1.0 if declared.path == DISCHARGE else 1.0
        limit = None if limits is None else limits[0] if declared.path == DISCHARGE else limits[1]
        if limit is None or attempt.limit is None or sign * (attempt.limit - limit) <= 0:
            return self.missing("trip", "V", attempt.why, expected=declared.trip, limits=limits)
        waited = self._beyond(attempt, limit, sign)
        failed = waited > declared.longest_delay
        why = attempt.why
        if not failed:
            why = f"{why}; it was beyond the limit for {waited:.0f} s; the declared maximum delay is {declared.longest_delay:.0f} s"
        return self.missing("trip", "V", why, expected=declared.trip, limits=limits, failed=failed)

    def _beyond(self, attempt: Attempt, limit: float, sign: float) -> float:
        """For how many s the pack's voltage was beyond a limit for certain, up to the end of an attempt; ``sign`` 1: above."""
        typed = self.recording.read(Observed.LOADED_VOLTAGE, attempt.began, attempt.at)
        meter = self.recording.of(METER_VOLTAGE).between(attempt.began, attempt.at)
        channel = METER_VOLTAGE if len(meter) else VOLTAGE_OF[self.declared.path]
        series = meter if len(meter) else self.recording.of(channel).between(attempt.began, attempt.at)
        unsure = self._unsure(channel, limit, attempt)
        if typed:
            series = Series(np.array([each.t for each in typed]), np.array([each.value for each in typed]))
        inside = series.t[sign * (series.value - limit) <= unsure]
        beyond = series.t[series.t > inside[-1]] if len(inside) else series.t
        return float(attempt.at - beyond[0]) if len(beyond) else 0.0

    def _unsure(self, channel: str, level: float, attempt: Attempt) -> float:
        """V by which the pack's own voltage may differ at most from what ``channel`` shows about a level in an attempt."""
        unsure = self.declared.accuracy.get(channel, Accuracy()).within(level)
        for path, its_channel in VOLTAGE_OF.items():
            if channel == its_channel:  # what the leads lose is not missing at the pack
                current = self.recording.of(CURRENT_OF[path]).between(attempt.began, attempt.at)
                unsure += self._longest_leads(path) * (float(np.max(current.value)) if len(current) else 0.0)
        return unsure

    def _longest_leads(self, path: str) -> float:
        known = self.declared.leads.get(path)
        return UNKNOWN_LEADS[1] if known is None else known[0] + 2 * known[1]

    def _voltage_before(self, edge: Edge, attempt: Attempt) -> tuple[Series, float, bool]:
        """(readings, current in A, whether the leads are in them): the pack's own voltmeter if there is one."""
        meter = self.recording.of(METER_VOLTAGE)
        if len(meter.between(edge.instant - WINDOW, edge.last)) >= 5:
            self._channel = METER_VOLTAGE
            return meter, edge.level, False
        self._channel = VOLTAGE_OF[self.declared.path]
        return self.recording.of(self._channel), edge.level, True

    def _age(self) -> tuple[float, float]:
        """(mean, standard uncertainty) in s of how old the voltage readings are: declared, or equally likely up to UNKNOWN_AGE."""
        channel = self._channel if self._channel == METER_VOLTAGE else self.declared.path
        window = self.declared.averaging.get(channel)
        if window is not None and window.declared:
            return window.lag, 0.0
        return UNKNOWN_AGE / 2, UNKNOWN_AGE / 12.0**0.5

    def _accuracy(self, series: Series) -> Accuracy:
        return self.declared.accuracy.get(self._channel, Accuracy())

    def _lead_drop(self, leads: bool, current: float, caveats: list[str]) -> Quantity:
        """What has to be added to an instrument's voltage to have the pack's: I·R on a discharge, −I·R on a charge."""
        if not leads:
            return 0.0
        path = self.declared.path
        sign = 1.0 if path == DISCHARGE else -1.0
        resistance, said = lead_resistance(self.inputs, self.declared.leads.get(path))
        caveats.append(said)
        return sign * current * resistance

    # ---- release ---------------------------------------------------------------------------------------------

    def release(self) -> Finding:
        return self._release_by_tries() if self.declared.path == CHARGE else self._release_by_return()

    def _release_by_return(self) -> Finding:
        """Under-voltage: the voltage of the terminals when they carried voltage again."""
        declared, limits = self.declared, self.declared.release_limits
        returned = self.ended("recover", Outcome.RETURNED)
        if not returned:
            return self._did_not_release("recover", limits)
        at = returned[-1].at - (declared.reaction[0] if returned[-1].by_hand else 0.0)
        channel = terminals(self.recording)
        series = self.recording.of(channel)
        rise = find_change(series, at) or Change(at - gap_before(series, at), at)
        bend = _after_the_return(series, rise)
        if bend is None:
            why = "the voltage was read too rarely after the return"
            return self.missing("release", "V", why, expected=declared.release, limits=limits)
        gap = 4 * declared.reaction[1] if returned[-1].by_hand else rise.gap
        delay, u_delay, distribution = declared.delay_in_looks
        lag, u_lag = lag_of_filter(declared)
        behind = delay + declared.polling / 2 + gap / 2 + lag
        value, u_fit, slope = bend.at(-behind)
        bent = abs(bend.at(0.0)[0] - value - slope * behind)  # by how much the way back is not a straight line
        add = self.inputs.add
        theta = (
            add(BudgetSource.VOLTAGE_AFTER, value, u_fit, "normal", bend.dof)
            + add(BudgetSource.VOLTAGE_SHAPE, 0.0, bend.wander, "normal", bend.dof)
            + add(BudgetSource.RETURN_INSTANT, 0.0, abs(slope) * gap / 12.0**0.5, "rectangular")
            + add(BudgetSource.TRIP_DELAY, 0.0, abs(slope) * u_delay, distribution)
            + add(BudgetSource.POLLING, 0.0, abs(slope) * declared.polling / 12.0**0.5, "rectangular")
            + add(BudgetSource.PACK_FILTER, 0.0, abs(slope) * u_lag, "rectangular")
            - late(declared, self.inputs)
            # the bend of the parabola may be wrong by as much as it is, and a relaxation is steeper at first than it says
            + add(BudgetSource.RELAXATION, 0.0, max(bent, STEEPER * abs(slope) * behind) / 3.0**0.5, "rectangular")
            + reading_error(self.inputs, declared.accuracy.get(channel, Accuracy()), value, "voltmeter")
        )
        about = tuple(each for each in (declared.about_delay,) if each)
        return self.measured("release", "V", theta, expected=declared.release, limits=limits, caveats=about)

    def _release_by_tries(self) -> Finding:
        """Over-voltage: between the last look at which the pack took no charge and the first at which it did."""
        declared, limits = self.declared, self.declared.release_limits
        returned = self.ended("try", Outcome.RETURNED)
        if not returned:
            return self._did_not_release("try", limits)
        looks = returned[-1].levels
        channel = METER_VOLTAGE if len(self.recording.of(METER_VOLTAGE)) else VOLTAGE_OF[CHARGE]
        series = self.recording.of(channel)
        if len(looks) < 3:
            where = f", at {looks[0].value:.2f} V" if looks else ""
            why = f"the pack accepted charge at the first try{where}: it had released earlier"
            return self.missing("release", "V", why, expected=declared.release, limits=limits)
        vain, last = looks[-2].since, looks[-1].since
        behind = declared.delay_in_looks[0] + declared.polling / 2
        closed = lowest_held(series.between(returned[-1].began + BEFORE_EDGE, vain), behind)
        taken = lowest_held(series.between(vain, last), behind)
        if not np.isfinite(closed + taken):
            why = "too few voltage readings between tries"
            return self.missing("release", "V", why, expected=declared.release, limits=limits)
        theta = (
            self.inputs.add(BudgetSource.LOOKS, (closed + taken) / 2, abs(closed - taken) / 12.0**0.5, "rectangular")
            + late(declared, self.inputs)
            + reading_error(self.inputs, declared.accuracy.get(channel, Accuracy()), taken, "voltmeter")
        )
        return self.measured(
            "release",
            "V",
            theta,
            expected=declared.release,
            limits=limits,
            caveats=(f"no charge accepted at {closed:.3f} V; accepted at {taken:.3f} V",),
        )

    def _did_not_release(self, kind: str, limits: Limits | None) -> Finding:
        declared = self.declared
        given_up = self.ended(kind, Outcome.GAVE_UP)
        if not given_up or declared.release is None:
            return self.missing("release", "V", self.reason(kind), expected=declared.release, limits=limits)
        why = given_up[0].why
        if declared.latching:
            why = f"{why}; declared as latching"
            return self.missing("release", "V", why, expected=declared.release, limits=limits)
        failed, said = self._came_down(given_up[0]) if kind == "try" else self._should_have(given_up[0])
        return self.missing("release", "V", said, expected=declared.release, limits=limits, failed=failed)

    def _came_down(self, attempt: Attempt) -> tuple[bool, str]:
        """Whether the voltage was low enough for a release that did not come: for certain, and for longer than a pack needs."""
        limits, channel = self.declared.release_limits, terminals(self.recording)
        part = self.recording.of(channel).between(attempt.began + BEFORE_EDGE, attempt.at)
        if limits is None or limits[0] is None or not len(part):
            return False, attempt.why
        held = lowest_held(part, self.declared.longest_delay)
        failed = held + self._unsure(channel, limits[0], attempt) < limits[0]
        return failed, f"{attempt.why}; lowest voltage {float(part.value.min()):.2f} V"

    def _should_have(self, attempt: Attempt) -> tuple[bool, str]:
        """Whether a pack that did not come back should have: only what it shows of its lowest cell can say that."""
        put_in = [
            each.began for each in self.attempts if each.kind in ("wake", "charge", "try") and each.began >= attempt.at
        ]
        shown = self.recording.read(Observed.LOWEST_CELL_VOLTAGE, attempt.at, min(put_in, default=np.inf))
        limits = self.declared.release_limits
        if not shown or limits is None or limits[1] is None:
            return False, f"{attempt.why}; it could not be checked whether the cells reached the release"
        stack = shown[0].value * self.declared.cells
        if stack - DISPLAYED_WITHIN * self.declared.cells > limits[1]:
            return True, f"{attempt.why}, cells at {shown[0].value:.3f} V or more, pack at least {stack:.2f} V"
        if stack > limits[1]:
            return (
                False,
                f"{attempt.why}; lowest cell {shown[0].value:.3f} V on the display, too close to the release to decide",
            )
        return False, f"{attempt.why}; lowest cell {shown[0].value:.3f} V, below the release"

    # ---- recovery and waking ---------------------------------------------------------------------------------

    def recovery_time(self) -> Finding:
        given_up = self.ended("recover", Outcome.GAVE_UP)
        if given_up and not self.ended("recover", Outcome.RETURNED):
            failed, why = self._should_have(given_up[0])
            return self.missing("recovery time", "s", why, failed=failed and not self.declared.latching)
        return recovery_time(self, "recover", "drain")

    def wake_charge(self) -> Finding | None:
        """What it took to wake the pack; nothing if it came back by itself."""
        woken = self.ended("wake", Outcome.RETURNED)
        if not woken:
            before_anybody_looked = any(each.by_hand for each in self.ended("recover", Outcome.NOT_SEEN))
            if self.ended("recover", Outcome.RETURNED) or before_anybody_looked:
                return None
            return self.missing("wake charge", "A·s", self.reason("wake"))
        return Throughput(self.recording, self.declared).put_in("wake charge", woken)


def recovery_time(maker: Evaluator, kind: str, before: str) -> Finding:
    """From the trip's instant to the return: between the last reading without and the first with, to either side."""
    returned, stopped = maker.ended(kind, Outcome.RETURNED), maker.ended(before, Outcome.STOPPED)
    declared = maker.declared
    stopped = [each for each in stopped if returned and each.at <= returned[-1].at]
    if not returned or not stopped:
        given_up = maker.ended(kind, Outcome.GAVE_UP)
        waited = max((each.at - each.began for each in given_up), default=0.0)
        failed = waited >= LEAST_WAIT and not declared.latching
        why = given_up[0].why if given_up else maker.reason(kind)
        if given_up and not failed and not declared.latching:
            why = f"{why}; too short to conclude that it does not recover"
        return maker.missing("recovery time", "s", why, failed=failed)
    attempt = returned[-1]
    for begin, end in maker.recording.breaks:
        if stopped[-1].at <= end and begin <= attempt.at:
            return maker.missing("recovery time", "s", "the run was interrupted between cut-off and recovery")
    if stopped[-1].by_hand:
        return recovery_by_hand(maker, stopped[-1], attempt)
    begin = stopped[-1].levels[0].since if stopped[-1].levels else stopped[-1].began
    edge = maker.edge(stopped[-1], begin=begin)
    if edge is None:
        return maker.missing("recovery time", "s", maker.reason(before))
    of = maker.recording.of
    half, meter = 3.0**0.5 * edge.uncertainty, maker.meter
    # a fall that was read inside may be the meter's window or a path that opens slowly: unless it is known, its beginning counts
    current = Change(edge.instant - half, edge.instant + half) if meter.declared else Change(edge.last, edge.first)
    # what a voltage did before, such as the return that a jump of the current follows at once, is nothing to this opening
    voltages = [of(channel).between(begin, math.inf) for channel in (METER_VOLTAGE, VOLTAGE_OF[declared.path])]
    gone = opened(current, voltages)
    if kind == "try":
        back = Change(_seen_by_tries(maker, attempt, edge.instant), attempt.at)
    else:
        back = came_back(of(terminals(maker.recording)), of(VOLTAGE_OF[declared.path]), attempt.at)
    add = maker.inputs.add
    quantity = (
        add(BudgetSource.READINGS, back.middle, back.gap / 12.0**0.5, "rectangular")
        - add(BudgetSource.TRIP_INSTANT, gone.middle, gone.gap / 12.0**0.5, "rectangular")
        + add(BudgetSource.STAMPS, 0.0, LATE_STAMPS * (2.0 / 12.0) ** 0.5)
    )
    return maker.measured("recovery time", "s", quantity)


def _seen_by_tries(maker: Evaluator, attempt: Attempt, tripped: float) -> float:
    """The last time at which the path was seen to be still open: the end of a vain look, or a reading without current."""
    looks = attempt.levels
    vain = looks[-2].since if len(looks) > 1 else tripped
    if not looks:
        return vain
    current = maker.recording.of(CURRENT_OF[maker.declared.path])
    before = current.between(looks[-1].since + RISE_TIME, attempt.at - 1e-6)
    came = current.between(attempt.at - 1e-6, attempt.at + 10.0)
    without = before.t[before.value <= NO_CHARGE * float(came.value.max(initial=0.0))]
    return float(without[-1]) if len(without) else vain


def _after_the_return(series: Series, rise: Change) -> Bend | None:
    """The parabola through the readings after a return: through fewer of them while what it leaves is not noise alone."""
    level, window = after_rise(series, rise, rise.first + AFTER), AFTER
    begin = float(level.t[0]) if len(level) else rise.first
    bend = fit_bend(level, rise.first, begin, rise.first + window, 0.0)
    while bend is not None and bend.wander**2 > NO_PARABOLA * bend.scatter**2:
        window *= SHRINK
        if len(level.between(begin, rise.first + window)) < FEWEST_AFTER:
            break
        bend = fit_bend(level, rise.first, begin, rise.first + window, 0.0)
    return bend
