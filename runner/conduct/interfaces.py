"""What the loop needs of the world, as protocols: doubles and the real things are interchangeable."""

from __future__ import annotations

import threading
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from runner.bench.assembly import Readings
from runner.bench.carrying import OrderedBench
from runner.engine.view import View
from runner.events import Answered, Sampled
from runner.orders import Order


class Clock(Protocol):
    """Everything that waits or stamps asks the clock it was given. ``speed``: its seconds in a second of real time.

    ``runs_by_itself``: time passes also while nobody sleeps, so several things can be done at once.
    """

    speed: float

    @property
    def runs_by_itself(self) -> bool: ...

    def now(self) -> float:
        """Monotonic seconds."""

    def sleep(self, seconds: float) -> None:
        """Let time pass."""

    def utc(self) -> str:
        """The wall clock, ISO 8601, UTC."""

    def aside(self, job: Callable[[], None]) -> None:
        """Do something slow beside the run, which goes on."""

    def suspended(self) -> float:
        """Seconds that the machine has been suspended, since any moment in the past."""

    def together(self, jobs: Mapping[str, Callable[[], None]], seconds: float) -> None:
        """Do several things at once; back when all are done, or ``seconds`` of real time are over."""


class Operator(Protocol):
    """Whoever stands at the bench. None of these may block."""

    def told(self, order: Order, t: float) -> None:
        """An order that concerns a person: a question, what the hands are to do, what the watcher thinks, the end."""

    def show(self, look: Callable[[], View], t: float) -> None:
        """The run has moved on, it is ``t``; ``look()`` builds the View: call it before returning, the run goes on afterwards."""

    def answers(self, t: float) -> list[Answered | Sampled]:
        """What was answered, or read off a display, since the last call. Raises OperatorGone if nobody is left."""


class BenchPort(OrderedBench, Protocol):
    """The part of a bench that the loop uses."""

    def poll_path(self, path: str, into: Readings) -> None: ...

    def poll_slow(self, into: Readings, roles: Collection[str] | None = None) -> None: ...

    def poll_idle(self, path: str, into: Readings) -> None: ...

    def slow_groups(self) -> list[tuple[str, ...]]: ...

    def off(self, *, everything: bool = True) -> tuple[bool, str]: ...

    def old_errors(self) -> list[tuple[str, str]]: ...


class Watch(Protocol):
    """Whoever makes the bench safe if the loop cannot. ``Unwatched`` stands for nobody. None of these may block."""

    def own(self) -> None:
        """Beats of the calling thread count from now on."""

    def beat(self, seconds: float) -> None:
        """The loop lives, and is heard of again within ``seconds`` of real time."""

    def by_hand(self, say: Sequence[str]) -> None:
        """What a person would have to do if the loop were gone now."""

    @property
    def alive(self) -> bool: ...


class Unwatched:
    """Nobody watches: the bench is in this process and goes with it."""

    alive = True

    def own(self) -> None: ...

    def beat(self, seconds: float) -> None: ...

    def by_hand(self, say: Sequence[str]) -> None: ...


class StopFlag:
    """Raised by a key, a signal or a closed screen, from any thread; the loop looks at it in every slice."""

    def __init__(self) -> None:
        self._event = threading.Event()
        self.by = ""
        self.signal = ""  # the name of the last signal, if one came, also after the run: nobody may be there any more

    def press(self, by: str) -> None:
        """Ask for the run to end. The first one's name is kept."""
        if not self._event.is_set():
            self.by = by
            self._event.set()

    def signalled(self, name: str, by: str = "") -> None:
        """A signal wants the run to end, and whatever waits for a person after it; ``by``: what that is in words."""
        self.signal = name
        self.press(by or name)

    @property
    def pressed(self) -> bool:
        return self._event.is_set()


@dataclass(frozen=True)
class RunOutcome:
    """How a run ended. ``safe`` is False if somebody has to look at once; ``off``: supply and load have read back as off.

    ``urgent`` is what a person has to do at once, in sentences.
    """

    early: bool
    safe: bool
    reason: str
    off: bool = True
    urgent: str = ""
