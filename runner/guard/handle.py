"""The runner's end of its guard: starts it, beats, tells it what a person would have to do, and stands it down."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path

from runner.errors import GuardMissing
from runner.guard.plan import PATIENCE, Plan, Target
from runner.guard.pulse import Pulse

ARM_TIME = 20.0  # s: a busy machine may take so long to start a process
STAND_DOWN_TIME = 3.0  # s
_GOING_ON: list[subprocess.Popen[bytes]] = []  # guards that outlive their handle: nobody waits for them
MEANWHILE = 600.0  # s announced while the guard and the bench are made ready: nothing is on yet


def possible() -> bool:
    """Whether this system has what a guard needs."""
    return os.name == "posix"


class Guard:
    """A guard that has been started. Beats count from the thread that calls ``own`` and from no other."""

    def __init__(self, targets: Sequence[Target], locks: Sequence[int] = (), patience: float = PATIENCE) -> None:
        """Start the process; ``armed`` waits for it. ``locks`` are file descriptors it holds until it has finished.

        Raises GuardMissing.
        """
        self._pulse = Pulse.new()
        self._pulse.beat(MEANWHILE)
        self._owner: int | None = None  # until the run's loop begins, nothing is on and nobody's beats count
        self._by_hand: list[str] = []
        self._over = False
        terminal = _terminal()
        plan = Plan(os.getpid(), tuple(targets), self._pulse.fd, terminal, patience)
        inherited = [self._pulse.fd, *locks, *([terminal] if terminal >= 0 else [])]
        here = str(Path(__file__).resolve().parent.parent.parent)
        paths = [here, *filter(None, [os.environ.get("PYTHONPATH")])]
        try:
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-m", "runner.guard"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
                pass_fds=inherited,
                start_new_session=True,
            )
        except OSError as error:
            self._pulse.close()
            raise GuardMissing.not_started(error.strerror or str(error)) from error
        finally:
            if terminal >= 0:
                os.close(terminal)
        assert self._process.stdin is not None
        os.set_blocking(self._process.stdin.fileno(), False)
        self._tell(plan.line())

    def armed(self, folder: Path | None) -> None:
        """Wait until it is armed, and say where its record goes, if anywhere. Raises GuardMissing."""
        said: list[bytes] = []
        output = self._process.stdout
        assert output is not None
        reader = threading.Thread(target=lambda: said.append(output.readline()), daemon=True)
        reader.start()
        reader.join(ARM_TIME)
        if said != [b"armed\n"]:
            self._process.kill()
            self._process.wait()
            reader.join()
            self._over = True
            self._forget()
            raise GuardMissing.not_started("it did not start")
        if folder is not None:
            self._tell(json.dumps({"folder": str(folder.resolve())}))

    def own(self) -> None:
        """Beats of the calling thread count from now on."""
        self._owner = threading.get_ident()

    def beat(self, seconds: float) -> None:
        """The run's loop lives; its next beat comes within ``seconds`` of real time. Ignored from any other thread."""
        if threading.get_ident() == self._owner:
            self._pulse.beat(seconds)

    def by_hand(self, say: Sequence[str]) -> None:
        """What a person would have to do if the runner were gone now."""
        if list(say) != self._by_hand:
            self._by_hand = list(say)
            self._tell(json.dumps({"by hand": self._by_hand}))

    @property
    def process(self) -> int:
        """Its process id."""
        return self._process.pid

    @property
    def alive(self) -> bool:
        return self._process.poll() is None

    def take_over(self, why: str) -> None:
        """The runner could not confirm everything off: the guard goes on trying, on connections of its own."""
        if not self._over:
            self._over = True
            self._tell(json.dumps({"act": why}))
            _GOING_ON.append(self._process)
            self._forget()

    def stand_down(self) -> None:
        """Everything is off: the guard is no longer needed. Never raises."""
        if self._over:
            return
        self._over = True
        self._pulse.beat(MEANWHILE)
        self._tell(json.dumps({"stand_down": True}))
        try:
            self._process.wait(STAND_DOWN_TIME)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._forget()

    def _forget(self) -> None:
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
        self._pulse.close()

    def _tell(self, line: str) -> None:
        """A full pipe or a dead guard raises nothing: ``alive`` shows it."""
        assert self._process.stdin is not None
        until = time.monotonic() + 1.0
        content = line.encode() + b"\n"
        while content and time.monotonic() < until:
            try:
                content = content[os.write(self._process.stdin.fileno(), content) :]
            except BlockingIOError:
                time.sleep(0.01)
            except (OSError, ValueError):
                return


def _terminal() -> int:
    """A descriptor of the terminal that a screen would take, or -1."""
    for fd in (0, 1, 2):
        with contextlib.suppress(OSError):
            if os.isatty(fd):
                return os.dup(fd)
    return -1
