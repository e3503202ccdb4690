"""What goes wrong between a program and an instrument, once something is on: late, half, noise, unplugged, off and on again."""

import threading
import time

KINDS = ("none", "late", "half", "noise", "unplugged", "power cycle", "back on")
UNPLUGGED = 5.0  # s of the instrument's own time
EVERY, TIMES = 2.0, 3  # s of real time between two replies that are spoilt, and how many are
SOON, LATEST = 0.4, 8.0  # s of real time after something is on; the latest that is drawn


class Trouble:
    """``replied(whole)`` gives what is sent in place of a reply: bytes and pauses. ``line`` has ``unplug`` and ``plug``.

    ``begins()`` says that something is on, from when on it counts; ``reset(kind)`` takes the settings of the instrument away:
    of one that is "back on" all but whether it is on.
    ``late``: s by which a late reply is late. ``dice``: when it begins, SOON without; the pauses are up to twice or half as long.
    """

    def __init__(self, kind, begins, speed, late, reset=lambda kind: None, dice=None):
        self.kind, self._begins, self._speed, self._late, self._reset = kind, begins, speed, late, reset
        self._soon = SOON if dice is None else dice.uniform(0.0, LATEST)
        self._every = [EVERY if dice is None else EVERY * 2 ** dice.uniform(-1, 1) for _ in range(TIMES)]
        self.line, self.done, self._spoil = None, 0, False
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        if kind != "none":
            self._thread.start()

    def replied(self, whole):
        """The reply as it is sent now."""
        if whole is None or not self._spoil:
            return whole
        self._spoil = False
        self.done += 1
        return {
            "late": (self._late, whole),
            "half": (whole[: len(whole) // 2],),
            "noise": (b"\x8f\xa1\xfe", whole),
        }[self.kind]

    def close(self):
        self._over.set()
        if self._thread.is_alive():
            self._thread.join()

    def _run(self):
        while not self._begins():
            if self._over.wait(0.02):
                return
        if self._over.wait(self._soon):
            return
        if self.kind in ("unplugged", "power cycle", "back on"):
            self.line.unplug()
            if self.kind != "unplugged":
                self._reset(self.kind)
            time.sleep(UNPLUGGED / self._speed)
            self.line.plug()
            self.done += 1
            return
        for pause in self._every:
            self._spoil = True
            if self._over.wait(pause):
                return
