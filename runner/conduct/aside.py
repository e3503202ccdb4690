"""What takes long and is done beside the run, which polls, watches its ceilings and hears the stop key meanwhile.

Two things: forecasts from the record so far, and copying what a person attaches. What comes of them is fetched by the loop
in its next turns; nothing here touches the run, the bench or the journal.
"""

from __future__ import annotations

import dataclasses
import queue
from collections.abc import Callable
from functools import partial

from runner.conduct.forecast import Foresight
from runner.conduct.interfaces import Clock
from runner.engine.program import Program
from runner.errors import RecordError
from runner.events import Answered, Event
from runner.orders import Ask, Order
from runner.record.folder import RunFolder

Work = Callable[[], Event | None]  # an event that is stamped when it is fetched


class Aside:
    """Told every order; ``done`` gives what has come of it: events, and questions to be asked again."""

    def __init__(self, program: Program, folder: RunFolder, clock: Clock) -> None:
        self._folder, self._clock = folder, clock
        self._foresight = Foresight(program, folder)
        self._asked: dict[str, Ask] = {}
        self._done: queue.SimpleQueue[Event | Ask] = queue.SimpleQueue()

    def told(self, order: Order, t: float) -> None:
        """An order of the run, at its time ``t`` in s."""
        if isinstance(order, Ask):
            self._asked[order.question] = order
        work = self._foresight.take(order, t)
        if work is not None:
            self._clock.aside(partial(self._do, work))

    def attach(self, answer: Answered) -> None:
        """Copy the files of an answer into the run folder; the answer comes when they are there, or its question again."""
        self._clock.aside(partial(self._copy, answer))

    def done(self, t: float) -> list[Event | Ask]:
        """What has come, stamped ``t``."""
        found: list[Event | Ask] = []
        while not self._done.empty():
            each = self._done.get()
            found.append(each if isinstance(each, Ask) else dataclasses.replace(each, t=t))
        return found

    def _do(self, work: Work) -> None:
        event = work()
        if event is not None:
            self._done.put(event)

    def _copy(self, answer: Answered) -> None:
        try:
            files = tuple(self._folder.keep_attachment(path) for path in answer.files)
        except RecordError as error:
            asked = self._asked.get(answer.question)
            if asked is not None:
                self._done.put(dataclasses.replace(asked, say=f"{error}. {asked.say}"))
            return
        self._done.put(dataclasses.replace(answer, files=files))
