"""The guard's process: armed, it waits for the runner to stand it down, to be gone, or to be overdue.

Standard input: the plan, then lines of JSON from the runner. Standard output: one line when it is armed.

Rule 1: it outlives what ends the runner: a session of its own, and no signal from a terminal.
Rule 2: a hung runner is ended first, so that instruments that take one connection are free.
Rule 3: it goes on until everything has read back as off, and says after TOLD_AFTER what a person must do.
"""

from __future__ import annotations

import json
import os
import select
import signal
import sys
import warnings
from typing import Any

from runner.guard.act import Act
from runner.guard.plan import Plan
from runner.guard.pulse import Pulse

LOOK_EVERY = 0.05  # s
IGNORED = ("SIGINT", "SIGHUP", "SIGQUIT", "SIGTSTP", "SIGTERM", "SIGPIPE", "SIGTTOU")


def main() -> int:
    """Wait, and act if that is needed; the exit status."""
    for name in IGNORED:
        signal.signal(getattr(signal, name), signal.SIG_IGN)
    warnings.simplefilter("ignore")  # of optional parts of a backend; nobody reads them here
    first, rest = _first_line()
    plan = Plan.of(first)
    pulse = Pulse(plan.pulse)
    act = Act(plan)
    act.prepare()
    sys.stdout.write("armed\n")
    sys.stdout.flush()
    why = _wait(plan, pulse, act, rest)
    if why:
        act.make_safe(why)
    return 0


def _first_line() -> tuple[str, bytes]:
    """The first line of standard input, and what came with it. Not buffered: ``select`` has to see all the rest."""
    came = b""
    while b"\n" not in came:
        piece = os.read(0, 65536)
        if not piece:
            sys.exit(0)  # the runner has gone before it said what this is about: nothing is on
        came += piece
    line, _, rest = came.partition(b"\n")
    return line.decode(), rest


def _wait(plan: Plan, pulse: Pulse, act: Act, rest: bytes) -> str:
    """Why the guard has to act; nothing if it may go. ``rest`` is what has come behind the plan."""
    waiting: list[int] = [0]
    runner = _process(plan.runner)
    if runner is not None:
        waiting.append(runner)
    seen = 0.0  # by how much the beat was late at the last look: one look alone ends nobody
    pause = 0.0  # what came behind the plan is looked at first
    while True:
        ready = select.select(waiting, [], [], pause)[0]
        pause = LOOK_EVERY
        gone = runner in ready or os.getppid() != plan.runner
        came, ended = _what_came()  # after the look at the runner: what it said last counts, however it ended
        *lines, rest = (rest + came).split(b"\n")
        for line in lines:
            message = _message(line)
            if "stand_down" in message:
                return ""
            act.told(message)
            if "act" in message:
                return str(message["act"])
        if gone or ended:
            act.runner_leaves()
            return "the program has stopped"
        late = pulse.overdue
        if late > plan.patience and seen > plan.patience:
            act.end_runner()
            return f"the program was {late:.1f} s overdue and was ended"
        seen = late


def _message(line: bytes) -> dict[str, Any]:
    """What the runner said; nothing, if a part of it was lost: then the next one is glued to it, and neither is a reason to go."""
    try:
        said = json.loads(line)
    except ValueError:
        return {}
    return said if isinstance(said, dict) else {}


def _what_came() -> tuple[bytes, bool]:
    """All that stands in the pipe now, and whether its other end is closed; waits for nothing."""
    came = b""
    while select.select([0], [], [], 0.0)[0]:
        piece = os.read(0, 65536)
        if not piece:
            return came, True
        came += piece
    return came, False


def _process(number: int) -> int | None:
    """Something to wait on that shows the end of a process, where the system has it."""
    try:
        return os.pidfd_open(number)
    except (AttributeError, OSError):
        return None


if __name__ == "__main__":
    sys.exit(main())
