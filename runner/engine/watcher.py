"""The current watcher: tells a protection that opened the path from everything else that makes a current fall.

Rule 1: a reading that did not arrive is never a current of zero.
Rule 2: one sample proves nothing. A change has to stand for CONFIRM samples in a row; a lone one is a *dropout*.
Rule 3: a trip is a fall from a level that was there, to nothing, within a sample or two, while the instrument is on and
        does what it was told: a supply stands at its set voltage, a load finds no voltage to draw from; and the pack is
        still at the end of the leads. Anything less has another name.
Rule 4: a current that falls because the supply is in constant voltage is *tapering*; under the end current it is *full*.
        From there a stop can no longer be told from the end of charge, and the watcher says so.
Rule 5: a cell that is full makes its own protection stop the charge, as suddenly as a hot sensor does. What gives it away
        is the voltage: near its set point, or climbing, before the stop. Then it is *full*, not *stopped*; unless the
        cell's over-voltage is what is being tested: then a sudden stop out of constant current is *stopped*, and only a
        taper is *full*.

Rule 6: readings that cannot all be true are evidence of nothing: *unclear*, with the two that contradict each other. A current
        that stands still to the last digit while the supply has jumped to its set voltage is one, a current that flows out of
        something that reads back as off another.

"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from statistics import linear_regression, median

from runner.events import CHARGE, CURRENT_OF, DISCHARGE, METER_VOLTAGE, VOLTAGE_OF, Sampled
from runner.vocabulary import WatchWord

CONFIRM = 3  # samples in a row
LOST_AFTER = 2.0  # s without a valid reading of the current
LEVEL_SAMPLES = 15  # how many samples make the level before a fall
OFF_RATIO = 0.05  # of the level before: less than this is no current
BACK_RATIO = 0.5  # of the level before: more than this has come back
STEADY_RATIO = 0.03  # of the set current: the band in which a constant current is steady
TAPER_RATIO = 0.97  # of the set current: less than this in constant voltage is a taper
TAPER_TIME = 5.0  # s for which it has to be so
FULL_RATIO = 0.10  # of the set current: the end of a taper
VOLTAGE_RATIO = 0.01  # of the set voltage: an open path leaves the supply this close to it
WAIT_FOR_METER = 3.0  # s that a fall may wait for the next reading of the pack's own voltmeter
CLIMB_WINDOW = 40.0  # s over which the supply's voltage is watched for climbing
RELAXING = 90.0  # s after switching on in which every cell's voltage climbs by itself
# of the set voltage per second: slower than any end of charge. At the procedures' tenth of the capacity an hour no part of
# the plateau climbs so fast; at half the capacity an hour the reference cell does, near 25 % and 67 %: then a trip there is
# called full, which claims too little and never too much
CLIMB_RATIO = 7e-4 / 60
NEAR_FULL_RATIO = 0.95  # of the set voltage: above this a stop may be the end of charge
MEANWHILE = 8  # samples in a row: longer than a load takes to draw again, and than a voltmeter is behind
LEAD_VOLTAGE = 0.25  # V between supply and the pack's terminals with no current: a lead is off
NO_VOLTAGE_RATIO = 0.25  # of the set voltage: less than this is no voltage of a pack that takes current
JUMP_RATIO = 0.02  # of the set voltage: the supply stood so far below it before it jumped there
FROZEN_TIME = 5.0  # s after the jump in which the current has to move, if only by a digit
COLLAPSE_RATIO = 0.5  # of the voltage before: a load that finds less has lost its source


@dataclass(frozen=True)
class Verdict:
    """A word and the evidence for it. ``since`` is the time of the first sample that showed it."""

    word: str
    why: str
    since: float


class Watcher:
    """Fed with samples one by one; ``verdict`` is what it thinks now.

    ``smallest`` is the least current of each path, in A, that its reading can tell from none (offset and resolution);
    ``patience`` stretches the time after which readings count as lost. ``empty_at`` is the voltage under load, in V, at which the
    pack's under-voltage may open the path of a discharge that looks for something else; 0 for none.
    """

    def __init__(self, smallest: dict[str, float], patience: float = 1.0, empty_at: float = 0.0) -> None:
        self._smallest = smallest
        self._empty_at = empty_at
        self._patience = patience
        self._lost_after = LOST_AFTER * patience
        self._before_lost = ""
        self.verdict = Verdict(WatchWord.IDLE, "the output is off", 0.0)
        self.path = CHARGE
        self._set: tuple[float, float] | None = None
        self._over_voltage_wanted = False
        self._levels: deque[float] = deque(maxlen=LEVEL_SAMPLES)
        self._level = 0.0
        self._low: list[Sampled] = []
        self._back: list[Sampled] = []
        self._last_valid = self._on_since = self._stood = 0.0
        self._odd = self._impossible = self._above = 0
        self._jumped: tuple[float, float] | None = (
            None  # when the supply came to its set voltage at once, and the current then
        )
        self._before_jump = 0.0
        self._taper_since: float | None = None
        self._voltages: deque[tuple[float, float]] = deque()
        self._terminal: tuple[float, float] | None = None  # when and what the pack's own voltmeter read last

    @property
    def level(self) -> float:
        """The current, in A, before the last fall, or now if there was none."""
        return self._level

    @property
    def smallest(self) -> float:
        """The least current, in A, that the path's reading can tell from none."""
        return self._smallest.get(self.path, 0.05)

    def paced(self, interval: float) -> None:
        """The current is polled every ``interval`` seconds from now on: so many missing readings in a row are a loss."""
        self._lost_after = max(LOST_AFTER * self._patience, CONFIRM * interval)

    def expect(self, path: str, voltage: float, current: float, t: float, *, over_voltage_wanted: bool = False) -> None:
        """A path is switched on now with these set points (V, A; a load has no voltage to set)."""
        self.path = path
        self._set = (voltage, current)
        self._over_voltage_wanted = over_voltage_wanted
        self._levels.clear()
        self._low.clear()
        self._back.clear()
        self._voltages.clear()
        self._level, self._taper_since, self._last_valid = 0.0, None, t
        self._terminal, self._on_since = None, t
        self._impossible, self._above, self._jumped, self._before_jump = 0, 0, None, 0.0
        self.verdict = Verdict(WatchWord.SETTLING, f"the {path} has just been switched on", t)

    def reset_level(self, voltage: float, current: float) -> None:
        """The set points change while the path is on; the level before a fall is what flowed until now."""
        self._set = (voltage, current)
        if self.path == CHARGE:
            self._voltages.clear()  # the voltage moves with the current now; that is no end of charge

    def forget(self, t: float) -> None:
        """Everything goes off now; what follows is no change of the pack's."""
        self._set = None
        self.verdict = Verdict(WatchWord.IDLE, "the output is off", t)

    def take(self, sample: Sampled) -> list[Verdict]:
        """The verdicts that this sample changes, oldest first; the last of them stands."""
        if self._set is None:
            return []
        channel = CURRENT_OF[self.path]
        if METER_VOLTAGE in sample.readings:
            self._terminal = (sample.t, sample.readings[METER_VOLTAGE])
        if channel not in sample.readings:
            return self._missing(sample, channel) if channel in sample.lost else []
        self._last_valid = sample.t
        if self.verdict.word == WatchWord.LOST:
            self._found_again(sample)
        if self.verdict.word in (WatchWord.STOPPED, WatchWord.OPEN_LEAD, WatchWord.LIMITED):
            return self._while_stopped(sample)
        if why := self._contradiction(sample):
            return self._say(WatchWord.UNCLEAR, why, sample.t)
        return self._while_flowing(sample)

    def _contradiction(self, sample: Sampled) -> str:
        """Readings that cannot all be true, for CONFIRM samples in a row, or nothing."""
        assert self._set is not None
        current, voltage = sample.readings[CURRENT_OF[self.path]], sample.readings.get(VOLTAGE_OF[self.path])
        why = ""
        if current >= self.smallest and sample.output is False:
            why = f"the {_SOURCE[self.path]} reads back as off, but {current:.3g} A is flowing"
        elif self.path == CHARGE and voltage is not None and current >= self.smallest:
            fresh = self._terminal is not None and sample.t - self._terminal[0] < WAIT_FOR_METER
            terminal = self._terminal[1] if self._terminal is not None and fresh else voltage
            above = terminal - voltage > max(LEAD_VOLTAGE, VOLTAGE_RATIO * terminal)
            self._above = self._above + 1 if above else 0  # a voltmeter is behind for a moment when a current begins
            if voltage < NO_VOLTAGE_RATIO * self._set[0]:
                why = f"the supply reads {voltage:.3g} V while {current:.3g} A is flowing into the pack"
            elif self._above >= MEANWHILE:
                why = (
                    f"pack terminals {terminal:.2f} V, but the supply that charges the pack reads {voltage:.2f} V and "
                    f"{current:.3g} A; these readings contradict each other, so check the meters and leads"
                )
            elif frozen := self._frozen(sample.t, voltage, current):
                return frozen
        self._impossible = self._impossible + 1 if why else 0
        return why if self._impossible >= CONFIRM else ""

    def _frozen(self, t: float, voltage: float, current: float) -> str:
        """Whether the current has stood still to the last digit since the supply jumped to its set voltage, or was there at once.

        Only a current that is the set one: less in constant voltage is what a taper looks like.
        """
        assert self._set is not None
        at_set = voltage >= self._set[0] * (1 - VOLTAGE_RATIO) and current >= TAPER_RATIO * self._set[1]
        if not at_set or (self._jumped is not None and current != self._jumped[1]):
            self._jumped = None
        elif self._jumped is None and self._before_jump < self._set[0] * (1 - JUMP_RATIO):
            self._jumped = (t, current)
        self._before_jump = voltage
        if self._jumped is None or t - self._jumped[0] < FROZEN_TIME:
            return ""
        return (
            f"the current reading has been exactly {current:.6g} A for {FROZEN_TIME:g} s although the supply is at its set voltage "
            f"of {self._set[0]:.4g} V; check the supply's readings"
        )

    def _found_again(self, sample: Sampled) -> None:
        """Readings have come back: what had stopped before is still stopped, until current flows."""
        stopped = self._before_lost in (WatchWord.STOPPED, WatchWord.OPEN_LEAD, WatchWord.LIMITED)
        self.verdict = Verdict(
            self._before_lost if stopped else WatchWord.SETTLING, "readings have come back", sample.t
        )
        self._levels.clear()
        self._low.clear()
        if self._level:
            self._levels.append(self._level)

    # ---- the three situations --------------------------------------------------------------------------------

    def _missing(self, sample: Sampled, channel: str) -> list[Verdict]:
        quiet = sample.t - self._last_valid
        if quiet < self._lost_after or self.verdict.word == WatchWord.LOST:
            return []
        self._before_lost = self.verdict.word
        return self._say(
            WatchWord.LOST, f"no current reading for {quiet:.1f} s ({sample.lost[channel]})", self._last_valid
        )

    def _while_flowing(self, sample: Sampled) -> list[Verdict]:
        current = sample.readings[CURRENT_OF[self.path]]
        if self._levels and current < max(OFF_RATIO * self._before(), self.smallest):
            self._low.append(sample)
            return self._fallen() if len(self._low) >= CONFIRM else []
        found: list[Verdict] = []
        if self._low:
            found.append(
                Verdict(
                    WatchWord.DROPOUT,
                    f"samples without current: {len(self._low)}; then {current:.3g} A again",
                    self._low[0].t,
                )
            )
            self._low.clear()
        if current < self.smallest:
            return found  # nothing flows yet: no level that could fall
        self._levels.append(current)
        self._level = self._before()
        if VOLTAGE_OF[self.path] in sample.readings:
            self._voltages.append((sample.t, sample.readings[VOLTAGE_OF[self.path]]))
            while self._voltages[0][0] < sample.t - CLIMB_WINDOW:
                self._voltages.popleft()
        return found + self._regulation(sample, current)

    def _while_stopped(self, sample: Sampled) -> list[Verdict]:
        current = sample.readings[CURRENT_OF[self.path]]
        if sample.output is False and self.verdict.word != WatchWord.LIMITED:
            return self._say(WatchWord.LIMITED, f"the {_SOURCE[self.path]} switched off by itself", sample.t)
        if current <= max(BACK_RATIO * self._level, self.smallest):
            self._back.clear()
            return self._spoiled_meanwhile(sample) if self.verdict.word == WatchWord.STOPPED else []
        self._back.append(sample)
        if len(self._back) < CONFIRM:
            return []
        first = self._back[0].t
        self._back = []
        self._voltages.clear()
        self._levels.clear()
        self._levels.append(current)
        self._taper_since = None
        return self._say(WatchWord.RETURNED, f"{current:.3g} A is flowing again", first)

    def _spoiled_meanwhile(self, sample: Sampled) -> list[Verdict]:
        """Since the pack has stopped the current: would its coming back still be seen?"""
        voltage = sample.readings.get(VOLTAGE_OF[self.path])
        fresh = self._terminal is not None and sample.t - self._terminal[0] < WAIT_FOR_METER
        terminal = self._terminal[1] if self._terminal is not None and fresh else None
        if voltage is None:
            return []
        why = ""
        if self.path == CHARGE:
            word = WatchWord.OPEN_LEAD
            if terminal is not None and abs(voltage - terminal) > LEAD_VOLTAGE:
                why = f"a lead is off (supply {voltage:.2f} V, pack terminals {terminal:.2f} V)"
        elif voltage > COLLAPSE_RATIO * self._stood:
            word, why = (
                WatchWord.LIMITED,
                f"the load sees {voltage:.2f} V again but draws no current: it stopped by itself",
            )
        elif terminal is not None and terminal > COLLAPSE_RATIO * self._stood:
            word = WatchWord.OPEN_LEAD
            why = f"a lead is off (load {voltage:.2f} V, pack terminals {terminal:.2f} V)"
        self._odd = self._odd + 1 if why else 0
        return self._say(word, why, sample.t) if self._odd >= MEANWHILE else []

    def _fallen(self) -> list[Verdict]:
        """CONFIRM samples without current: what was it?"""
        first, last = self._low[0], self._low[-1]
        if self._terminal is not None and self._terminal[0] < first.t and last.t - first.t < WAIT_FOR_METER:
            return []  # the voltmeter is polled more slowly; its word is worth the wait
        before = self._level = self._before()
        self._stood = median(v for _, v in self._voltages) if self._voltages else self._stood
        self._low, self._odd = [], 0
        if last.output is False:
            source = _SOURCE[self.path]
            return self._say(
                WatchWord.LIMITED, f"the {source} switched off by itself (its own protection, or a person)", first.t
            )
        terminal = self._terminal[1] if self._terminal is not None and self._terminal[0] >= first.t else None
        if self.path == CHARGE:
            return self._charge_fallen(first, last, terminal, before)
        return self._discharge_fallen(first, last, terminal, before)

    def _charge_fallen(self, first: Sampled, last: Sampled, terminal: float | None, before: float) -> list[Verdict]:
        assert self._set is not None
        set_voltage, set_current = self._set
        if self.verdict.word in (WatchWord.TAPERING, WatchWord.FULL) and before < 2 * FULL_RATIO * set_current:
            why = f"the current had tapered to {before:.3g} A; possibly the end of charge"
            return self._say(WatchWord.FULL, why, first.t)
        voltage = last.readings.get(VOLTAGE_OF[CHARGE])
        if voltage is not None and voltage < set_voltage * (1 - VOLTAGE_RATIO):
            why = (
                f"no current, and the supply is at {voltage:.2f} V instead of {set_voltage:.2f} V: it is not regulating"
            )
            return self._say(WatchWord.LIMITED, why, first.t)
        if voltage is not None and terminal is not None and abs(voltage - terminal) > LEAD_VOLTAGE:
            why = f"a lead is off (supply {voltage:.2f} V, pack terminals {terminal:.2f} V)"
            return self._say(WatchWord.OPEN_LEAD, why, first.t)
        end = "" if self._over_voltage_wanted else self._end_of_charge(set_voltage)
        if end:
            return self._say(WatchWord.FULL, end, first.t)
        why = f"current fell from {before:.3g} A to 0 within two samples; the supply is at its set voltage"
        return self._say(WatchWord.STOPPED, why, first.t)

    def _discharge_fallen(self, first: Sampled, last: Sampled, terminal: float | None, before: float) -> list[Verdict]:
        stood = self._stood
        voltage = last.readings.get(VOLTAGE_OF[DISCHARGE])
        if voltage is not None and voltage > COLLAPSE_RATIO * stood:
            why = f"no current, but the load still sees {voltage:.2f} V: it stopped by itself"
            return self._say(WatchWord.LIMITED, why, first.t)
        if voltage is not None and terminal is not None and terminal > COLLAPSE_RATIO * stood:
            why = f"a lead is off (load {voltage:.2f} V, pack terminals {terminal:.2f} V)"
            return self._say(WatchWord.OPEN_LEAD, why, first.t)
        if stood <= self._empty_at:
            why = (
                f"the pack voltage was {stood:.2f} V under load; the under-voltage protection may have opened the path"
            )
            return self._say(WatchWord.UNCLEAR, why, first.t)
        why = f"current fell from {before:.3g} A to 0 within two samples, and the voltage collapsed"
        return self._say(WatchWord.STOPPED, why, first.t)

    def _regulation(self, sample: Sampled, current: float) -> list[Verdict]:
        """Current flows: constant current, taper, or a limit that nobody asked for."""
        assert self._set is not None
        _, set_current = self._set
        if self.path == CHARGE and sample.mode == "CV" and current < TAPER_RATIO * set_current:
            self._taper_since = sample.t if self._taper_since is None else self._taper_since
            if sample.t - self._taper_since < TAPER_TIME:
                return []
            if current < FULL_RATIO * set_current:
                return self._say(WatchWord.FULL, f"tapered to {current:.3g} A", sample.t)
            if self.verdict.word == WatchWord.FULL:
                return []
            return self._say(
                WatchWord.TAPERING,
                f"constant voltage, {current:.3g} A of {set_current:.3g} A and falling",
                sample.t,
            )
        self._taper_since = None
        if abs(current - set_current) <= STEADY_RATIO * set_current + self.smallest:
            return self._say(
                WatchWord.STEADY, f"{current:.3g} A, the {_SOURCE[self.path]} holds its set current", sample.t
            )
        return []

    def _end_of_charge(self, set_voltage: float) -> str:
        """Why a sudden stop may be a full cell and no temperature, or nothing."""
        if len(self._voltages) < 3:
            return ""
        times, volts = [t for t, _ in self._voltages], [v for _, v in self._voltages]
        if median(volts[-5:]) > NEAR_FULL_RATIO * set_voltage:
            return (
                f"the current stopped at {volts[-1]:.2f} V, close to the {set_voltage:.2f} V of a full pack; "
                "possibly the end of charge"
            )
        if times[-1] - times[0] < CLIMB_WINDOW / 2 or times[-1] - self._on_since < RELAXING:
            return ""
        climb = linear_regression(times, volts).slope
        if climb > CLIMB_RATIO * set_voltage:
            return f"the voltage was climbing by {climb * 60e3:.0f} mV/min before the stop; possibly the end of charge"
        return ""

    def _before(self) -> float:
        return median(self._levels)

    def _say(self, word: str, why: str, since: float) -> list[Verdict]:
        if word == self.verdict.word:
            return []
        self.verdict = Verdict(word, why, since)
        return [self.verdict]


_SOURCE = {CHARGE: "supply", DISCHARGE: "load"}
