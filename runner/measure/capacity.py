"""Charge and energy through the pack, with what is not known between the readings, beneath their digits and along the leads.

Q = ∫I dt and E = ∫U·I dt between the load's coming on and the pack's opening the path, U at the pack's own terminals: read there,
or at the load's with R·I of the leads added, R·∫I² dt in all. Gain and offset of the meters, the digits of a display that stands
still and the leads are the same all the time: they do not average out over any number of samples. What lies in a gap without
readings is unknown between nothing and what would have flowed; it is counted half, with that uncertainty, and named.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

import numpy as np

from runner.events import CHARGE, CURRENT_OF, DISCHARGE, METER_VOLTAGE, VOLTAGE_OF
from runner.measure.budget import Quantity
from runner.measure.by_hand import charge_by_hand
from runner.measure.finding import Evaluator, Finding, Limits
from runner.measure.fits.integral import LEVELS, Flow, changes, count, hidden, integrate, largest_first, noise
from runner.measure.fits.power import Along, along, most_leads, under_load
from runner.measure.readings import lead_resistance
from runner.measure.recording import Accuracy, Array, Attempt, Series, Typed
from runner.notation.quantity import minus
from runner.vocabulary import BudgetSource, Observed, Outcome, Role

TOO_MUCH = 0.02  # of the charge: if more than this is in gaps, nothing is claimed
BESIDE = 0.003  # of the charge: more than the offset of a meter at rest, and it flowed outside of what was counted
STAYS_ON = 3.0  # s that a load may stay on after the last that was heard of a run: a poll and the guard's patience
FRESH = 0.5  # s by which a reading may be older than its stamp says, or its stamp late, from one to the next (bench instruments
# renew their readings every 20 ms to 0.5 s: common practice, no source)
APART = (
    1.0  # s by which the stamps of two instruments may be apart: means of up to a second (common practice, no source)
)
VOLTAGES = (METER_VOLTAGE, VOLTAGE_OF[DISCHARGE])  # of a discharge, the pack's own voltmeter first
_READING = {
    CURRENT_OF[CHARGE]: "the supply's current",
    CURRENT_OF[DISCHARGE]: "the load's current",
    METER_VOLTAGE: "the voltmeter",
    VOLTAGE_OF[DISCHARGE]: "the load's voltage",
}
FLOWING = ("stage", "try", "wake")  # steps that put charge in or take it out, beside charge and drain
FULL = (Outcome.FULL, Outcome.STOPPED)  # how a charge ends that leaves a full pack


@dataclass(frozen=True)
class Counted:
    """What was counted of something: ``y`` at the readings of each part's current, in the unit of the result per s.

    ``of_offset`` is what 1 A of offset of the current makes in all. ``per_amp`` turns A of each reading into ``y``.
    """

    flows: Sequence[Flow]
    y: Sequence[Array]
    per_amp: Sequence[Array]

    @property
    def value(self) -> float:
        """In the unit of the result."""
        return sum(float(flow.weight @ y) for flow, y in zip(self.flows, self.y, strict=True))

    @property
    def of_offset(self) -> float:
        """What 1 A more in every reading would add."""
        return sum(float(flow.weight @ per) for flow, per in zip(self.flows, self.per_amp, strict=True))


class Throughput(Evaluator):
    """Capacity, energy, and the charge put in."""

    def findings(self) -> dict[str, Callable[[], Finding]]:
        """By name, how each is worked out."""
        return {
            "capacity": lambda: self._taken_out("capacity", "A·s", self.declared.capacity, energy=False),
            "energy": lambda: self._taken_out("energy", "J", self.declared.energy, energy=True),
            "charge_put_in": lambda: self.put_in("charge put in", self._charges()),
        }

    def put_in(self, name: str, attempts: Sequence[Attempt]) -> Finding:
        """The charge that the supply put in over some attempts, in A·s."""
        if not attempts:
            return self.missing(name, "A·s", self.reason("charge"))
        if attempts[-1].by_hand:
            return charge_by_hand(self, name, attempts)
        flows = self._flows(CHARGE, attempts)
        if isinstance(flows, str):
            return self.missing(name, "A·s", flows)
        caveats: list[str] = []
        quantity = self._of_current(_charge(flows), CHARGE, caveats)
        return self.measured(name, "A·s", quantity, caveats=tuple(caveats))

    def _charges(self) -> list[Attempt]:
        """The charges that ended full, with the parts of them before a break; none if none did."""
        charges = [attempt for attempt in self.attempts if attempt.kind == "charge"]
        ended = [attempt for attempt in charges if attempt.outcome in FULL]
        return [attempt for attempt in charges if attempt.outcome in (*FULL, Outcome.BROKEN_OFF)] if ended else []

    def _taken_out(self, name: str, unit: str, declared: tuple[float | None, float | None], *, energy: bool) -> Finding:
        rated, minimum = declared
        least = minimum if minimum is not None else rated
        limits: Limits | None = None if least is None else (least, None)
        why = self._not_whole()
        if why:
            return self.missing(name, unit, why, expected=rated, limits=limits)
        drains = self._drains()
        if drains[-1].by_hand:
            return self._counted(name, unit, drains, rated, minimum, energy=energy)
        flows = self._flows(DISCHARGE, drains)
        voltage = self._voltage(flows) if energy and not isinstance(flows, str) else None
        if isinstance(flows, str) or isinstance(voltage, str):
            why = flows if isinstance(flows, str) else str(voltage)
            return self.missing(name, unit, why, expected=rated, limits=limits)
        caveats: list[str] = []
        counted = _charge(flows) if voltage is None else _energy(flows, voltage[1])
        quantity = self._of_current(counted, DISCHARGE, caveats)
        if voltage is not None:
            quantity = quantity + self._of_voltage(counted, *voltage, caveats)
        hours = sum(flow.t[-1] - flow.t[0] for flow in flows) / 3600
        caveats.append(f"from full to the pack's cut-off in {hours:.2f} h, {self._conditions(drains)}")
        caveats += self._broken(drains)
        verdict = _three_ways(float(quantity.x), rated, minimum)
        return self.measured(name, unit, quantity, expected=rated, limits=limits, caveats=tuple(caveats), fit=verdict)

    # ---- the parts of a budget -------------------------------------------------------------------------------

    def _of_current(self, counted: Counted, path: str, caveats: list[str]) -> Quantity:
        """What was counted, with all that is not known of the current and of the time."""
        accuracy, add = self._accuracy(CURRENT_OF[path], caveats), self.inputs.add
        flows, ys = counted.flows, counted.y
        value = counted.value
        random = sum(noise(y) ** 2 * float((flow.weight**2).sum()) for flow, y in zip(flows, ys, strict=True)) ** 0.5
        largest, others = largest_first(
            np.concatenate([changes(flow.t, y) for flow, y in zip(flows, ys, strict=True)]), 2 * len(flows)
        )
        quantity = (
            add(BudgetSource.CHARGE_COUNTED, value, random, "normal")
            + add(BudgetSource.GAIN.of("current"), 0.0, accuracy.gain * abs(value) / 3.0**0.5, "rectangular")
            + add(BudgetSource.OFFSET.of("current"), 0.0, accuracy.offset * counted.of_offset / 3.0**0.5, "rectangular")
            + add(BudgetSource.READINGS, 0.0, others, "normal")
        )
        for part in largest:
            quantity = quantity + add(BudgetSource.READINGS, 0.0, part, "rectangular")
        shown = np.concatenate([flow.current for flow in flows])
        weight = np.concatenate([flow.weight * per for flow, per in zip(flows, counted.per_amp, strict=True)])
        quantity = quantity + self._digits("current", shown, weight, accuracy.resolution)
        for flow, y in zip(flows, ys, strict=True):
            for edge in (float(y[flow.inside[0]]), float(y[flow.inside[-1]])):
                quantity = quantity + add(BudgetSource.STAMPS, 0.0, edge * FRESH / 12.0**0.5, "rectangular")
        return quantity + self._gaps(counted, caveats)

    def _gaps(self, counted: Counted, caveats: list[str]) -> Quantity:
        """What may have flowed where nothing was read: in gaps, and after the last that was heard of a part that broke off."""
        pairs = list(zip(counted.flows, counted.y, strict=True))
        missing = sum(flow.missing(y) for flow, y in pairs)
        wander = sum(flow.wander(y) ** 2 for flow, y in pairs) ** 0.5
        # it flowed on in all gaps, or in none: one cause is as good as another, and each end has to be held
        quantity = self.inputs.add(BudgetSource.GAPS, 0.0, missing / 2, "two values")
        quantity = quantity + self.inputs.add(BudgetSource.GAPS, 0.0, wander, "normal")
        if missing:
            gaps = sum(flow.gaps for flow in counted.flows)
            caveats.append(f"gaps without readings: {gaps}; counted half, remainder as uncertainty")
        for flow, y in pairs:
            most = float(y[flow.inside[-1]]) * flow.beyond
            quantity = quantity + self.inputs.add(BudgetSource.GAPS, most / 2, most / 12.0**0.5, "rectangular")
        return quantity

    def _of_voltage(self, counted: Counted, channel: str, voltage: Along, caveats: list[str]) -> Quantity:
        """What is not known of an energy's voltage, with what is lost in leads between the voltmeter and the pack."""
        accuracy, add = self._accuracy(channel, caveats), self.inputs.add
        charge = sum(flow.charge for flow in counted.flows)
        quantity = (
            add(BudgetSource.GAIN.of("voltmeter"), 0.0, accuracy.gain * counted.value / 3.0**0.5, "rectangular")
            + add(BudgetSource.OFFSET.of("voltmeter"), 0.0, accuracy.offset * charge / 3.0**0.5, "rectangular")
            + self._digits("voltmeter", voltage.shown, voltage.charge, accuracy.resolution)
            + add(BudgetSource.READINGS, 0.0, float((voltage.changes**2).sum() ** 0.5), "normal")
            + add(BudgetSource.STAMPS, 0.0, voltage.per_second * APART / 3.0**0.5, "rectangular")
        )
        if channel == METER_VOLTAGE:
            return quantity
        most = most_leads(self.recording.of(channel), counted.flows[0], accuracy.resolution)
        resistance, said = lead_resistance(self.inputs, self.declared.leads.get(DISCHARGE), most)
        caveats.append(f"voltage at the load; {said}")
        squares = sum(float(flow.weight @ flow.current**2) for flow in counted.flows)
        return quantity + squares * resistance

    def _digits(self, name: str, shown: Array, weight: Array, resolution: float) -> Quantity:
        """What the digits of a display hide of a weighted sum of its readings."""
        largest, others = largest_first(list(hidden(shown, weight, resolution)), LEVELS)
        source = BudgetSource.RESOLUTION.of(name)
        quantity = self.inputs.add(source, 0.0, others, "normal")
        for part in largest:
            quantity = quantity + self.inputs.add(source, 0.0, part, "rectangular")
        return quantity

    def _accuracy(self, channel: str, caveats: list[str]) -> Accuracy:
        accuracy = self.declared.accuracy.get(channel, Accuracy())
        if not (accuracy.gain or accuracy.offset):
            caveats.append(f"no accuracy is declared for {_READING[channel]}: the uncertainty does not include it")
        return accuracy

    def _counted(
        self,
        name: str,
        unit: str,
        drains: Sequence[Attempt],
        rated: float | None,
        minimum: float | None,
        *,
        energy: bool,
    ) -> Finding:
        """From the totals that a person read off a counter, before and after."""
        least = minimum if minimum is not None else rated
        limits: Limits | None = None if least is None else (least, None)
        first, last = (
            (Observed.ENERGY_BEFORE, Observed.ENERGY_AFTER)
            if energy
            else (Observed.CHARGE_BEFORE, Observed.CHARGE_AFTER)
        )
        before, after = self._totals(drains, first, last)
        if self.declared.counter is None or not before or not after:
            why = "no counter was read before and after the discharge"
            return self.missing(name, unit, why, expected=rated, limits=limits)
        accuracy = self.declared.counter[1 if energy else 0]
        value = after[-1].value - before[0].value
        add, digits = self.inputs.add, max(accuracy.resolution, 1e-9) / 12.0**0.5
        quantity = (
            add(BudgetSource.COUNTER_DIGITS.of("after"), after[-1].value, digits, "rectangular")
            - add(BudgetSource.COUNTER_DIGITS.of("before"), before[0].value, digits, "rectangular")
            + add(BudgetSource.GAIN.of("counter"), 0.0, accuracy.gain * abs(value) / 3.0**0.5, "rectangular")
        )
        seconds = sum(each.at - each.began for each in drains)
        caveats = ["read by hand off the totals of a counter"]
        if energy:
            quantity = quantity + self._before_the_counter(drains, seconds, caveats)
        caveats.append(f"from full to the pack's cut-off in about {seconds / 3600:.2f} h")
        verdict = _three_ways(float(quantity.x), rated, minimum)
        return self.measured(name, unit, quantity, expected=rated, limits=limits, caveats=tuple(caveats), fit=verdict)

    def _before_the_counter(self, drains: Sequence[Attempt], seconds: float, caveats: list[str]) -> Quantity:
        """J lost in the leads between the pack's terminals and a counter, R·Q²/t for a current that stays about the same."""
        before, after = self._totals(drains, Observed.CHARGE_BEFORE, Observed.CHARGE_AFTER)
        if not before or not after or seconds <= 0:
            caveats.append("losses in the leads are not included")
            return 0.0
        resistance, said = lead_resistance(self.inputs, self.declared.leads.get(Role.COUNTER))
        caveats.append(f"voltage at the counter; {said}")
        return (after[-1].value - before[0].value) ** 2 / seconds * resistance

    def _totals(self, drains: Sequence[Attempt], *which: Observed) -> list[list[Typed]]:
        """The totals that a person read off a counter before and after, up to an hour later."""
        return [self.recording.read(each, drains[0].began, drains[-1].at + 3600.0) for each in which]

    # ---- what is whole ---------------------------------------------------------------------------------------

    def _from_full(self) -> tuple[Attempt, list[Attempt]] | None:
        """The last full charge that a cut-off followed, and the discharge to it with the parts of it before a break."""
        whole: tuple[Attempt, list[Attempt]] | None = None
        full, drains = None, list[Attempt]()
        for attempt in self.attempts:
            if attempt.kind == "charge":
                full, drains = attempt if attempt.outcome in FULL else None, []
            elif attempt.kind == "drain":
                drains.append(attempt)
                if attempt.outcome == Outcome.STOPPED and full is not None:
                    whole, full = (full, drains), None
        return whole

    def _drains(self) -> list[Attempt]:
        """The discharge to the cut-off; ``_not_whole`` has said that there is one."""
        whole = self._from_full()
        return whole[1] if whole is not None else []

    def _not_whole(self) -> str:
        if not self.ended("drain", Outcome.STOPPED):
            given_up = self.ended("drain", Outcome.GAVE_UP)
            return f"there is no cut-off: {given_up[0].why}" if given_up else self.reason("drain")
        whole = self._from_full()
        if whole is None:
            return "the discharge did not start from full, so no capacity was measured"
        return self._flowed_beside(*whole)

    def _flowed_beside(self, full: Attempt, drains: Sequence[Attempt]) -> str:
        """Why it says nothing although it began full: something was put in or taken out between full and the discharge's end."""
        between = [each for each in self.attempts if full.at < each.at < drains[-1].at and each.kind in FLOWING]
        if between:
            return f"{between[0].kind} interrupted the discharge between full charge and cut-off; the capacity is incomplete"
        outside = list(pairwise([full.at, *(t for each in drains for t in (each.began, each.at))]))[::2]
        taken = sum(integrate(self.recording.of(CURRENT_OF[DISCHARGE]), a.began, a.at) for a in drains)
        for path, how in ((CHARGE, "charged"), (DISCHARGE, "discharged")):
            current, accuracy = self.recording.of(CURRENT_OF[path]), self.declared.accuracy.get(CURRENT_OF[path])
            rest = accuracy.offset + accuracy.resolution if accuracy else 0.0
            beside = sum(integrate(current, begin, end, rest) for begin, end in outside)
            if taken > 0 and beside > BESIDE * taken:
                return f"the pack was also {how} by {beside / 3600:.2g} Ah between the full charge and the cut-off"
        return ""

    def _broken(self, drains: Sequence[Attempt]) -> list[str]:
        inside = [(a, b) for a, b in self.recording.breaks if drains[0].began < b and a < drains[-1].at]
        return [f"interrupted for {(b - a) / 60:.0f} min and continued; the pack was at rest" for a, b in inside]

    def _flows(self, path: str, attempts: Sequence[Attempt]) -> list[Flow] | str:
        """The parts of a charge or discharge as they were read, or why not."""
        series, accuracy = self.recording.of(CURRENT_OF[path]), self.declared.accuracy.get(CURRENT_OF[path], Accuracy())
        rest = accuracy.offset + accuracy.resolution
        flows = []
        for attempt in attempts:
            opens = attempt.outcome in (Outcome.STOPPED, Outcome.RETURNED)
            end = attempt.at if opens or attempt.concluded is None else max(attempt.at, attempt.concluded)
            beyond = STAYS_ON if attempt.outcome == Outcome.BROKEN_OFF else 0.0
            part = partial(count, series, attempt.began, end, opens=opens, beyond=beyond, rest=rest)
            flow = part()
            if flow is not None and flow.gaps and path == DISCHARGE:
                flow = part(seen=np.sort(np.concatenate([self._under_load(channel, flow) for channel in VOLTAGES])))
            if flow is not None:
                flows.append(flow)
            elif attempt is attempts[-1]:  # one that broke off before anything flowed is none
                return self._no_current(series.between(attempt.began, end), path, rest)
        total = sum(flow.charge for flow in flows)
        if sum(flow.missing(flow.current) + flow.unseen_ends for flow in flows) > TOO_MUCH * total:
            return f"{sum(flow.long_gaps for flow in flows)} gaps without readings are too long to know the charge"
        return flows

    def _under_load(self, channel: str, flow: Flow) -> Array:
        voltage = self.recording.of(channel).between(flow.t[0] - 1.0, flow.t[-1])
        return under_load(voltage, flow, self.declared.accuracy.get(channel, Accuracy()).resolution)

    def _no_current(self, part: Series, path: str, rest: float) -> str:
        if not len(part):
            return f"{_READING[CURRENT_OF[path]]} was not read"
        lowest = float(part.value.min())
        if lowest < -rest:
            return f"{_READING[CURRENT_OF[path]]} reads negative ({minus(f'{lowest:.3g}')} A): check its direction and its sign"
        return f"{_READING[CURRENT_OF[path]]} shows no more than its offset"

    def _voltage(self, flows: Sequence[Flow]) -> tuple[str, Along] | str:
        """The channel that has the voltage all along, the pack's own voltmeter before the load's, or why there is none."""
        for channel in VOLTAGES:
            found = along(self.recording.of(channel), flows)
            if found is not None:
                return channel, found
        if any(len(self.recording.of(channel)) for channel in VOLTAGES):
            return "the voltage was not read all along the discharge"
        return "no voltage was read"

    def _conditions(self, drains: Sequence[Attempt]) -> str:
        part = self.recording.of(CURRENT_OF[DISCHARGE]).between(drains[0].began + 5.0, drains[-1].at - 1.0)
        rate = f"at {float(np.median(part.value)):.3g} A" if len(part) else "at an unknown rate"
        temperature = self.recording.of("probe_temperature_degC").between(drains[0].began, drains[-1].at)
        where = f"{float(np.mean(temperature.value)):.1f} °C" if len(temperature) else "no temperature read"
        return f"{rate}, {where}"


def _charge(flows: Sequence[Flow]) -> Counted:
    return Counted(flows, [flow.current for flow in flows], [np.ones_like(flow.current) for flow in flows])


def _energy(flows: Sequence[Flow], voltage: Along) -> Counted:
    return Counted(
        flows, [volts * flow.current for flow, volts in zip(flows, voltage.volts, strict=True)], voltage.volts
    )


def _three_ways(value: float, rated: float | None, minimum: float | None) -> str:
    """Against the rated and the declared minimum: three outcomes, not two."""
    if rated is None:
        return ""
    if value >= rated:
        return "reaches the rated value"
    if minimum is not None and value >= minimum:
        return "reaches the declared minimum, not the rated value"
    return "stays below the declared minimum" if minimum is not None else "stays below the rated value"
