"""The terminal app: puts a run's thread and its screen side by side, and waits for both."""

from __future__ import annotations

import gc
import os
import signal
import sys
import threading
from collections.abc import Callable, Sequence
from functools import partial
from math import inf
from typing import Any

from textual.binding import Binding
from textual.events import Event, InputEvent

from reports.headline import headline
from runner.conduct.execute import Result
from runner.conduct.interfaces import Operator, StopFlag
from runner.conduct.resume import how_to_go_on
from runner.conduct.run_thread import RunThread
from runner.conduct.texts.runs import BY_SIGNAL
from runner.measure.finding import Finding
from runner.screen.feed import ScreenOperator
from runner.screen.run import RunScreen
from runner.screen.texts import run as texts
from runner.screen.texts.past import ended_early
from runner.screen.themes import Dressed
from runner.vocabulary import Exit
from runner.workspace.job import Job

HAND_OVER = 0.0005  # s: Python's thread switch interval during a run (5 ms is usual), so that sampling is not held up by drawing
GOODBYE = 5.0  # s that a screen is given to go away after a signal
LOOK_EVERY = 0.1  # s between two looks at whether the run has ended


class RunApp(Dressed[None]):
    """A view on a run. Leaving it stops the run; the run does not depend on it for the way out."""

    BINDINGS = [Binding("f8", "stop_run", "STOP", show=False, priority=True)]  # also with a dialog in front

    def __init__(
        self,
        job: Job,
        headings: Sequence[str],
        operator: ScreenOperator,
        stop: StopFlag,
        thread: RunThread[Result],
        line: Callable[[Finding], str],
        plan: Sequence[str] = (),
        *,
        certificate: Callable[[Result], str] | None = None,
        watching: bool = False,
        speed: float = 1.0,
    ) -> None:
        """``certificate`` makes the certificate of a result and gives its path; ``watching``: somebody else answers.

        ``speed`` of the run's clock against the one on the wall.
        """
        super().__init__()
        self.speed = speed
        self.plan, self.certificate, self.watching = plan, certificate, watching
        self.job, self.headings, self.operator, self.stop = job, headings, operator, stop
        self.thread, self.line = thread, line
        self.pressed_at = -inf
        self._told_the_end = False
        self._suspend: Any = None
        self._switched = sys.getswitchinterval()

    async def on_event(self, event: Event) -> None:
        if isinstance(event, InputEvent):
            self.pressed_at = event.time
        await super().on_event(event)

    def on_mount(self) -> None:
        self.push_screen(
            RunScreen(
                self.job, self.headings, self.operator, self.stop, self.plan, watching=self.watching, speed=self.speed
            )
        )
        self.set_interval(LOOK_EVERY, self._look_at_the_run)
        self._switched = sys.getswitchinterval()
        sys.setswitchinterval(HAND_OVER)
        if hasattr(signal, "SIGTSTP"):  # Textual would suspend the program, with whatever is on
            self._suspend = signal.signal(signal.SIGTSTP, lambda *_: self.stop.press(BY_SIGNAL["SIGTSTP"]))
        gc.collect()
        gc.freeze()  # else looking through all that is loaded holds up sampling by a tenth of a second, again and again
        self.thread.start()

    def on_unmount(self) -> None:
        if self._suspend is not None:
            signal.signal(signal.SIGTSTP, self._suspend)
        sys.setswitchinterval(self._switched)
        gc.unfreeze()
        self.operator.detach()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """When the run is over, the key goes back to what stands in front."""
        return not (action == "stop_run" and (self._run_screen is None or self._run_screen.end is not None))

    def action_stop_run(self) -> None:
        """Stop, whatever is in front of the run's screen, and bring that to the front."""
        run_screen = self._run_screen
        if run_screen is None:
            return
        run_screen.action_stop()
        while self.screen is not run_screen:
            self.pop_screen()

    @property
    def can_stop(self) -> bool:
        run_screen = self._run_screen
        return run_screen is not None and run_screen.end is None

    @property
    def _run_screen(self) -> RunScreen | None:
        return next((screen for screen in self.screen_stack if isinstance(screen, RunScreen)), None)

    def _look_at_the_run(self) -> None:
        if not self.thread.done:
            return
        result = self.thread.outcome
        if result is None or self.stop.signal:
            self.exit()
            return
        screen = self._run_screen
        if screen is not None and screen.is_whole and not self._told_the_end:
            self._told_the_end = True
            lines = [self.line(finding) for finding in result.evaluation.findings]
            screen.finished([*_summary(result), *lines], str(result.folder.path))

    def show_findings(self) -> None:
        """Everything about what was found, once it is there."""
        result = self.thread.outcome
        if result is None:
            return
        from runner.screen.findings import FindingsScreen

        make = self.certificate
        certificate = (lambda: make(result)) if make is not None else None
        evaluation, where = result.evaluation, str(result.folder.path)
        self.push_screen(
            FindingsScreen(self.headings, evaluation.findings, where, certificate, "\n".join(_summary(result)))
        )


def _summary(result: Result) -> list[str]:
    """What holds for the pack, and how a run that ended early goes on."""
    way_on = ended_early(how_to_go_on(result.folder.path)) if result.outcome.early else ""
    return list(filter(None, (headline([result.evaluation]).line, way_on)))


def show_run(
    job: Job,
    headings: Sequence[str],
    name: str,
    stop: StopFlag,
    work: Callable[[Operator], Result],
    line: Callable[[Finding], str],
    plan: Sequence[str] = (),
    *,
    certificate: Callable[[Result], str] | None = None,
    answering: Callable[[ScreenOperator], Operator] = lambda screen: screen,
    watching: bool = False,
    speed: float = 1.0,
) -> Result:
    """Run ``work`` in a thread of its own with a screen in front of it; what it returned.

    ``answering`` makes of the screen's operator the one that the run is given; ``watching``: it answers by itself.

    Whatever becomes of the screen, the run's thread is waited for, so the bench is off when this returns or raises.
    """
    operator = ScreenOperator(name)
    answers, over, leaving = answering(operator), threading.Event(), threading.Lock()
    thread: RunThread[Result] = RunThread(lambda: work(answers))
    issue = None if plan else certificate  # a run of a session has its certificate together with the others
    way_out = partial(_way_out, thread, stop, over, leaving, issue)
    threading.Thread(target=way_out, name="way-out", daemon=True).start()
    try:
        RunApp(
            job, headings, operator, stop, thread, line, plan, certificate=certificate, watching=watching, speed=speed
        ).run()
    finally:
        operator.detach()
        if thread.started:
            thread.leave(stop, texts.CLOSED)
        with (
            leaving
        ):  # one makes the certificate: the way out, which then ends the process, or who comes back from here
            over.set()
    return thread.leave(stop, texts.CLOSED)


def _way_out(
    thread: RunThread[Result],
    stop: StopFlag,
    over: threading.Event,
    leaving: threading.Lock,
    certificate: Callable[[Result], str] | None,
) -> None:
    """End the process where the screen cannot: on a terminal that is gone, its drawing may wait for ever.

    Only after a signal, and only when the run is over, the bench off and the findings written. The certificate is made first.
    """
    while not over.wait(LOOK_EVERY):
        if not (stop.signal and thread.done) or over.wait(GOODBYE):
            continue
        with leaving:
            if over.is_set():
                return
            try:
                if certificate is not None and thread.outcome is not None:
                    certificate(thread.outcome)
            finally:
                os._exit(Exit.ENDED_EARLY)
