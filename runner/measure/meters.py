"""Meter comparison: simultaneous readings at several currents, split into an offset and a resistance.

U_instrument − U_meter = a ∓ R·I by least squares over the levels: ``a`` is what the two voltmeters differ by with no
current, ``R`` what lies between them, the leads and their clamps.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from runner.events import CURRENT_OF, METER_VOLTAGE, VOLTAGE_OF
from runner.measure.budget import Quantity, chi_square_limit
from runner.measure.finding import Evaluator, Finding
from runner.measure.recording import Accuracy, Attempt, Series
from runner.vocabulary import BudgetSource

SETTLING = 2.0  # s of a level that are left out
DITHER = (
    0.5  # of the resolution: readings that vary by so much average to between the steps (common practice, no source)
)
TOO_RESISTIVE = (
    0.050  # Ω: leads and clamps on a bench for tens of amperes should have less (common practice, no source)
)


@dataclass(frozen=True)
class MeterPair:
    """The two voltmeters at one level: the mean current in A, the one on the terminals and their difference in V."""

    current: float
    terminal: float
    difference: Quantity


class Meters(Evaluator):
    """Lead resistance, and the difference of the voltmeters."""

    def findings(self) -> dict[str, Callable[[], Finding]]:
        """By name, how each is worked out."""
        return {"leads": self.leads, "meters": self.meters}

    def leads(self) -> Finding:
        found = self._line()
        if isinstance(found, str):
            return self.missing("leads", "Ω", found)
        _, slope, path = found
        resistance = -slope if path == "discharge" else slope
        caveats = [f"resistance of both leads and clamps together, {_NAMES[path]} to pack terminals"]
        if float(resistance.x) > TOO_RESISTIVE:
            caveats.append(f"more than {TOO_RESISTIVE * 1e3:.0f} mΩ: check for a thin lead or a loose clamp")
        return self.measured("leads", "Ω", resistance, caveats=tuple(caveats))

    def meters(self) -> Finding:
        found = self._line()
        if isinstance(found, str):
            return self.missing("meters", "V", found)
        offset, _, path = found
        theirs = {f"{_NAMES[path]}'s voltmeter": VOLTAGE_OF[path], "terminal voltmeter": METER_VOLTAGE}
        accuracy = {name: self.declared.accuracy.get(channel, Accuracy()) for name, channel in theirs.items()}
        unknown = [name for name, each in accuracy.items() if not (each.gain or each.offset)]
        what = f"reading of the {' minus the '.join(theirs)}"
        if unknown:
            caveats = (f"{what}; no limits: the bench file declares no accuracy of the {' and of the '.join(unknown)}",)
            return self.measured("meters", "V", offset, expected=0.0, caveats=caveats)
        level = float(np.median(self.recording.of(METER_VOLTAGE).value))
        # to a microvolt, so that it can be printed as it is
        limit = round(sum(each.gain * level + each.offset for each in accuracy.values()), 6)
        caveats = (f"{what}; limits: both specified accuracies added",)
        return self.measured("meters", "V", offset, expected=0.0, limits=(-limit, limit), caveats=caveats)

    def _line(self) -> tuple[Quantity, Quantity, str] | str:
        """(offset in V, slope in Ω, path), or why not."""
        done = [a for a in self.attempts if a.kind == "stage" and a.levels]
        if not done:
            return self.reason("stage")
        if not len(self.recording.of(METER_VOLTAGE)):
            return "there is no voltmeter on the pack's terminals to compare with"
        path = (
            "discharge"
            if len(self.recording.of(CURRENT_OF["discharge"]).between(done[0].began, done[-1].at))
            else "charge"
        )
        pairs = [pair for attempt in done for pair in self._pairs(attempt, path)]
        if len(pairs) < 3 or len({round(pair.current, 1) for pair in pairs}) < 2:
            return "too few currents were compared"
        offset, slope = self._least_squares(pairs)
        return offset, slope + self._gains(pairs, float(slope.x), path), path

    def _pairs(self, attempt: Attempt, path: str) -> list[MeterPair]:
        ends = [level.since if level.asked is None else level.asked for level in attempt.levels[1:]] + [attempt.at]
        found = []
        for level, end in zip(attempt.levels, ends, strict=True):
            begin, end = level.since + SETTLING, end - 1e-6  # a reading at the end belongs to the next level
            current, there, here = (
                self.recording.of(channel).between(begin, end)
                for channel in (CURRENT_OF[path], VOLTAGE_OF[path], METER_VOLTAGE)
            )
            both = _side_by_side(there, here) if len(there) > 2 and len(current) else ([], [])
            if len(both[0]) < 3:
                continue
            instrument, meter = self.inputs.together(BudgetSource.METER_READINGS, both)
            stuck = self._stuck(both[0], VOLTAGE_OF[path]) + self._stuck(both[1], METER_VOLTAGE)
            found.append(MeterPair(float(current.value.mean()), float(meter.x), instrument - meter + stuck))
        return found

    def _stuck(self, values: Sequence[float], channel: str) -> Quantity:
        """What a display hides: its resolution, unless the readings vary enough for their mean to see between its steps."""
        resolution = self.declared.accuracy.get(channel, Accuracy()).resolution
        hidden = resolution / 12.0**0.5 if float(np.std(values)) < DITHER * resolution else 0.0
        return self.inputs.add(BudgetSource.RESOLUTION.of("voltmeters"), 0.0, hidden, "rectangular")

    def _least_squares(self, pairs: Sequence[MeterPair]) -> tuple[Quantity, Quantity]:
        currents = np.array([pair.current for pair in pairs])
        values = np.array([float(pair.difference.x) for pair in pairs])
        design = np.column_stack([np.ones_like(currents), currents])
        solve = np.linalg.pinv(design)
        freedom = max(len(pairs) - 2, 1)
        squares = (values - design @ (solve @ values)) ** 2
        known = np.array([float(pair.difference.u) ** 2 for pair in pairs])
        mine = [pair.difference for pair in pairs]
        if float((squares / np.maximum(known, 1e-18)).sum()) / freedom > chi_square_limit(
            freedom
        ):  # else they explain it
            more = float(max(squares.sum() / freedom - known.mean(), 0.0)) ** 0.5
            mine = [each + self.inputs.add(BudgetSource.SCATTER, 0.0, more, "normal", freedom) for each in mine]
        offset = sum(float(w) * quantity for w, quantity in zip(solve[0], mine, strict=True))
        slope = sum(float(w) * quantity for w, quantity in zip(solve[1], mine, strict=True))
        return offset, slope

    def _gains(self, pairs: Sequence[MeterPair], slope: float, path: str) -> Quantity:
        """What the meters' gains, unknown within their limits, do to the resistance.

        The voltmeters' show as far as the voltage that each reads moves with the current; the current's does in proportion.
        """
        moves = float(np.polyfit([pair.current for pair in pairs], [pair.terminal for pair in pairs], 1)[0])
        gains = {channel: each.gain / 3.0**0.5 for channel, each in self.declared.accuracy.items()}
        add, volts, amperes = (
            self.inputs.add,
            BudgetSource.GAIN.of("voltmeters"),
            BudgetSource.GAIN.of("current reading"),
        )
        return (
            add(volts, 0.0, gains.get(METER_VOLTAGE, 0.0) * abs(moves), "rectangular")
            + add(volts, 0.0, gains.get(VOLTAGE_OF[path], 0.0) * abs(moves + slope), "rectangular")
            + add(amperes, 0.0, gains.get(CURRENT_OF[path], 0.0) * abs(slope), "rectangular")
        )


def _side_by_side(one: Series, other: Series) -> tuple[list[float], list[float]]:
    """Readings of both, two or more, that were taken next to each other, none twice: an interpolation would hide noise."""
    after = np.searchsorted(one.t, other.t).clip(1, len(one) - 1)
    nearest = np.where(other.t - one.t[after - 1] < one.t[after] - other.t, after - 1, after)
    _, first = np.unique(nearest, return_index=True)
    return one.value[nearest[first]].tolist(), other.value[first].tolist()


_NAMES = {"charge": "supply", "discharge": "load"}
