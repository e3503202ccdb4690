"""What a run puts in between when something has to be done again: these stand in no procedure.

Rule 1: a ramp with a gap in its readings is worth nothing, and is repeated with the whole turn it belongs to, from where
        current flows and the sensor is on the near side of the ramp's beginning.
Rule 2: nothing is switched on again by itself after something at the bench went off by itself: a person looks first.
"""

from __future__ import annotations

from dataclasses import replace

from runner.engine.hands import hands_off
from runner.engine.program import Planned
from runner.engine.steps.base import SLOW, SPOILED, Step, Surroundings
from runner.engine.steps.hold import Confirm
from runner.engine.steps.ramp import COMING
from runner.engine.texts import ends, ramps
from runner.engine.watch.verdict import Verdict
from runner.events import Event, Sampled
from runner.orders import Guide, Order
from runner.vocabulary import WatchWord

NEAR_SIDE = 1.0  # K before the beginning of the ramp
LONGEST = 1800.0  # s
REPEATS = 3  # of one turn, and
FRESH_STARTS = 1  # of one sensor, before it is left
TO_DO: dict[str, str] = {  # what a person does before a sensor starts again
    WatchWord.OPEN_LEAD: ends.RECONNECT,
    WatchWord.LIMITED: ends.CHECK_THE_INSTRUMENT,
}


class BringBack(Step):
    """After a gap: the sensor back to before the turn's first ramp, and the pack back to letting current through."""

    def __init__(self, first: Planned, around: Surroundings) -> None:
        """``first`` is the turn's first ramp."""
        super().__init__(replace(first, kind="bring back", title=ramps.bring_back_title(first.sensor)), around)
        self._heats = first.kind == "heat"

    def begin(self, t: float) -> list[Order]:
        self._began = t
        self._action, self._sign = ("cool", -1.0) if self._heats else ("heat", 1.0)
        self._goal = self.planned.values["approach"] + self._sign * NEAR_SIDE
        self._words = ramps.bring_back(self._action, self.planned.sensor, self._goal)
        return [*self._pace(SLOW), Guide(self._action, self.planned.sensor, 0.0, self._words)]

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if not isinstance(event, Sampled):
            return []
        verdict, temperature = self.around.watcher.verdict, self.around.known.temperature
        if verdict.word in SPOILED:
            self._end(self.spoiled, verdict.why)
        elif event.t - self._began > LONGEST:
            self._end("early", ramps.not_brought_back(LONGEST))
        elif (
            verdict.word not in (WatchWord.LOST, WatchWord.STOPPED, WatchWord.KEEP_ALIVE, *COMING)
            and temperature is not None
            and self._sign * (temperature - self._goal) >= 0
        ):
            self._end()
        return [hands_off(self.planned.sensor)] if self.done else []

    def sentence(self) -> str:
        return self._words


def look_first(planned: Planned, why: str, around: Surroundings) -> Step:
    """A hold point before a sensor begins again."""
    do = TO_DO.get(around.watcher.verdict.word, ends.CHECK_ALL)
    say = ends.look_first(why, do, planned.sensor)
    return Confirm(replace(planned, kind="confirm", say=say, record=ends.CHECKED), around)
