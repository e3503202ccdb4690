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
"""

from __future__ import annotations

from collections import deque

from runner.engine.watch.contradiction import SOURCE, VOLTAGE_RATIO, Contradictions
from runner.engine.watch.end_of_charge import Voltages
from runner.engine.watch.fall import CONFIRM, QUIET, Fall
from runner.engine.watch.levels import Levels
from runner.engine.watch.rise import Rise
from runner.engine.watch.stop import FULL_RATIO, charge_stopped, discharge_stopped, return_unseen
from runner.engine.watch.verdict import Verdict
from runner.events import CHARGE, CURRENT_OF, METER_VOLTAGE, VOLTAGE_OF, Sampled
from runner.vocabulary import WatchWord

LOST_AFTER = 2.0  # s without a valid reading of the current
STEADY_RATIO = 0.03  # of the set current: the band in which a constant current is steady
TAPER_RATIO = 0.97  # of the set current: less than this in constant voltage is a taper
TAPER_TIME = 5.0  # s for which it has to be so
# of the current per second: cells fill no faster. The reference cell begins its taper with 0.035 at half its capacity an hour and
# goes on with 0.019 (tests/outside/data)
FASTEST_TAPER = 0.045
LESS_RATIO = 0.9  # of the set current: less without constant voltage is what the pack asks for
AT_SET_VOLTAGE = 0.003  # of the set voltage: so near it a supply that says no mode is in constant voltage
WAIT_FOR_METER = 3.5  # s that a fall may wait for a reading of the pack's own voltmeter
METER_SETTLES = 1.2  # s after a fall: a voltmeter may show the mean of a second
SUPPLY_SETTLES = 1.8  # s after a fall in which a supply may still be on its way to its set voltage, or read so
ODD_FOR, ODD_SAMPLES = 3.0, 8  # s and samples in a row: longer than a voltmeter is behind
KEEP_RATIO = 0.15  # of the level: more that is left is a pack that lets less through
KEEP_MOST = 0.5  # A: what packs keep for themselves or pre-charge with (common practice, no source)
KEEP_WAIT = 20.0  # s after which what is left is taken to stay
PAUSES, PAUSES_IN = 4, 20.0  # so many falls that come back within so many s are a pack that chops
AFTER_PAUSE = 5.0  # s for which one is remembered
PULSES = (
    0.22  # A: what a pack that balances its cells takes more for some seconds, near full (common practice, no source)
)
SURE = 4.0  # times the smallest current: a level that a pause can be told from
CHANGING = 2.0  # s after set points have changed in which only nothing is a fall


class Watcher:
    """Fed with samples one by one; ``verdict`` is what it thinks now.

    ``smallest`` is the least current of each path, in A, that its reading can tell from none (offset and resolution);
    ``patience`` stretches the time after which readings count as lost. ``empty_at`` is the voltage under load, in V, at which the
    pack's under-voltage may open the path of a discharge that looks for something else; 0 for none.
    """

    def __init__(self, smallest: dict[str, float], patience: float = 1.0, empty_at: float = 0.0) -> None:
        self._smallest, self._empty_at, self._patience = smallest, empty_at, patience
        self._lost_after = LOST_AFTER * patience
        self._before_lost = ""
        self.verdict = Verdict(WatchWord.IDLE, "the output is off", 0.0)
        self.path = CHARGE
        self._set: tuple[float, float] | None = None
        self._over_voltage_wanted = False
        self._levels, self._voltages, self._contradictions = Levels(), Voltages(), Contradictions()
        self._level = self._stood = self._last_valid = self._on_since = 0.0
        self._begin()

    def _begin(self) -> None:
        self._fall: Fall | None = None
        self._rise: Rise | None = None
        self._gone = self._derated = False
        self._residual = 0.0
        self._kept: Verdict | None = None  # a little current that is left: what would be a trip if it stays
        self._left: list[float] = []  # when what was left of it was not there, in s
        self._pauses: deque[float] = deque(maxlen=PAUSES)
        self._tries = 0
        self._odd_since: tuple[float, int] | None = None
        self._taper_since: float | None = None
        self._constant_voltage: float | None = None  # since when, in s
        self._changing: float | None = None
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
        self.path, self._set = path, (voltage, current)
        self._over_voltage_wanted = over_voltage_wanted
        self._begin()
        self._levels.clear()
        self._voltages.clear()
        self._contradictions.begin(t)
        self._level, self._last_valid, self._on_since = 0.0, t, t
        self.verdict = Verdict(WatchWord.SETTLING, f"the {path} has just been switched on", t)

    def reset_level(self, voltage: float, current: float) -> None:
        """The set points change while the path is on; the level before a fall is what flowed until now."""
        self._set, self._changing, self._derated = (voltage, current), self._last_valid, False
        if self.path == CHARGE:
            self._voltages.clear()  # the voltage moves with the current now; that is no end of charge

    def forget(self, t: float) -> list[Verdict]:
        """Everything goes off now; what follows is no change of the pack's. What was about to be said is said."""
        found: list[Verdict] = []
        if self._set is not None and self._rise is not None and self._rise.whole_so_far:
            found = self._say(
                WatchWord.RETURNED, "current was flowing again when the output was switched off", self._rise.first
            )
        elif self._set is not None and self._fall is not None and self._fall.nothing_so_far:
            found = self._stopped(self._fall, waits=False)
        self._set = None
        self.verdict = Verdict(WatchWord.IDLE, "the output is off", t)
        return found

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
        current = sample.readings[channel]
        if self.verdict.word == WatchWord.LOST:
            self._found_again(sample)
        if self._gone:
            return self._while_gone(sample, current)
        why = self._contradictions.found(sample, self.path, self._set, self.smallest, self._fresh_terminal(sample.t))
        if why:
            return self._say(WatchWord.UNCLEAR, why, sample.t)
        return self._while_flowing(sample, current)

    # ---- readings that are missing ---------------------------------------------------------------------------

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

    # ---- while current flows ---------------------------------------------------------------------------------

    def _while_flowing(self, sample: Sampled, current: float) -> list[Verdict]:
        if self._fall is None and self._leaves(sample.t, current):
            paused = len(self._pauses) > 1 and sample.t - self._pauses[-2] < AFTER_PAUSE
            self._fall = Fall(self._levels.before(sample.t), self._levels.noise(), self.smallest, after_pauses=paused)
        if self._fall is None:
            return self._flows(sample, current)
        fall = self._fall
        if not self._below(current, fall.level, sample.t):
            return self._resumes(sample, current)
        fall.add(sample, current)
        if fall.stopped:
            return self._stopped(fall)
        level = fall.settled()
        if level is not None:
            return self._comes_to(fall, level)
        if unsettled := fall.unsettled:
            self._fall = None
            self._levels.clear(*unsettled)
            self._level = self._levels.now()
            why = f"current fell from {fall.level:.3g} A to about {self._level:.3g} A and does not come to rest"
            return self._less(why, fall.first)
        return []

    def _leaves(self, t: float, current: float) -> bool:
        """Whether this sample has left the level."""
        if not self._levels:
            return False
        level = self._levels.before(t)
        if self._changing is not None and t - self._changing < CHANGING:
            return current < max(0.05 * level, self.smallest)
        return self._below(current, level, t)

    def _below(self, current: float, level: float, t: float) -> bool:
        balances = self._constant_voltage is not None and t - self._constant_voltage > TAPER_TIME
        return Fall.left(current, level, self._levels.noise(), self.smallest, PULSES if balances else 0.0)

    def _flows(self, sample: Sampled, current: float) -> list[Verdict]:
        if current < self.smallest:
            return []  # nothing flows yet: no level that could fall
        self._levels.add(sample.t, current)
        self._level = self._levels.now()
        voltage = sample.readings.get(VOLTAGE_OF[self.path])
        if self._at_set_voltage(sample):
            self._constant_voltage = sample.t if self._constant_voltage is None else self._constant_voltage
        else:
            self._constant_voltage = None
        if voltage is not None and not self._derated:  # a pack that limits leaves the supply at its set voltage
            self._voltages.add(sample.t, voltage)
        return self._regulation(sample, current)

    def _resumes(self, sample: Sampled, current: float) -> list[Verdict]:
        """The fall was none: the current is back at its level."""
        fall, self._fall = self._fall, None
        assert fall is not None
        found = []
        told = fall.level > SURE * self.smallest  # less comes and goes with the noise at the end of a taper
        if told and (fall.deep or self._constant_voltage is None):  # in constant voltage a pack may balance its cells
            self._pauses.append(fall.first)
        if fall.count and not self._derated:
            why = f"samples without current: {fall.count}; then {current:.3g} A again"
            found = [Verdict(WatchWord.DROPOUT, why, fall.first)]
            if len(self._pauses) == PAUSES and sample.t - self._pauses[0] < PAUSES_IN:
                why = f"the current stops and flows again, {PAUSES} times in {sample.t - self._pauses[0]:.0f} s"
                found += self._less(why, self._pauses[0])
        return found + self._flows(sample, current)

    def _comes_to(self, fall: Fall, level: float) -> list[Verdict]:
        """The current stands at a lower level."""
        self._fall = None
        whole = self._set is not None and fall.level > 0.9 * self._set[1]
        if level <= min(KEEP_RATIO * fall.level, KEEP_MOST) and whole and not self._derated:
            self._gone, self._residual, self._level = True, level, fall.level
            self._stood = self._voltages.stood(fall.first) or self._stood
            why = f"current fell from {fall.level:.3g} A to {level:.3g} A, which is left"
            self._kept = Verdict(WatchWord.STOPPED, why, fall.first)
            return self._say(WatchWord.KEEP_ALIVE, f"{why}: kept alive by the pack, or limited", fall.first)
        self._levels.clear((fall.last.t, level))
        self._level = level
        return self._less(f"current fell from {fall.level:.3g} A to {level:.3g} A and stays there", fall.instant())

    def _less(self, why: str, since: float) -> list[Verdict]:
        self._derated = True
        self._voltages.clear()
        return self._say(WatchWord.DERATED, why, since)

    def _regulation(self, sample: Sampled, current: float) -> list[Verdict]:
        """Current flows: constant current, taper, or a limit that nobody asked for."""
        assert self._set is not None
        _, set_current = self._set
        if abs(current - set_current) <= STEADY_RATIO * set_current + self.smallest:
            paused = bool(self._pauses) and sample.t - self._pauses[-1] < AFTER_PAUSE
            self._taper_since, self._derated = None, self._derated and (paused or self._level < 0.9 * set_current)
            if self._derated:
                return []
            return self._say(
                WatchWord.STEADY, f"{current:.3g} A, the {SOURCE[self.path]} holds its set current", sample.t
            )
        if self._derated or self.path != CHARGE or self._level >= TAPER_RATIO * set_current:
            return []
        decline = self._levels.decline(max(2 * self.smallest, PULSES if self._constant_voltage is not None else 0.0))
        if decline is not None and decline > FASTEST_TAPER and self.verdict.word != WatchWord.FULL:
            return self._less(
                f"the current goes down by {decline * 100:.1f} % a second, faster than cells fill", sample.t
            )
        if self._constant_voltage is None:
            self._taper_since = None
            if self.verdict.word == WatchWord.STEADY and self._level < LESS_RATIO * set_current:
                return self._less(f"{self._level:.3g} A of {set_current:.3g} A, and not in constant voltage", sample.t)
            return []
        self._taper_since = sample.t if self._taper_since is None else self._taper_since
        if sample.t - self._taper_since < TAPER_TIME:
            return []
        if current < FULL_RATIO * set_current:
            return self._say(WatchWord.FULL, f"tapered to {current:.3g} A", sample.t)
        if self.verdict.word == WatchWord.FULL:
            return []
        why = f"constant voltage, {current:.3g} A of {set_current:.3g} A and falling"
        return self._say(WatchWord.TAPERING, why, sample.t)

    def _at_set_voltage(self, sample: Sampled) -> bool:
        """Whether the supply says that it is in constant voltage, or, where it says nothing, stands at its set voltage."""
        voltage = sample.readings.get(VOLTAGE_OF[CHARGE])
        if self.path != CHARGE or self._set is None:
            return False
        if sample.mode or voltage is None:
            return sample.mode == "CV"
        return voltage >= self._set[0] * (1 - AT_SET_VOLTAGE)

    # ---- it has stopped: what was it? -------------------------------------------------------------------------

    def _stopped(self, fall: Fall, *, waits: bool = True) -> list[Verdict]:
        """Nothing has flowed for long enough; ``waits`` for meters that may be behind."""
        last, waited = fall.last, fall.last.t - (fall.nothing_since or fall.last.t)
        terminal = self._settled_terminal(fall.nothing_since or last.t)
        if self._terminal is not None and terminal is None and waited < WAIT_FOR_METER and waits:
            return []  # the voltmeter is polled more slowly, or shows a mean; its word is worth the wait
        voltage = last.readings.get(VOLTAGE_OF[self.path])
        assert self._set is not None
        late = self.path == CHARGE and voltage is not None and voltage < self._set[0] * (1 - VOLTAGE_RATIO)
        if late and last.output is not False and waited < SUPPLY_SETTLES and waits:
            return []
        first = fall.instant()
        self._stood = self._voltages.stood(first) or self._stood
        self._level, self._fall, self._odd_since = fall.level, None, None
        self._gone, self._residual = True, max(fall.rest, 0.0)
        if last.output is False:
            why = f"the {SOURCE[self.path]} switched off by itself (its own protection, or a person)"
            return self._say(WatchWord.LIMITED, why, first)
        if self.path == CHARGE:
            tapered = self.verdict.word in (WatchWord.TAPERING, WatchWord.FULL)
            wanted = self._over_voltage_wanted
            end = "" if wanted else self._voltages.end_of_charge(first, self._set[0], self._on_since)
            return self._say(*charge_stopped(fall.level, self._set, voltage, terminal, end, tapered=tapered), first)
        return self._say(*discharge_stopped(fall.level, self._stood, voltage, terminal, self._empty_at), first)

    # ---- while it is stopped ---------------------------------------------------------------------------------

    def _while_gone(self, sample: Sampled, current: float) -> list[Verdict]:
        if sample.output is False:
            self._rise = None
            return self._say(WatchWord.LIMITED, f"the {SOURCE[self.path]} switched off by itself", sample.t)
        something = self._residual + max(0.02 * self._level, 1.5 * self.smallest, 0.3 * self._residual)
        if self._rise is None and current <= something:
            return self._still_gone(sample, current)
        self._rise = self._rise or Rise(self._level, something)
        self._rise.add(sample, current)
        return self._rises(self._rise, current)

    def _rises(self, rise: Rise, current: float) -> list[Verdict]:
        if rise.over:
            self._rise, self._tries = None, self._tries + 1
            if rise.seen < 2 and self._tries < 2:
                return []
            return self._say(WatchWord.RETRYING, f"{current:.3g} A after a try of the pack's own", rise.first)
        if rise.whole or rise.limited:
            whole = rise.whole
            self._begin()
            self._levels.clear()
            self._voltages.clear()
            self._levels.add(rise.first, current)
            self._level, self._derated = current, not whole
            return self._say(WatchWord.RETURNED, f"{current:.3g} A is flowing again", rise.first)
        if rise.begins_limited:
            return self._say(WatchWord.PRE_CHARGING, f"{current:.3g} A flows, less than before the stop", rise.first)
        return []

    def _still_gone(self, sample: Sampled, current: float) -> list[Verdict]:
        """Since the pack has stopped the current: is it a trip, and would its coming back still be seen?"""
        if self._kept is not None:
            self._left = [*self._left, sample.t] if current < max(0.3 * self._residual, self.smallest) else []
            if len(self._left) >= CONFIRM and sample.t - self._left[0] >= QUIET:
                self._kept, self._residual = None, 0.0  # it has gone too: that was the trip
                return self._say(WatchWord.STOPPED, "what was left has stopped as well", self._left[0])
            if sample.t - self._kept.since >= KEEP_WAIT:
                kept, self._kept = self._kept, None
                return self._say(kept.word, kept.why, kept.since)
            return []
        if self.verdict.word not in (WatchWord.STOPPED, WatchWord.RETRYING):
            return []
        voltage, terminal = sample.readings.get(VOLTAGE_OF[self.path]), self._fresh_terminal(sample.t)
        word, why = return_unseen(self.path, voltage, terminal, self._stood)
        since, count = self._odd_since or (sample.t, 0)
        self._odd_since = (since, count + 1) if why else None
        if why and count + 1 >= ODD_SAMPLES and sample.t - since >= ODD_FOR:
            return self._say(word, why, sample.t)
        return []

    # ---- the pack's own voltmeter ----------------------------------------------------------------------------

    def _fresh_terminal(self, t: float) -> float | None:
        """What it read last, in V, if that is not long ago."""
        fresh = self._terminal is not None and t - self._terminal[0] < WAIT_FOR_METER
        return self._terminal[1] if self._terminal is not None and fresh else None

    def _settled_terminal(self, since: float) -> float | None:
        """What it has read long enough after ``since`` to show no mean of before and after."""
        settled = self._terminal is not None and self._terminal[0] >= since + METER_SETTLES
        return self._terminal[1] if self._terminal is not None and settled else None

    def _say(self, word: str, why: str, since: float) -> list[Verdict]:
        if word == self.verdict.word:
            return []
        self.verdict = Verdict(word, why, since)
        return [self.verdict]
