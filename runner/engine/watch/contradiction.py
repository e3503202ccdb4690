"""Readings that cannot all be true: a current without a voltage, out of something that is off, or frozen to the last digit."""

from __future__ import annotations

import math
from dataclasses import replace

from runner.events import CHARGE, CURRENT_OF, VOLTAGE_OF, Sampled
from runner.vocabulary import Role

CONFIRM, CONFIRM_TIME = 3, 1.2  # samples in a row, and s: a reading may be the mean of a second
MEANWHILE = 8  # samples in a row: longer than a voltmeter is behind
MEANWHILE_TIME = 3.0  # s: a voltmeter may show the mean of a second, and be asked once a second
VOLTAGE_RATIO = 0.01  # of the set voltage: an open path leaves the supply this close to it
LEAD_VOLTAGE = 0.25  # V between supply and the pack's terminals with no current: a lead is off
NO_VOLTAGE_RATIO = 0.25  # of the set voltage: less than this is no voltage of a pack that takes current
JUMP_RATIO = 0.02  # of the set voltage: the supply stood so far below it before it jumped there
FROZEN_TIME = 5.0  # s after the jump in which the current has to move, if only by a digit
AT_SET_CURRENT = 0.97  # of the set current: less in constant voltage is what a taper looks like
SOURCE = {CHARGE: Role.SUPPLY.value, "discharge": Role.LOAD.value}


class Contradictions:
    """Looks at each sample while current flows; ``begin`` forgets what was before a path was switched on."""

    def __init__(self) -> None:
        self.begin(0.0)

    def begin(self, t: float) -> None:
        """A path is switched on at ``t``."""
        self._began = t
        self._impossible = self._above = 0
        self._impossible_since = self._above_since = 0.0
        self._jumped: tuple[float, float] | None = (
            None  # when the supply came to its set voltage at once; the current then
        )
        self._before_jump = 0.0

    def found(
        self, sample: Sampled, path: str, points: tuple[float, float], smallest: float, terminal: float | None
    ) -> str:
        """What cannot all be true for CONFIRM samples in a row, or nothing. ``points`` are set voltage (V) and current (A)."""
        current, voltage = sample.readings[CURRENT_OF[path]], sample.readings.get(VOLTAGE_OF[path])
        why = ""
        if current >= smallest and sample.output is False:
            why = f"the {SOURCE[path]} reads back as off, but {current:.3g} A is flowing"
        elif path == CHARGE and voltage is not None and current >= smallest:
            stands = voltage if terminal is None else terminal
            if self._lies_above(sample.t, stands, voltage):
                why = (
                    f"pack terminals {stands:.2f} V, but the supply that charges the pack reads {voltage:.2f} V and "
                    f"{current:.3g} A; these readings contradict each other, so check the meters and leads"
                )
            elif voltage < NO_VOLTAGE_RATIO * points[0]:
                why = f"the supply reads {voltage:.3g} V while {current:.3g} A is flowing into the pack"
            elif frozen := self._frozen(sample, voltage, current, points):
                return frozen
        self._impossible_since = self._impossible_since if self._impossible else sample.t
        self._impossible = self._impossible + 1 if why else 0
        sure = self._impossible >= CONFIRM and sample.t - self._impossible_since >= CONFIRM_TIME
        return why if sure else ""

    def _lies_above(self, t: float, terminal: float, voltage: float) -> bool:
        """Whether the pack has stood above the supply that charges it for longer than a voltmeter is behind."""
        if terminal - voltage <= max(LEAD_VOLTAGE, VOLTAGE_RATIO * terminal):
            self._above = 0
            return False
        self._above_since = self._above_since if self._above else t
        self._above += 1
        return self._above >= MEANWHILE and t - self._above_since >= MEANWHILE_TIME

    def _frozen(self, sample: Sampled, voltage: float, current: float, points: tuple[float, float]) -> str:
        """Whether the current has stood still to the last digit since the supply jumped to its set voltage or began there.

        One that begins near it, and says that it regulates the current, holds it still: nothing has changed that could show.
        """
        t, begins = sample.t, sample.mode == "CC" and sample.t - self._began < FROZEN_TIME
        at_set = voltage >= points[0] * (1 - VOLTAGE_RATIO) and current >= AT_SET_CURRENT * points[1]
        if not at_set or (self._jumped is not None and current != self._jumped[1]):
            self._jumped = None
        elif self._jumped is None and self._before_jump < points[0] * (1 - JUMP_RATIO) and not begins:
            self._jumped = (t, current)
        self._before_jump = voltage
        if self._jumped is None or t - self._jumped[0] < FROZEN_TIME:
            return ""
        return (
            f"the current reading has been exactly {current:.6g} A for {FROZEN_TIME:g} s although the supply is at its set voltage "
            f"of {points[0]:.4g} V; check the supply's readings"
        )


def finite(sample: Sampled) -> Sampled:
    """The same; what is no number in it is lost."""
    bad = {channel: "not a number" for channel, value in sample.readings.items() if not math.isfinite(value)}
    if not bad:
        return sample
    readings = {channel: value for channel, value in sample.readings.items() if channel not in bad}
    return replace(sample, readings=readings, lost={**sample.lost, **bad})
