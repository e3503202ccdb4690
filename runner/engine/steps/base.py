"""What every step is: told events, answering with orders, until it is done."""

from __future__ import annotations

from dataclasses import dataclass

from runner.engine.known import Known
from runner.engine.program import Planned, Program
from runner.engine.watcher import Verdict, Watcher
from runner.events import Event
from runner.orders import Order, Pace

SLOW_PACE = Pace(1.0, 1.0)  # s: nothing is about to happen
FAST_PACE = Pace(0.25, 0.5)  # s: a trip may come at any moment; u(τ) = 0.25 s / √12 = 0.07 s


@dataclass
class Surroundings:
    """What a step may look at. It changes none of it."""

    program: Program
    known: Known
    watcher: Watcher


class Step:
    """One step while it runs.

    ``done`` says it has ended; ``skip`` then says what comes next: nothing special, the end of this sensor's steps
    ("group"), or the end of the procedure ("rest"), with ``why``.
    """

    asks = False  # True while the step waits for a person

    def __init__(self, planned: Planned, around: Surroundings) -> None:
        self.planned, self.around = planned, around
        self.done = False
        self.skip = ""
        self.why = ""

    def begin(self, t: float) -> list[Order]:
        """The step's first orders, at time ``t``."""
        raise NotImplementedError

    def receive(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        """What to do now that this has happened; ``verdicts`` are those the watcher changed on this event."""
        raise NotImplementedError

    def sentence(self) -> str:
        """What the operator is to do now, in one sentence."""
        return self.planned.say or self.planned.title

    def remaining(self) -> float | None:
        """Seconds this step may still take, if that can be said."""
        return None

    def _end(self, skip: str = "", why: str = "") -> None:
        self.done, self.skip, self.why = True, skip, why
