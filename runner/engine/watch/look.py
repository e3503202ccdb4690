"""Off, wait, on again: what a pack's own voltage does at rest, where a charge has stopped and it may be full or have tripped.

Cells that are full have been driven above their rest and come down for minutes after the current has ended: by a hundred
millivolts a cell and more, where a cell in the middle of its charge comes down by some (common practice, no source). And a pack in
the middle of its charge stands well below the set voltage once the supply no longer holds it there.

Rule 1: the path is off for REST seconds and then on again with the same set points, or a return could not be seen.
Rule 2: it has tripped if the voltage hardly comes down, stands well below the set voltage, and no current flows once it is on
        again. It is full if the voltage comes down far, or stands near the set voltage. Anything else tells nothing.
Rule 3: the pack's own voltmeter says it. Supplies show anything while they are off.
"""

from __future__ import annotations

from runner.events import METER_VOLTAGE, SUPPLY_CURRENT, Event, OutputIsOff, OutputIsOn, Sampled
from runner.vocabulary import Explanation

REST, SETTLED, AGAIN = 60.0, 5.0, 8.0  # s: off; until cables and meters have settled; on again until it is judged
HARDLY, FAR = 0.003, 0.008  # of the set voltage: by which a pack comes down that is not full, and one that is
WELL_BELOW, NEAR = 0.96, 0.985  # of the set voltage
FLOWS = 0.02  # of the set current


class Look:
    """One look. ``over`` once it has told what there is to tell: ``found``, with ``why``.

    ``voltage`` and ``current`` are the set points (V, A), ``smallest`` is the least current in A that can be told from none.
    """

    def __init__(self, voltage: float, current: float, smallest: float) -> None:
        self._voltage, self._least = voltage, max(FLOWS * current, smallest)
        self._off: float | None = None
        self._on: float | None = None
        self._first: float | None = None
        self._last = 0.0
        self._flowing = 0
        self.over, self.found, self.why = False, Explanation.UNKNOWN, ""

    def rested(self, t: float) -> bool:
        """Whether it has been off for long enough, and is not on again."""
        return self._off is not None and self._on is None and t - self._off >= REST

    @property
    def off(self) -> bool:
        """Whether the path has been switched off for it."""
        return self._off is not None

    def happened(self, event: Event) -> None:
        """Something at the bench; a second time off ends it without a word."""
        if isinstance(event, OutputIsOff):
            self.over = self.off
            self._off = event.t if self._off is None else self._off
        elif isinstance(event, OutputIsOn):
            self._on = event.t
        elif isinstance(event, Sampled) and self.off:
            self._take(event)

    def _take(self, sample: Sampled) -> None:
        assert self._off is not None
        if self._on is None:
            volts = sample.readings.get(METER_VOLTAGE)
            if volts is not None and sample.t - self._off >= SETTLED:
                self._first = volts if self._first is None else self._first
                self._last = volts
            return
        flows = sample.readings.get(SUPPLY_CURRENT, 0.0) > self._least
        self._flowing = self._flowing + 1 if flows else 0
        if sample.t - self._on >= AGAIN:
            self.over = True
            self.found = self._judged()

    def _judged(self) -> Explanation:
        if self._first is None:
            return Explanation.UNKNOWN
        fell = (self._first - self._last) / self._voltage
        self.why = f"at rest the pack came down by {1e3 * (self._first - self._last):.0f} mV to {self._last:.2f} V"
        if fell >= FAR or self._last >= NEAR * self._voltage:
            return Explanation.FULL
        if fell <= HARDLY and self._last <= WELL_BELOW * self._voltage and self._flowing < 2:
            return Explanation.TRIPPED
        return Explanation.UNKNOWN
