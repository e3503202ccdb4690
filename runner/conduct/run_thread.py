"""The thread a run lives in when a screen has the main thread. The run owns it; the screen is a guest that may leave."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Generic, TypeVar

from runner.conduct.interfaces import StopFlag
from runner.conduct.texts import runs as texts

T = TypeVar("T")
LONGEST_WAY_OUT = 60.0  # s: a stop, an output off on a bad connection, the evaluation


class RunThread(Generic[T]):
    """Runs ``work`` once. Not a daemon: the program does not end before the bench is off."""

    def __init__(self, work: Callable[[], T]) -> None:
        self._work = work
        self._result: T | None = None
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._run, name="run")

    def start(self) -> None:
        self._thread.start()

    @property
    def started(self) -> bool:
        return self._thread.ident is not None

    @property
    def done(self) -> bool:
        return self.started and not self._thread.is_alive()

    @property
    def outcome(self) -> T | None:
        """What the work returned, or None while it goes on or if it raised."""
        return self._result

    def leave(self, stop: StopFlag, by: str) -> T:
        """Wait for the end, after asking for it if it has not come; what the work returned, or the error it raised."""
        if not self.started:
            raise RuntimeError(texts.NOT_OPENED)
        if not self.done:
            stop.press(by)
        self._thread.join(LONGEST_WAY_OUT)
        if self._error is not None:
            raise self._error
        if self._result is None:
            raise TimeoutError(texts.does_not_end(LONGEST_WAY_OUT))
        return self._result

    def _run(self) -> None:
        try:
            self._result = self._work()
        except BaseException as error:  # noqa: BLE001 - handed to whoever waits for the thread
            self._error = error
