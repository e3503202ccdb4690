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
from runner.conduct.texts import answers as texts
from runner.engine.program import Program
from runner.errors import RecordError
from runner.events import Answered, Event
from runner.orders import Ask, Order, Remark
from runner.record.folder import RunFolder
from runner.vocabulary import Wants

Work = Callable[[], Event | None]  # an event that is stamped when it is fetched


@dataclasses.dataclass(frozen=True)
class Kept:
    """The files of a mark that has counted already: for the record alone."""

    answer: Answered


class Aside:
    """Told every order; ``done`` gives what has come of it: events, questions to be asked again, remarks, files of marks."""

    def __init__(self, program: Program, folder: RunFolder, clock: Clock) -> None:
        self._folder, self._clock = folder, clock
        self._foresight = Foresight(program, folder)
        self._asked: dict[str, Ask] = {}
        self._done: queue.SimpleQueue[Event | Order | Kept] = queue.SimpleQueue()

    def told(self, order: Order, t: float) -> None:
        """An order of the run, at its time ``t`` in s."""
        if isinstance(order, Ask):
            self._asked[order.question] = order
        work = self._foresight.take(order, t)
        if work is not None:
            self._clock.aside(partial(self._do, work))

    def attach(self, answer: Answered) -> Answered | None:
        """Copy the files of an answer into the run folder; the answer comes when they are there, or its question again.

        A mark is of its moment and does not wait: it comes back here, without its files.
        """
        asked = self._asked.get(answer.question)
        marks = asked is not None and asked.wants == Wants.MARK
        self._clock.aside(partial(self._copy, answer, marks=marks))
        return dataclasses.replace(answer, files=()) if marks else None

    def done(self, t: float) -> list[Event | Order | Kept]:
        """What has come, stamped ``t``."""
        found: list[Event | Order | Kept] = []
        while not self._done.empty():
            each = self._done.get()
            found.append(dataclasses.replace(each, t=t) if isinstance(each, Event) else each)
        return found

    def _do(self, work: Work) -> None:
        event = work()
        if event is not None:
            self._done.put(event)

    def _copy(self, answer: Answered, *, marks: bool) -> None:
        try:
            files = tuple(self._folder.keep_attachment(path) for path in answer.files)
        except RecordError as error:
            if marks:
                self._done.put(Remark(texts.file_of_mark(str(error))))
                return
            asked = self._asked.get(answer.question)
            if asked is not None:
                self._done.put(dataclasses.replace(asked, say=texts.file_refused(str(error), asked.say)))
            return
        with_files = dataclasses.replace(answer, files=files)
        self._done.put(Kept(with_files) if marks else with_files)
