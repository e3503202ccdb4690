"""What the watcher is told of the bench, by a run that goes on and by the evaluation of one that is over: the same code."""

from __future__ import annotations

from runner.engine.watch.look import Look
from runner.engine.watch.verdict import Verdict
from runner.engine.watch.watcher import Watcher
from runner.events import (
    CHARGE,
    DISCHARGE,
    Answered,
    Event,
    LoadIsOn,
    LoadIsSet,
    OutputIsOff,
    OutputIsOn,
    Resumed,
    Sampled,
    SupplyIsSet,
)
from runner.orders import Order, Pace
from runner.vocabulary import Explanation


class Watching:
    """A watcher with the set points and the path it has to know. ``watcher`` is asked for its verdict."""

    def __init__(self, watcher: Watcher) -> None:
        self.watcher = watcher
        self._points = (0.0, 0.0)  # V and A that were read back last
        self._path = ""
        self._look: Look | None = None  # the path is off and on again for it; that is no other path for the watcher

    def ordered(self, order: Order) -> None:
        """An order goes out: how often the current is polled from now on."""
        if isinstance(order, Pace):
            self.watcher.paced(order.interval, order.slow)

    def happened(self, event: Event, *, over_voltage_wanted: bool = False) -> list[Verdict]:
        """The verdicts that an event changes. ``over_voltage_wanted``: the step waits for the trip of an over-voltage."""
        if isinstance(event, Resumed):
            self._look = None
        if self._look is not None:
            return self._looks(self._look, event)
        if isinstance(event, SupplyIsSet):
            self._set((event.voltage, event.current), CHARGE)
        elif isinstance(event, LoadIsSet):
            self._set((0.0, event.current), DISCHARGE)
        elif isinstance(event, OutputIsOn):
            self._path = CHARGE
            self.watcher.expect(CHARGE, *self._points, event.t, over_voltage_wanted=over_voltage_wanted)
        elif isinstance(event, LoadIsOn):
            self._path = DISCHARGE
            self.watcher.expect(DISCHARGE, *self._points, event.t)
        elif isinstance(event, OutputIsOff | Resumed):
            self._path = ""
            return self.watcher.forget(event.t)
        elif isinstance(event, Sampled):
            return self.watcher.take(event)
        elif isinstance(event, Answered) and event.value == Explanation.LOOK:
            self._look = Look(*self._points, self.watcher.smallest)
        elif isinstance(event, Answered):
            return self.watcher.told(event.value, event.by, event.t)
        return []

    def _looks(self, look: Look, event: Event) -> list[Verdict]:
        """While the path is off and on again for a look."""
        look.happened(event)
        if not look.over:
            return []
        self._look = None
        if isinstance(event, OutputIsOff):  # the run ended meanwhile
            self._path = ""
            return self.watcher.forget(event.t)
        return self.watcher.told(look.found, f"the program, after a look ({look.why}),", event.t)

    def _set(self, points: tuple[float, float], path: str) -> None:
        self._points = points
        if self._path == path:
            self.watcher.reset_level(*points)
