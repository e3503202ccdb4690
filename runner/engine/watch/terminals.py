"""The voltmeter on the pack's own terminals: whether the pack is still at the end of the leads. Times in s, voltages in V.

Rule 1: it is polled more slowly than the current and may show the mean of a second: only a reading well after a fall says what
        the terminals are at since.
Rule 2: when a path opens, the terminals go where the supply goes; when a lead comes off, they stay where they stood. Nearer to
        which of the two they are is the evidence, for two instruments agree within a hundredth and no better, on any pack.
"""

from __future__ import annotations

from runner.engine.watch.contradiction import LEAD_VOLTAGE, VOLTAGE_RATIO
from runner.engine.watch.end_of_charge import Voltages

WAIT = 3.5  # s that a fall may wait for a reading, and at slow polling for the next one; after that a reading is old
SLOW_POLLS = 1.5  # times the interval at which it is polled
SETTLES = 1.2  # s after a fall: a voltmeter may show the mean of a second
# of the voltage, between where the terminals stood and the supply's set voltage: less cannot be told by two instruments
TOLD_RATIO = 0.015


class Terminals:
    """What the voltmeter has read. ``wait`` is how long a fall may wait for a reading, in s."""

    def __init__(self) -> None:
        self.wait = WAIT
        self.stood: float | None = None  # before the last stop
        self.forget()

    def forget(self) -> None:
        """What was before says nothing of what comes."""
        self._last: tuple[float, float] | None = None
        self._flowing = Voltages()

    def paced(self, interval: float) -> None:
        """It is polled every ``interval`` seconds from now on."""
        self.wait = max(WAIT, SLOW_POLLS * interval + SETTLES)

    def take(self, t: float, voltage: float | None, *, flows: bool) -> None:
        """A reading, if it is one; ``flows``: while the current flowed."""
        if voltage is None:
            return
        self._last = (t, voltage)
        if flows:
            self._flowing.add(t, voltage)

    def stopped(self, t: float) -> None:
        """The current stopped at ``t``."""
        self.stood = self._flowing.stood(t)

    def fresh(self, t: float) -> float | None:
        """What it read last, if that is not long ago."""
        return self._last[1] if self._last is not None and t - self._last[0] < self.wait else None

    def settled(self, since: float) -> float | None:
        """What it has read long enough after ``since`` to show no mean of before and after."""
        return self._last[1] if self._last is not None and self._last[0] >= since + SETTLES else None

    def awaited(self, since: float, waited: float) -> bool:
        """Whether its word on what has been since ``since`` is still to come."""
        return self._last is not None and self.settled(since) is None and waited < self.wait


def lead_is_off(voltage: float, terminal: float, stood: float | None) -> bool:
    """Whether the pack is no longer at the leads of a supply that feeds nothing.

    ``voltage`` is the supply's, ``terminal`` the pack's own; ``stood``: where that was while the current flowed.
    """
    least = max(LEAD_VOLTAGE, VOLTAGE_RATIO * max(voltage, terminal))
    if stood is not None and voltage - stood > TOLD_RATIO * voltage:
        return terminal - voltage > 2 * least or voltage - terminal > (voltage - stood) / 2
    return abs(voltage - terminal) > least
