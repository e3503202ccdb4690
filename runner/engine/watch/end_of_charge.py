"""Whether a sudden stop may be the pack's own end of charge: its voltage was near the set voltage, or climbing, before.

Rule: what the supply reads just before the current is seen to fall is no evidence. A meter that shows the mean of a second has
        begun to see the jump to the set voltage by then.
"""

from __future__ import annotations

import math
from collections import deque
from statistics import linear_regression, median

CLIMB_WINDOW = 40.0  # s over which the supply's voltage is watched for climbing
LEFT_OUT = 1.5  # s before the fall: longer than the mean of any meter here, with its polling
RELAXING = 90.0  # s after switching on in which every cell's voltage climbs by itself
# of the set voltage per second: slower than any end of charge. At the procedures' tenth of the capacity an hour no part of
# the plateau climbs so fast; at half the capacity an hour the reference cell does, near 25 % and 67 %: then a trip there is
# called full, which claims too little and never too much
CLIMB_RATIO = 7e-4 / 60
SURE = 3.0 * 1.48  # standard deviations, of a median deviation
NEAR_FULL_RATIO = 0.95  # of the set voltage: above this a stop may be the end of charge, if the voltage climbs at all
FULL_RATIO = 0.975  # of the set voltage: above this, in any case


class Voltages:
    """The supply's voltage while a current flows: times in s, V."""

    def __init__(self, climb: float = 0.0) -> None:
        """``climb``: V/s for each A that the voltage of this pack may rise anywhere, because its chemistry's curve slopes."""
        self._climb = climb
        self._all: deque[tuple[float, float]] = deque()

    def clear(self) -> None:
        """What was before says nothing of what comes."""
        self._all.clear()

    def add(self, t: float, voltage: float) -> None:
        """A reading while current flowed."""
        self._all.append((t, voltage))
        while self._all[0][0] < t - CLIMB_WINDOW - LEFT_OUT:
            self._all.popleft()

    def stood(self, t: float) -> float | None:
        """V before a fall at ``t``, the first there was if that came at once; None if there was none."""
        before = self._before(t) or list(self._all)[:1]
        return median(v for _, v in before) if before else None

    def jumped(self, t: float, set_voltage: float) -> bool:
        """Whether the voltage was well below the set one until ``t``, when it came there at once: cells that fill come slowly."""
        before = self._before(t)
        return len(before) >= 3 and median(v for _, v in before[-5:]) < NEAR_FULL_RATIO * set_voltage

    def end_of_charge(self, t: float, set_to: tuple[float, float], on_since: float) -> str:
        """Why a stop at ``t`` may be a full cell and no temperature, or nothing; ``set_to`` (V, A)."""
        set_voltage, current = set_to
        usual = max(CLIMB_RATIO * set_voltage, self._climb * current)
        before = self._before(t)
        if len(before) < 3:
            return ""
        times, volts = [at for at, _ in before], [v for _, v in before]
        near, known = median(volts[-5:]), times[-1] - times[0] >= CLIMB_WINDOW / 2
        relaxing = times[-1] - on_since < RELAXING
        climb, start = linear_regression(times, volts) if known else (0.0, 0.0)
        if (
            known and self._climb
        ):  # a slope is known no better than the readings scatter: 12/n of their variance over the span
            scatter = median(abs(v - start - climb * at) for at, v in before)
            usual += SURE * scatter * math.sqrt(12 / len(before)) / (times[-1] - times[0])
        flat = known and climb < usual / 2  # high by its current and its leads: a full cell climbs
        if near > FULL_RATIO * set_voltage or (near > NEAR_FULL_RATIO * set_voltage and not flat and not relaxing):
            return (
                f"the current stopped at {volts[-1]:.2f} V, close to the {set_voltage:.2f} V of a full pack; "
                "possibly the end of charge"
            )
        if relaxing or not known:
            return ""
        if climb > usual:
            return f"the voltage was climbing by {climb * 60e3:.0f} mV/min before the stop; possibly the end of charge"
        return ""

    def _before(self, t: float) -> list[tuple[float, float]]:
        return [(at, v) for at, v in self._all if at < t - LEFT_OUT]
