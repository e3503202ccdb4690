"""Charge and energy through the pack: trapezoids over uneven samples, gaps never bridged silently.

Q = ∫I dt and E = ∫U·I dt between the load's coming on and the instant at which the pack opened the path. Gain and offset
of the meters are systematic: they do not average out over any number of samples. What lies in a gap without readings is
unknown between nothing and what would have flowed; it is counted half, with that uncertainty, and named.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from runner.events import CHARGE, CURRENT_OF, DISCHARGE, METER_VOLTAGE, VOLTAGE_OF
from runner.measure.budget import Inputs, Quantity
from runner.measure.finding import Evaluator, Finding, Limits
from runner.measure.recording import Accuracy, Attempt, Series
from runner.vocabulary import BudgetSource, Observed, Outcome

LONGEST_GAP = 15.0  # s without a reading that the line between two samples may span
TOO_MUCH = 0.02  # of the charge: if more than this is in gaps, nothing is claimed
BESIDE = 0.003  # of the charge: more than the offset of a meter at rest, and it flowed outside of what was counted
FLOWING = ("stage", "try", "wake")  # steps that put charge in or take it out, beside charge and drain
FULL = (Outcome.FULL, Outcome.STOPPED)  # how a charge ends that leaves a full pack


@dataclass(frozen=True)
class Integral:
    """∫ over the samples; ``missing`` the like over gaps, had it gone on there; both in units of the integrand times s."""

    value: float
    missing: float
    gaps: int
    duration: float


def integrate(series: Series, begin: float, end: float) -> Integral:
    """Trapezoids from ``begin`` to ``end`` (s); the first and last reading are held to the ends."""
    part = series.between(begin, end)
    if len(part) == 0:
        return Integral(0.0, 0.0, 0, end - begin)
    t = np.concatenate([[begin], part.t, [end]])
    y = np.concatenate([part.value[:1], part.value, part.value[-1:]])
    steps, areas = np.diff(t), np.diff(t) * (y[:-1] + y[1:]) / 2
    gap = steps > LONGEST_GAP
    return Integral(float(areas[~gap].sum()), float(areas[gap].sum()), int(gap.sum()), end - begin)


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
        current = self.recording.of(CURRENT_OF[CHARGE])
        parts = [integrate(current, attempt.began, attempt.at) for attempt in attempts]
        accuracy = self.declared.accuracy.get(CURRENT_OF[CHARGE], Accuracy())
        caveats: list[str] = []
        quantity = _sum(self.inputs, parts, accuracy, Accuracy(), caveats, 0.0)
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
        current = self.recording.of(CURRENT_OF[DISCHARGE])
        edge = self.edge(drains[-1])
        end = drains[-1].at if edge is None else edge.instant
        integrand, of_voltage, caveats = self._power(current) if energy else (current, Accuracy(), [])
        parts = [integrate(integrand, each.began, end if each is drains[-1] else each.at) for each in drains]
        total = sum(part.value for part in parts)
        if sum(part.missing for part in parts) > TOO_MUCH * max(total, 1e-9):
            what = f"{sum(part.gaps for part in parts)} gaps without readings are too long to know the charge"
            return self.missing(name, unit, what, expected=rated, limits=limits)
        at_the_end = (
            0.0 if edge is None else edge.uncertainty * abs(float(integrand.value[-1] if len(integrand) else 0.0))
        )
        accuracy = self.declared.accuracy.get(CURRENT_OF[DISCHARGE], Accuracy())
        mean_voltage = (
            total / max(sum(integrate(current, p.began, p.at).value for p in drains), 1e-9) if energy else 1.0
        )
        scaled = Accuracy(accuracy.gain, accuracy.offset * mean_voltage, 0.0)
        quantity = _sum(self.inputs, parts, scaled, of_voltage, caveats, at_the_end)
        if energy:  # the integrand is U·I: an offset of the voltage counts with the charge
            error = of_voltage.offset * total / max(mean_voltage, 1e-9) / 3.0**0.5
            quantity = quantity + self.inputs.add(BudgetSource.OFFSET.of("voltmeter"), 0.0, error, "rectangular")
        hours = sum(part.duration for part in parts) / 3600
        caveats.append(f"from full to the pack's cut-off in {hours:.2f} h, {self._conditions(current, drains)}")
        caveats += self._broken(drains)
        verdict = _three_ways(float(quantity.x), rated, minimum)
        return self.measured(name, unit, quantity, expected=rated, limits=limits, caveats=tuple(caveats), fit=verdict)

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
        before, after = (self.recording.read(each, drains[0].began, drains[-1].at + 3600.0) for each in (first, last))
        if self.declared.counter is None or not before or not after:
            why = "no counter was read before and after the discharge"
            return self.missing(name, unit, why, expected=rated, limits=limits)
        accuracy = self.declared.counter[1 if energy else 0]
        value = after[-1].value - before[0].value
        digits = 2**0.5 * max(accuracy.resolution, 1e-9) / 12.0**0.5
        quantity = self.inputs.add(BudgetSource.COUNTER_DIGITS, value, digits, "rectangular") + self.inputs.add(
            BudgetSource.GAIN.of("counter"), 0.0, accuracy.gain * abs(value) / 3.0**0.5, "rectangular"
        )
        hours = sum(each.at - each.began for each in drains) / 3600
        caveats = (
            "read by hand off the totals of a counter",
            f"from full to the pack's cut-off in about {hours:.2f} h",
        )
        verdict = _three_ways(value, rated, minimum)
        return self.measured(name, unit, quantity, expected=rated, limits=limits, caveats=caveats, fit=verdict)

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
        taken = sum(integrate(self.recording.of(CURRENT_OF[DISCHARGE]), a.began, a.at).value for a in drains)
        for path, how in ((CHARGE, "charged"), (DISCHARGE, "discharged")):
            current = self.recording.of(CURRENT_OF[path])
            beside = sum(integrate(current, begin, end).value for begin, end in outside)
            if taken and beside > BESIDE * taken:
                return f"the pack was also {how} by {beside / 3600:.2g} Ah between the full charge and the cut-off"
        return ""

    def _broken(self, drains: Sequence[Attempt]) -> list[str]:
        inside = [(a, b) for a, b in self.recording.breaks if drains[0].began < b and a < drains[-1].at]
        return [f"interrupted for {(b - a) / 60:.0f} min and continued; the pack was at rest" for a, b in inside]

    def _power(self, current: Series) -> tuple[Series, Accuracy, list[str]]:
        """U·I at the readings of the current; the voltage between its own readings by straight lines."""
        meter = self.recording.of(METER_VOLTAGE)
        channel = METER_VOLTAGE if len(meter) > 1 else VOLTAGE_OF[DISCHARGE]
        voltage = self.recording.of(channel)
        if len(voltage) < 2 or len(current) < 2:
            return Series(current.t, current.value * 0.0), Accuracy(), ["no voltage was read"]
        caveats: list[str] = []
        volts = np.interp(current.t, voltage.t, voltage.value)
        if channel != METER_VOLTAGE:
            known = self.declared.leads.get(DISCHARGE)
            volts = volts + current.value * (known[0] if known else 0.0)
            caveats.append(
                "voltage at the load"
                + (", corrected for the leads" if known else "; losses in the leads are not included")
            )
        return Series(current.t, volts * current.value), self.declared.accuracy.get(channel, Accuracy()), caveats

    def _conditions(self, current: Series, drains: Sequence[Attempt]) -> str:
        part = current.between(drains[0].began + 5.0, drains[-1].at - 1.0)
        rate = f"at {float(np.median(part.value)):.3g} A" if len(part) else "at an unknown rate"
        temperature = self.recording.of("probe_temperature_degC").between(drains[0].began, drains[-1].at)
        where = f"{float(np.mean(temperature.value)):.1f} °C" if len(temperature) else "no temperature read"
        return f"{rate}, {where}"


def _sum(
    inputs: Inputs,
    parts: Sequence[Integral],
    of_current: Accuracy,
    of_voltage: Accuracy,
    caveats: list[str],
    at_the_end: float,
) -> Quantity:
    """The parts together, with what is systematic in them. ``of_current.offset`` is in the unit of the integrand."""
    value = sum(part.value for part in parts)
    duration = sum(part.duration for part in parts)
    missing = sum(part.missing for part in parts)
    quantity = (
        inputs.add(BudgetSource.CHARGE_COUNTED, value, at_the_end, "rectangular")
        + inputs.add(BudgetSource.GAIN.of("current"), 0.0, of_current.gain * abs(value) / 3.0**0.5, "rectangular")
        + inputs.add(BudgetSource.OFFSET.of("current"), 0.0, of_current.offset * duration / 3.0**0.5, "rectangular")
        + inputs.add(BudgetSource.GAIN.of("voltmeter"), 0.0, of_voltage.gain * abs(value) / 3.0**0.5, "rectangular")
    )
    if missing:
        gaps = sum(part.gaps for part in parts)
        quantity = quantity + inputs.add(BudgetSource.GAPS, missing / 2, abs(missing) / 12.0**0.5, "rectangular")
        caveats.append(f"gaps without readings: {gaps}; counted half, remainder as uncertainty")
    return quantity


def _three_ways(value: float, rated: float | None, minimum: float | None) -> str:
    """Against the rated and the declared minimum: three outcomes, not two."""
    if rated is None:
        return ""
    if value >= rated:
        return "reaches the rated value"
    if minimum is not None and value >= minimum:
        return "reaches the declared minimum, not the rated value"
    return "stays below the declared minimum" if minimum is not None else "stays below the rated value"
