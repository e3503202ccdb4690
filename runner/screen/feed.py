"""From the run's thread to the screen and back.

Readings supersede each other: the screen gets the newest at most FRAMES times a second and never holds the run up.
Orders (questions, verdicts, the end) are kept one and all, in order. Nothing here waits.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable

from textual.message import Message
from textual.message_pump import MessagePump

from runner.conduct.answer_parsing import Reply
from runner.engine.view import View
from runner.errors import OperatorGone
from runner.events import CHARGE, CURRENT_OF, PROBE_TEMPERATURE, Answered, Sampled
from runner.orders import Ask, AskTaps, End, Order, Withdraw, next_degree
from runner.screen.widgets.strip_chart import Trace

FRAMES = 10.0  # a second


class ViewSeen(Message):
    """The run as it is now. A newer one replaces one that was not handled yet."""

    def __init__(self, view: View) -> None:
        super().__init__()
        self.view = view

    def can_replace(self, message: Message) -> bool:
        return isinstance(message, ViewSeen)


class Told(Message):
    """An order that concerns the person."""

    def __init__(self, order: Order, t: float) -> None:
        super().__init__()
        self.order, self.t = order, t


class ScreenOperator:
    """The operator port of a run with a screen. Its methods are called from the run's thread, ``reply`` from the screen's."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.trace = Trace()
        self._face: MessagePump | None = None
        self._gone = threading.Event()
        self._replies: queue.Queue[tuple[str, Reply]] = queue.Queue()
        self._tapped: queue.Queue[bool] = queue.Queue()  # True: marked, False: missed
        self._taps: AskTaps | None = None
        self._degree = 0.0
        self._asked: Ask | None = None
        self._last_shown = 0.0
        self._held: list[tuple[Order, float]] = []
        self._lock = threading.Lock()

    # ---- the screen's side -----------------------------------------------------------------------------------

    def attach(self, face: MessagePump) -> None:
        """The screen is up; what was said before is said now."""
        with self._lock:
            self._face = face
            for order, t in self._held:
                face.post_message(Told(order, t))
            self._held.clear()

    def detach(self) -> None:
        """The screen is gone; the next question finds nobody."""
        self._gone.set()

    def reply(self, question: str, reply: Reply) -> None:
        """The person answers this question."""
        self._replies.put((question, reply))

    def tap(self) -> None:
        """The person presses the key as a display passes its next degree."""
        self._tapped.put(True)

    def miss(self) -> None:
        """The person has missed the next degree: the one after it comes next."""
        self._tapped.put(False)

    @property
    def degree(self) -> float:
        """The degree (°C) that the next key marks."""
        return self._degree

    # ---- the run's side --------------------------------------------------------------------------------------

    def told(self, order: Order, t: float) -> None:
        if isinstance(order, Withdraw) and self._asked is not None and self._asked.question == order.question:
            self._asked = None
        if isinstance(order, Ask):
            self._asked = order
        if isinstance(order, End):
            self._last_shown = 0.0  # the last picture is shown whatever was shown a moment ago: nothing flows any more
        if isinstance(order, AskTaps):
            self._taps, self._degree = (order if order.step else None), order.first
        with self._lock:
            if self._face is None:
                self._held.append((order, t))
            else:
                self._face.post_message(Told(order, t))

    def show(self, look: Callable[[], View], t: float) -> None:
        now = time.monotonic()
        if now - self._last_shown < 1 / FRAMES or self._face is None:
            return
        self._last_shown = now
        view = look()
        lost, current = view.lost, CURRENT_OF[view.path or CHARGE]
        self.trace.add(
            view.t,
            None if PROBE_TEMPERATURE in lost else view.readings.get(PROBE_TEMPERATURE),
            None if current in lost else view.readings.get(current),
        )
        self._face.post_message(ViewSeen(view))

    def answers(self, t: float) -> list[Answered | Sampled]:
        if self._gone.is_set() and self._asked is not None:
            raise OperatorGone.input_ended(self._asked.say)
        found: list[Answered | Sampled] = []
        while not self._replies.empty():
            question, reply = self._replies.get_nowait()
            if self._asked is not None and question == self._asked.question:
                self._asked = None
                found.append(Answered(t, question, reply.value, self.name, reply.note, reply.files))
        while not self._tapped.empty():
            marked = self._tapped.get_nowait()
            if self._taps is None:
                continue
            if marked:
                found.append(Sampled(t, {PROBE_TEMPERATURE: self._degree}, by_hand=True))
            self._degree = next_degree(self._degree, self._taps.step)
        return found
