"""An instrument that talks unasked: somebody listens all the time, and what counts is the newest line and its age.

Rule 1: the first line after an opening may have lost its beginning, and is thrown away.
Rule 2: a line that is older than the time-out is no reading, whatever it says.
"""

from __future__ import annotations

import re
import threading
import time
from collections import deque
from functools import partial

from runner.bench.link import GRACE, OPEN_TIMEOUT, Link
from runner.errors import LinkError, printable

KEPT = 50  # lines: among so many the newest that fits is looked for
AGAIN_AFTER = 0.5  # s between two attempts to open


class Listener(Link):
    """A link that is never asked. ``newest`` gives what came last. Its thread lives from the first use to ``finish``."""

    def __init__(self, *args: object, **more: object) -> None:
        super().__init__(*args, **more)  # type: ignore[arg-type]
        self._lines: deque[tuple[str, float]] = deque(maxlen=KEPT)
        self._came = threading.Condition()
        self._fault: LinkError | None = None
        self._reader: threading.Thread | None = None
        self._over = threading.Event()

    def newest(self, pattern: str) -> tuple[str, float]:
        """The newest line that fits, and its age in s of real time.

        Waits for the first one. Raises LinkError if there is none that is young enough.
        """
        self._listen()
        until = time.monotonic() + self.timeout + (0.0 if self._lines else OPEN_TIMEOUT + self.framing.wake)
        self.announce(until - time.monotonic() + GRACE)
        with self._came:
            while True:
                now = time.monotonic()
                for text, at in reversed(self._lines):
                    if now - at <= self.timeout and re.fullmatch(pattern, text):
                        return text, now - at
                fault = self._fault
                if now >= until or (fault is not None and fault.kind in ("missing", "address", "refused")):
                    break
                self._came.wait(until - now)
            said = self._lines[-1][0] if self._lines else ""
        if fault is not None:
            raise LinkError(fault.kind, fault.what, self.instrument, "", fault.remedy)
        raise LinkError.says_nothing_new(self.instrument, self.timeout, printable(said))

    def finish(self) -> None:
        """End listening and close the session. Never raises."""
        self._over.set()
        reader, self._reader = self._reader, None
        if reader is not None and reader is not threading.current_thread():
            reader.join(self.timeout + GRACE)
        super().finish()

    def _listen(self) -> None:
        if self._reader is None:
            self._over.clear()
            self._reader = threading.Thread(target=self._run, name=f"listen to {self.instrument}", daemon=True)
            self._reader.start()

    def _run(self) -> None:
        first = True
        while not self._over.is_set():
            try:
                if self._session.line is None:
                    first = True
                    self._open()
                text = self._guarded("", partial(self._heard, time.monotonic() + self.timeout)).decode("latin1").strip()
            except LinkError as fault:
                with self._came:
                    self._fault = fault
                    self._came.notify_all()
                self._over.wait(AGAIN_AFTER)
                continue
            if not first and text:
                with self._came:
                    self._fault = None
                    self._lines.append((text, time.monotonic()))
                    self._came.notify_all()
            first = False

    def _heard(self, until: float) -> bytes:
        return self._conversation.listen(until, self.instrument)
