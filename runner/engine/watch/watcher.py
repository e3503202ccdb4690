"""The current watcher: tells a protection that opened the path from everything else that makes a current fall.

Rule 1: a reading that did not arrive is never a current of zero.
Rule 2: one sample proves nothing. What goes away again at once is a *dropout*, a supply's hiccup or a pause of a pack that chops.
Rule 3: a trip is a fall to nothing, at once or within a few seconds, while the instrument is on and does what it was told: a supply
        stands at its set voltage, a load finds no voltage to draw from; and the pack is still at the end of the leads. Anything
        less has another name. Samples of the fall are no evidence of what was before.
Rule 4: a current that goes down in constant voltage as slowly as cells fill is *tapering*; under the end current it is *full*.
        From there a stop can no longer be told from the end of charge, and the watcher says so.
Rule 5: a cell that is full makes its own protection stop the charge, as suddenly as a hot sensor does. What gives it away
        is the voltage: near its set point, or climbing, before the stop. Then it is *full*, not *stopped*; unless the
        cell's over-voltage is what is being tested: then a sudden stop out of constant current is *stopped*, and only a
        taper is *full*.
Rule 6: readings that cannot all be true are evidence of nothing: *unclear* (contradiction.py).
Rule 7: a current that falls to a lower level and stays, goes down faster than cells fill, or comes in pieces is *limited by the
        pack*, and flows. A little that is left at once is *keep-alive*: the path is open, if it stays so for KEEP_WAIT.
Rule 8: a stopped current has *returned* when it stays (rise.py); before, it is *pre-charging* or *retrying*.
Rule 9: what the pack's sheet says of its path goes first (declared.py). Where it leaves two explanations, the verdict has both, and
        a person may say which (memory.py).
"""

from __future__ import annotations

from runner.engine.watch.contradiction import SOURCE, finite
from runner.engine.watch.fall import CONFIRM, NOISES, PAUSES, Fall
from runner.engine.watch.keep_alive import KeptAlive
from runner.engine.watch.levels import RATE_WINDOW
from runner.engine.watch.memory import LOST_AFTER, Memory
from runner.engine.watch.rise import Rise
from runner.engine.watch.stop import FULL_RATIO, Stop, charge_stopped, discharge_stopped, on_its_way, return_unseen
from runner.engine.watch.verdict import Verdict
from runner.events import CHARGE, CURRENT_OF, METER_VOLTAGE, VOLTAGE_OF, Sampled
from runner.vocabulary import Explanation, WatchWord

STEADY_RATIO = 0.03  # of the set current: the band in which a constant current is steady
TAPER_RATIO = 0.97  # of the set current: less than this in constant voltage is a taper
TAPER_TIME = 5.0  # s for which it has to be so
# of the current per second: cells fill no faster. The reference cell begins its taper with 0.035 at half its capacity an hour and
# goes on with 0.019 (tests/outside/data)
FASTEST_TAPER = 0.045
LESS_RATIO = 0.9  # of the set current: less without constant voltage is what the pack asks for
AT_SET_VOLTAGE = 0.003  # of the set voltage: so near it a supply that says no mode is in constant voltage
BEGUN_RATIO, BEGUN_SAMPLES = 0.1, 2  # of the set current, and samples: less has charged a capacitor and never flowed
SETTLES = 1.8  # s after a fall in which a voltage may still be on its way to where it will stand, or read so
ODD_FOR, ODD_SAMPLES = 3.0, 8  # s and samples in a row: longer than a voltmeter is behind
PULSES = 0.22  # A: what a pack takes more for a while as it balances its cells, near full (common practice, no source)
SURE = 4.0  # times the smallest current: a level that a pause can be told from
CHANGING = 2.0  # s after set points have changed in which only nothing is a fall


class Watcher(Memory):
    """Fed with samples one by one; ``verdict`` is what it thinks now."""

    def paced(self, interval: float, slow: float = 0.0) -> None:
        """Current and slow channels are polled every so many seconds from now on: so long may readings be missing."""
        self._lost_after = max(LOST_AFTER * self._patience, CONFIRM * interval)
        self._terminals.paced(slow)

    def expect(self, path: str, voltage: float, current: float, t: float, *, over_voltage_wanted: bool = False) -> None:
        """A path is switched on now with these set points (V, A; a load has no voltage to set)."""
        self.path, self._set = path, (voltage, current)
        self._over_voltage_wanted = over_voltage_wanted
        self._begin()
        self._levels.clear()
        self._voltages.clear()
        self._contradictions.begin(t)
        self._level, self._stood, self._flowed, self._last_valid, self._on_since = 0.0, 0.0, 0.0, t, t
        self.verdict = Verdict(WatchWord.SETTLING, f"the {path} has just been switched on", t)

    def reset_level(self, voltage: float, current: float) -> None:
        """The set points change while the path is on; the level before a fall is what flowed until now."""
        self._set, self._changing, self._derated = (voltage, current), self._last_valid, False
        if self.path == CHARGE:
            self._voltages.clear()  # the voltage moves with the current now; that is no end of charge
            self._full_before = ""

    def forget(self, t: float) -> list[Verdict]:
        """Everything goes off now; what follows is no change of the pack's. What was about to be said is said."""
        found: list[Verdict] = []
        if self._set is not None and self._rise is not None and self._rise.whole_so_far:
            why = "current was flowing again when the output was switched off"
            found = self._say(WatchWord.RETURNED, why, self._rise.first)
        elif self._set is not None and self._fall is not None and self._fall.nothing_so_far:
            found = self._stopped(self._fall, waits=False)
        self._set = None
        self.verdict = Verdict(WatchWord.IDLE, "the output is off", t)
        return found

    def take(self, sample: Sampled) -> list[Verdict]:
        """The verdicts that this sample changes, oldest first; the last of them stands."""
        if self._set is None:
            return []
        channel, sample = CURRENT_OF[self.path], finite(sample)
        flows = self._level > 0 and self._fall is None and not self._gone
        self._terminals.take(sample.t, sample.readings.get(METER_VOLTAGE), flows=flows)
        if channel not in sample.readings:
            return self._missing(sample, channel) if channel in sample.lost else []
        self._last_valid = sample.t
        current = sample.readings[channel]
        if self.verdict.word == WatchWord.LOST:
            self._found_again(sample)
        if self._gone:
            return self._while_gone(sample, current)
        why = self._contradictions.found(sample, self.path, self._set, self.smallest, self._terminals.fresh(sample.t))
        if why:
            return self._say(WatchWord.UNCLEAR, why, sample.t)
        return self._while_flowing(sample, current)

    def _missing(self, sample: Sampled, channel: str) -> list[Verdict]:
        quiet = sample.t - self._last_valid
        if quiet < self._lost_after or self.verdict.word == WatchWord.LOST:
            return []
        self._before_lost = self.verdict.word
        why = f"no current reading for {quiet:.1f} s ({sample.lost[channel]})"
        return self._say(WatchWord.LOST, why, self._last_valid)

    def _found_again(self, sample: Sampled) -> None:
        """Readings have come back: what had stopped before is still stopped, until current flows."""
        word = self._before_lost if self._gone else WatchWord.SETTLING
        self.verdict = Verdict(word, "readings have come back", sample.t)
        self._fall = self._rise = None
        self._levels.clear(*([(sample.t, self._level)] if self._level else []))

    def _while_flowing(self, sample: Sampled, current: float) -> list[Verdict]:
        if self._fall is None and self._leaves(sample.t, current):
            paused, before = self._pauses.recent(sample.t, 2), self._levels.before(sample.t)
            self._fall = Fall(
                before, self._levels.noise(), self.smallest, after_pauses=paused, residual=self.declared.residual
            )
        if self._fall is None:
            return self._flows(sample, current)
        fall = self._fall
        if not self._below(current, fall.level, sample.t):
            return self._resumes(sample, current)
        fall.add(sample, current)
        if fall.stopped:
            return self._stopped(fall)
        if (level := fall.settled()) is not None:
            return self._comes_to(fall, level)
        if unsettled := fall.unsettled:
            if KeptAlive.so(fall.level, fall.rest):
                return self._comes_to(fall, fall.rest)
            self._fall = None
            self._levels.clear(*unsettled)
            self._level = self._levels.now()
            why = f"current fell from {fall.level:.3g} A to about {self._level:.3g} A and does not come to rest"
            return self._less(why, fall.first, fall.first)
        return []

    def _leaves(self, t: float, current: float) -> bool:
        """Whether this sample has left the level."""
        if not self._levels:
            return False
        level = self._levels.before(t)
        if self._changing is not None and t - self._changing < CHANGING:
            return current < max(0.05 * level, self.nothing)
        return self._below(current, level, t)

    def _below(self, current: float, level: float, t: float) -> bool:
        balances = self._constant_voltage is not None and t - self._constant_voltage > TAPER_TIME
        pulses = PULSES if balances else 0.0
        return Fall.left(current, level, self._levels.noise(), self.smallest, pulses, self.declared.residual)

    def _flows(self, sample: Sampled, current: float) -> list[Verdict]:
        if current < self.nothing:
            return []  # nothing flows yet: no level that could fall
        self._levels.add(sample.t, current)
        self._level = self._levels.now()
        voltage = sample.readings.get(VOLTAGE_OF[self.path])
        since = sample.t if self._constant_voltage is None else self._constant_voltage
        self._constant_voltage = since if self._at_set_voltage(sample) else None
        limits = self._derated and self.path == CHARGE  # a pack that does leaves the supply at its set voltage
        if voltage is not None and not limits:
            self._voltages.add(sample.t, voltage)
        return self._regulation(sample, current)

    def _resumes(self, sample: Sampled, current: float) -> list[Verdict]:
        """The fall was none: the current is back at its level."""
        fall, self._fall = self._fall, None
        assert fall is not None
        found = []
        told = fall.count and fall.level > SURE * self.smallest  # less comes and goes with the noise of a taper's end
        if told and (fall.deep or self._constant_voltage is None):  # in constant voltage a pack may balance its cells
            self._pauses.add(fall.first)
        if fall.count and not self._derated:
            why = f"samples without current: {fall.count}; then {current:.3g} A again"
            found = [Verdict(WatchWord.DROPOUT, why, fall.first)]
            if (since := self._pauses.chop(sample.t)) is not None:
                why = f"the current stops and flows again, {PAUSES} times in {sample.t - since:.0f} s"
                found += self._less(why, since, since)
        return found + self._flows(sample, current)

    def _comes_to(self, fall: Fall, level: float) -> list[Verdict]:
        """The current stands at a lower level."""
        self._fall = None
        whole = self._set is not None and fall.level > 0.9 * self._set[1]
        perhaps = (whole and not self._derated) or self.path in self.declared.derates
        if KeptAlive.so(fall.level, level) and perhaps and not self.declared.residual:
            self._goes(fall, fall.first, level)
            self._kept = KeptAlive(level, self.smallest, fall.first)
            why = f"current fell from {fall.level:.3g} A to {level:.3g} A, which is left: kept alive by the pack, or limited"
            return self._say(WatchWord.KEEP_ALIVE, why, fall.first)
        self._levels.clear((fall.last.t, level))
        self._level = level
        why = f"current fell from {fall.level:.3g} A to {level:.3g} A and stays there"
        return self._less(why, fall.instant(), fall.first)

    def _less(self, why: str, since: float, before: float) -> list[Verdict]:
        """The pack lets less through ``since``; what the voltage was ``before``, or a full pack takes less."""
        self._derated = True
        if self.path == CHARGE and self._set is not None:
            self._full_before = self._full_before or self._voltages.end_of_charge(before, self._set, self._on_since)
            self._voltages.clear()
        return self._say(WatchWord.DERATED, why, since)

    def _regulation(self, sample: Sampled, current: float) -> list[Verdict]:
        """Current flows: constant current, taper, or a limit that nobody asked for."""
        assert self._set is not None
        set_current = self._set[1]
        self._flowed += current >= BEGUN_RATIO * set_current
        if abs(current - set_current) <= STEADY_RATIO * set_current + self._smallest.get(self.path, 0.0):
            paused = self._pauses.recent(sample.t)
            self._taper_since, self._derated = None, self._derated and (paused or self._level < 0.9 * set_current)
            if self._derated:
                return []
            self._full_before = ""
            why = f"{current:.3g} A, the {SOURCE[self.path]} holds its set current"
            return self._say(WatchWord.STEADY, why, sample.t)
        if self._derated or self.path != CHARGE or self._level >= TAPER_RATIO * set_current:
            return []
        decline = self._levels.decline(max(2 * self.smallest, PULSES if self._constant_voltage is not None else 0.0))
        if decline is not None and decline > FASTEST_TAPER and self.verdict.word != WatchWord.FULL:
            why = f"the current goes down by {decline * 100:.1f} % a second, faster than cells fill"
            return self._less(why, sample.t, sample.t - RATE_WINDOW)
        if self._constant_voltage is None:
            self._taper_since = None
            if self.verdict.word == WatchWord.STEADY and self._level < LESS_RATIO * set_current:
                why = f"{self._level:.3g} A of {set_current:.3g} A, and not in constant voltage"
                return self._less(why, sample.t, sample.t - RATE_WINDOW)
            return []
        if self._asks_for_less():
            why = f"{current:.3g} A of {set_current:.3g} A; the supply came to its set voltage at once: the pack asks for less"
            return self._less(why, self._constant_voltage, self._constant_voltage)
        self._taper_since = sample.t if self._taper_since is None else self._taper_since
        if sample.t - self._taper_since < TAPER_TIME:
            return []
        if current < FULL_RATIO * set_current:
            return self._say(WatchWord.FULL, f"tapered to {current:.3g} A", sample.t)
        if self.verdict.word == WatchWord.FULL:
            return []
        why = f"constant voltage, {current:.3g} A of {set_current:.3g} A and falling"
        return self._say(WatchWord.TAPERING, why, sample.t)

    def _asks_for_less(self) -> bool:
        """Whether what looks like a taper is a pack that derates, as its sheet says it does."""
        assert self._set is not None
        tapers = self.verdict.word in (WatchWord.TAPERING, WatchWord.FULL)
        if tapers or self._constant_voltage is None or self.path not in self.declared.derates:
            return False
        return self._voltages.jumped(self._constant_voltage, self._set[0])

    def _at_set_voltage(self, sample: Sampled) -> bool:
        """Whether the supply says that it is in constant voltage, or, where it says nothing, stands at its set voltage."""
        voltage = sample.readings.get(VOLTAGE_OF[CHARGE])
        if self.path != CHARGE or self._set is None:
            return False
        if sample.mode or voltage is None:
            return sample.mode == "CV"
        return voltage >= self._set[0] * (1 - AT_SET_VOLTAGE)

    def _stopped(self, fall: Fall, *, waits: bool = True) -> list[Verdict]:
        """Nothing has flowed for long enough; ``waits`` for meters that may be behind."""
        if self._flowed < BEGUN_SAMPLES:
            self._fall, self._level = None, 0.0
            self._levels.clear()
            return []
        last, since = fall.last, fall.last.t if fall.nothing_since is None else fall.nothing_since
        if waits and self._behind(last, since):
            return []
        first = fall.instant()
        self._goes(fall, first, max(fall.rest, 0.0))
        left = fall.rest if self.declared.residual and fall.rest > self.smallest else 0.0
        return self._judged(last, self._terminals.settled(since), first, first, left)

    def _behind(self, now: Sampled, since: float) -> bool:
        """Whether a voltage may still be on its way to where an open path leaves it, or the voltmeter's word is to come."""
        assert self._set is not None
        waited, voltage = now.t - since, now.readings.get(VOLTAGE_OF[self.path])
        moves = on_its_way(self.path, voltage, self._set[0], self._voltages.stood(since))
        return (moves and now.output is not False and waited < SETTLES) or self._terminals.awaited(since, waited)

    def _goes(self, fall: Fall, first: float, left: float) -> None:
        """No current flows from ``first`` on, but for what is ``left``."""
        self._level, self._fall, self._odd_since = fall.level, None, None
        self._gone, self._residual, self._noise = True, left, fall.noise
        self._stood = self._voltages.stood(first) or self._stood
        self._terminals.stopped(first)
        self._tries.opened(first)

    def _judged(self, now: Sampled, terminal: float | None, first: float, at: float, left: float) -> list[Verdict]:
        """What stopped the current ``at`` that instant, which had left its level at ``first``, by what is read ``now``."""
        if now.output is False:
            why = f"the {SOURCE[self.path]} switched off by itself (its own protection, or a person)"
            return self._say(WatchWord.LIMITED, why, at)
        assert self._set is not None
        end = self._full_before or self._voltages.end_of_charge(first, self._set, self._on_since)
        tapered, voltage = (
            self.verdict.word in (WatchWord.TAPERING, WatchWord.FULL),
            now.readings.get(VOLTAGE_OF[self.path]),
        )
        stop = Stop(
            self._set, self._level, left, voltage, terminal, (self._stood, self._terminals.stood), end, tapered,
            bool(self._full_before), self._over_voltage_wanted, self._empty_at,
        )  # fmt: skip
        word, why, between = (charge_stopped if self.path == CHARGE else discharge_stopped)(stop)
        self._full_before = why if word == WatchWord.FULL else self._full_before
        return self._say(word, why, at, between)

    def _while_gone(self, sample: Sampled, current: float) -> list[Verdict]:
        if sample.output is False:
            self._rise = None
            return self._say(WatchWord.LIMITED, f"the {SOURCE[self.path]} switched off by itself", sample.t)
        least = max(0.02 * self._level, 1.5 * self.smallest, min(NOISES * self._noise, 0.2 * self._level))
        something = max(self._residual + max(least, 0.3 * self._residual), self.nothing)
        if self._rise is None and current <= something:
            return self._still_gone(sample, current)
        if self._rise is None:
            due = self._tries.due(sample.t)
            self._rise = Rise(self._level, something, self.declared.longest_try, due=due)
        self._rise.add(sample, current)
        return self._rises(self._rise, current)

    def _rises(self, rise: Rise, current: float) -> list[Verdict]:
        if rise.over:
            self._rise = None
            self._tries.ended(rise.first, rise.last)
            if rise.seen < 2 and self._tries.count < 2:
                return []
            return self._say(WatchWord.RETRYING, f"{current:.3g} A after a try of the pack's own", rise.first)
        if rise.whole or rise.limited:
            whole, full = rise.whole, self._full_before
            self._begin()
            self._levels.clear()
            self._voltages.clear()
            self._levels.add(rise.first, current)
            self._level, self._derated, self._full_before = current, not whole, full
            again = f"{current:.3g} A is flowing again"
            why = (
                f"{again}; it began as a try that was due, so the release may be later" if rise.out_of_a_try else again
            )
            return self._say(WatchWord.RETURNED, why, rise.first)
        if rise.begins_limited:
            return self._say(WatchWord.PRE_CHARGING, f"{current:.3g} A flows, less than before the stop", rise.first)
        return []

    def _still_gone(self, sample: Sampled, current: float) -> list[Verdict]:
        """Since the pack has stopped the current: is it a trip, and would its coming back still be seen?"""
        if self._kept is not None:
            if (at := self._kept.trip(sample.t, current)) is None or self._behind(sample, at):
                return []
            kept, self._kept, self._residual = self._kept, None, max(0.0, min(self._residual, current))
            if kept.left and self.path in self.declared.derates:
                why = f"current fell from {self._level:.3g} A to {kept.left:.3g} A and stays there"
                return self._say(WatchWord.UNCLEAR, why, kept.first, (Explanation.TRIPPED, Explanation.LIMITED))
            return self._judged(sample, self._terminals.settled(at), kept.first, at, kept.left)
        if self.verdict.word not in (WatchWord.STOPPED, WatchWord.RETRYING):
            return []
        voltage, terminal = sample.readings.get(VOLTAGE_OF[self.path]), self._terminals.fresh(sample.t)
        word, why = return_unseen(self.path, voltage, terminal, (self._stood, self._terminals.stood))
        since, count = self._odd_since or (sample.t, 0)
        self._odd_since = (since, count + 1) if why else None
        if why and count + 1 >= ODD_SAMPLES and sample.t - since >= ODD_FOR:
            return self._say(word, why, sample.t)
        return []
