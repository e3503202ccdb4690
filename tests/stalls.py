"""How long this machine stood still while a test waited for something: what it lost is not the program's fault.

A thread sleeps and looks by how much it wakes too late. What the machine lost is taken off a time that a test measures; a test in scaled
time, in which a second is a minute, is done again if it failed and the machine stood still in it.
"""

import inspect
import subprocess
import threading
import time

EVERY, LATE = 0.02, 0.1  # s of a sleep; by how much later than that is standing still
STOOD, TIMES = 0.5, 3  # s in a row after which a failure may be the machine's; how often a test is tried then
FAILED = (AssertionError, subprocess.SubprocessError, OSError, ValueError, LookupError)


class Stalls:
    """Use as a context manager around what is measured. ``lost``: s in which nothing ran; ``longest`` of them in a row."""

    def __init__(self):
        self.lost, self.longest = 0.0, 0.0
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def _run(self):
        before = time.monotonic()
        while not self._over.wait(EVERY):
            late, before = time.monotonic() - before - EVERY, time.monotonic()
            if late > LATE:
                self.lost, self.longest = self.lost + late, max(self.longest, late)

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *error):
        self._over.set()
        self._thread.join()


def again_after_a_stall(makes):
    """Of a test of ``tmp_path`` and ``world``: each time it gets a folder of its own, and a world of ``makes()``, a context manager."""

    def wrapped(test):
        def run(tmp_path, **more):
            for number in range(1, TIMES + 1):
                folder = tmp_path / str(number)
                folder.mkdir()
                with Stalls() as stalls:
                    try:
                        with makes() as world:
                            return test(folder, world, **more)
                    except FAILED:
                        if number == TIMES or stalls.longest < STOOD:
                            raise
            return None

        wanted = inspect.signature(test).parameters.values()
        run.__signature__ = inspect.Signature([each for each in wanted if each.name != "world"])
        run.__name__, run.__doc__ = test.__name__, test.__doc__
        return run

    return wrapped
