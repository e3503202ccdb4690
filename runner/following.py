"""A run that another process conducts, shown on the screen or in lines."""

from __future__ import annotations

import sys
import time
from pathlib import Path

from runner.plain import Printer
from runner.seal.verify import verify
from runner.vocabulary import Exit

FOLLOW_EVERY = 0.2  # s between two looks at a run that is followed


def follow(folder: Path, *, plain: bool) -> int:
    """Show a run that somebody else conducts until it is left, or its lines until it is over. Raises RecordError."""
    from runner.conduct.follow import Follower, newest_run

    follower = Follower(newest_run(folder))
    for said in verify(follower.folder.path, None).differences:
        print(f"EVIDENCE CHANGED since it was recorded: {said}", file=sys.stderr)
    if not plain and sys.stdin.isatty() and sys.stdout.isatty():
        from runner.screen.follow import FollowApp

        FollowApp(follower).run()
        return Exit.PASS
    printer = Printer(follower.job.program.cautions, follower.job.program.prepare, sys.stdout)
    while follower.ended is None:
        told, samples = follower.look()
        for what, t in told:
            printer.told(what, t)
        if samples:
            printer.show(lambda: follower.view, follower.view.t)
        if not told and not samples:
            time.sleep(FOLLOW_EVERY)
    return Exit.PASS
