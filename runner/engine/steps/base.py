"""What every step is: told events, answering with orders, until it is done."""

from __future__ import annotations

from dataclasses import dataclass

from runner.engine.bench_state import BenchState
from runner.engine.hands import hands_off
from runner.engine.program import Planned, Program
from runner.engine.texts import nothing_comes
from runner.engine.texts import ramps as texts
from runner.engine.watch.contradiction import SOURCE
from runner.engine.watch.stop import COLLAPSE_RATIO, on_its_way
from runner.engine.watch.verdict import Verdict
from runner.engine.watch.watcher import Watcher
from runner.events import CHARGE, METER_VOLTAGE, SUPPLY_VOLTAGE, VOLTAGE_OF, Event, LimitsAreSet, LoadIsSet, SupplyIsSet
from runner.orders import (
    Conclude,
    Guide,
    LoadOn,
    Order,
    Pace,
    Remark,
    SetLimits,
    SetLoad,
    SetSupply,
    SwitchOff,
    SwitchOn,
)
from runner.vocabulary import WatchWord

LAZY, SLOW, FAST = (2.0, 4.0), (1.0, 1.0), (0.25, 0.5)  # s: for hours; nothing is about to happen; a trip may come now

SPOILED = (
    WatchWord.LIMITED,
    WatchWord.OPEN_LEAD,
    WatchWord.UNCLEAR,
)  # words after which a current is evidence of nothing
NO_CURRENT_TIME = 30.0  # s after which a current that never began will not begin by itself
RELEASE_TIME = 1800.0  # s that a sensor is given to come past the release of its protection
PAST_RELEASE, PAST_TIME = 12.0, 60.0  # K beyond the declared release, and s there, after which the pack has latched


@dataclass
class Surroundings:
    """What a step may look at. It changes none of it but ``awake``: whether the pack has come back after its cut-off,

    and ``to_say``: what a person is to do now that a step is over, said with what comes next. ``untouched``: no step with current
    has begun in this run, so that a person may still leave the procedure out.
    """

    program: Program
    known: BenchState
    watcher: Watcher
    awake: bool = True
    to_say: str = ""
    untouched: bool = False


class Step:
    """One step while it runs.

    ``done`` says it has ended; ``skip`` then says what comes next: nothing special, the end of this sensor's steps
    ("group"), of what was offered ("offer"), or of the procedure ("rest"); the turn's first ramp again ("again"), this
    sensor's steps from their beginning ("sensor"), or the end of the run, to be resumed ("early") or because a person leaves the
    procedure out ("leave out"); with ``why``.
    """

    asks = False  # True while the step waits for a person

    def __init__(self, planned: Planned, around: Surroundings) -> None:
        self.planned, self.around = planned, around
        self.done = False
        self.skip = ""
        self.why = ""
        self.before = ""  # what a person is to do before what this step says, while it only waits
        self._paced: tuple[float, float] | None = None
        self._coming = (CHARGE, 0.0, 0.0)
        self._asked = 0.0  # s: when the order for what is coming was given last
        self._releasing: float | None = None  # s: since when the sensor is brought past its release
        self._no_current = ""  # what is said while nothing flows
        self._far_since: float | None = None  # s: since when it is far beyond

    def begin(self, t: float) -> list[Order]:
        """The step's first orders, at time ``t``."""
        raise NotImplementedError

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        """What to do now that this has happened; ``verdicts`` are those the watcher changed on this event."""
        raise NotImplementedError

    def sentence(self) -> str:
        """What the operator is to do now, in one sentence."""
        return self._no_current or self.planned.say or self.planned.title

    def remaining(self) -> float | None:
        """Seconds this step may still take, if that can be said."""
        return None

    @property
    def path(self) -> str:
        """The path whose current is watched: the one that is on, or the charge."""
        known = self.around.known
        return CHARGE if known.going_off else known.path or CHARGE

    def _pace(self, pace: tuple[float, float], path: str = "") -> list[Order]:
        """Poll at this pace from now on, if that is news."""
        if pace == self._paced:
            return []
        self._paced = pace
        return [Pace(*pace, path or self.path)]

    # ---- current: limits, set points, output, each after the one before was read back ------------------------------

    def _bring_on(self, path: str, current: float, voltage: float | None = None) -> list[Order]:
        """The first order towards a current on a path; ``_coming_on`` gives the next ones. ``voltage`` is the supply's."""
        self._coming = (path, current, voltage or 0.0)
        return [SetLimits(*self.around.program.protect) if path == CHARGE else SetLoad(current)]

    def _change(self, current: float, t: float) -> list[Order]:
        """Another current on the path that is on, asked for at ``t``."""
        self._asked = t
        path, _, voltage = self._coming
        self._coming = (path, current, voltage)
        return [SetSupply(voltage, current) if path == CHARGE else SetLoad(current)]

    def _coming_on(self, event: Event) -> list[Order]:
        """What follows on limits and set points that were read back, until the output is on."""
        _, current, voltage = self._coming
        if isinstance(event, LimitsAreSet | SupplyIsSet | LoadIsSet):
            self._asked = event.t
        if isinstance(event, LimitsAreSet):
            return [SetSupply(voltage, current)]
        if isinstance(event, SupplyIsSet):
            return [SwitchOn()]
        return [LoadOn()] if isinstance(event, LoadIsSet) else []

    def _end(self, skip: str = "", why: str = "") -> None:
        self.done, self.skip, self.why = True, skip, why

    @property
    def give_way(self) -> str:
        """What is skipped when this step makes what follows worthless: its sensor's steps, or all the rest."""
        return "group" if self.planned.group else "rest"

    @property
    def spoiled(self) -> str:
        """What comes after a fault of the bench: this sensor again once a person has looked, else an early end, to be resumed."""
        return "sensor" if self.planned.group else "early"

    def _past_release(self, t: float) -> list[Order] | None:
        """Nothing flows though it is on: orders that bring the sensor past its release, or None when that is of no use.

        A protection that is still tripped, as after a break, is no fault of the pack.
        """
        program, known, sensor = self.around.program, self.around.known, self.planned.sensor
        if not sensor or program.release is None or not program.protection.endswith("temperature"):
            return None
        action, side, sign = ("cool", "below", -1.0) if "over" in program.protection else ("heat", "above", 1.0)
        beyond = 0.0 if known.temperature is None else sign * (known.temperature - program.release)
        if self._releasing is None:
            self._releasing = t
            if beyond >= PAST_RELEASE:  # there already: heat or cold is of no use, and the cause is another
                self._no_current = texts.still_tripped(self._supply_and_pack())
                return [Remark(self._no_current)]
            goal = program.release if beyond <= 0 else program.release + sign * PAST_RELEASE
            self._no_current = texts.past_its_release(action, sensor, side, goal)
            return [Guide(action, sensor, 0.0, self._no_current)]
        far = beyond >= PAST_RELEASE
        self._far_since = (t if self._far_since is None else self._far_since) if far else None
        given_up = t - self._releasing > RELEASE_TIME or (
            self._far_since is not None and t - self._far_since > PAST_TIME
        )
        return None if given_up else []

    def _released(self, t: float) -> list[Order]:
        """Current flows: hands go away from a sensor that was brought past its release."""
        if self._releasing is None:
            return []
        self._releasing, self._no_current = None, ""
        return [] if self.around.known.hands_at is None else [hands_off(self.around.known.hands_at)]

    def _nothing_comes(self, path: str, set_voltage: float, *, settled: bool = False) -> str:
        """Why it is the supply or the load from which nothing comes, as after a restart that it does not report; else nothing.

        A pack that has opened its path leaves a supply at its set voltage (V), and a load without one. A supply that has had
        no time to get there (not ``settled``) is at least half way.
        """
        known = self.around.known
        if known.output is False:
            return nothing_comes.off_by_itself(SOURCE[path])
        voltage = known.since_on(VOLTAGE_OF[path])
        if voltage is None:
            return ""
        if path == CHARGE:
            low = on_its_way(path, voltage, set_voltage, None) if settled else voltage < COLLAPSE_RATIO * set_voltage
            return nothing_comes.not_regulating(voltage, set_voltage) if low else ""
        held = voltage > COLLAPSE_RATIO * self.around.program.nominal_voltage
        return nothing_comes.draws_nothing(voltage) if held else ""

    def _supply_and_pack(self) -> tuple[float, float] | None:
        """What the supply gives and what stands at the pack (V), where both are read: the picture of an open lead."""
        latest = self.around.known.latest
        if SUPPLY_VOLTAGE not in latest or METER_VOLTAGE not in latest:
            return None
        return latest[SUPPLY_VOLTAGE], latest[METER_VOLTAGE]

    def _conclusion(
        self,
        outcome: str,
        why: str,
        at: float,
        *,
        limit: float | None = None,
        rate: float = 0.0,
        by_hand: bool = False,
    ) -> Conclude:
        planned = self.planned
        return Conclude(
            planned.index,
            planned.kind,
            planned.sensor,
            planned.cycle,
            rate,
            outcome,
            why,
            at,
            limit,
            by_hand,
        )

    def _conclude_and_off(
        self, outcome: str, why: str, at: float, skip: str = "", limit: float | None = None
    ) -> list[Order]:
        """The end of a step that leaves the bench off."""
        self._end(skip, why)
        away = [] if self.around.known.hands_at is None else [hands_off(self.around.known.hands_at)]
        return [self._conclusion(outcome, why, at, limit=limit), SwitchOff(), *away]
