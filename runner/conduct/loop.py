"""The loop that carries a run out: journal first, then do, then tell the engine what really happened.

Rule 1: nothing is done before its order is on disk.
Rule 2: whatever happens in here, the bench is off afterwards: ``carry_out`` switches it off in its ``finally`` unless the
        engine has already seen it confirmed off.
Rule 3: waiting is done in slices, so a stop is seen within one.
"""

from __future__ import annotations

import contextlib
import traceback
from collections import deque
from collections.abc import Iterator

from runner.bench.carrying import Carrying
from runner.conduct.aside import Aside, Kept
from runner.conduct.interfaces import BenchPort, Clock, Operator, RunOutcome, StopFlag, Unwatched, Watch
from runner.conduct.resume import Resumption
from runner.conduct.sampling import Sampler
from runner.conduct.texts import runs as texts
from runner.engine.run import Run
from runner.engine.states import State
from runner.engine.view import View, look
from runner.errors import BenchError, LinkError, OperatorGone, RecordError
from runner.events import (
    Answered,
    Complained,
    Event,
    Faulted,
    GuardEnded,
    InputsKept,
    NobodyConfirmed,
    OrderFailed,
    OutputIsOff,
    Resumed,
    Sampled,
    SamplesKept,
    Started,
    StopPressed,
    Suspended,
)
from runner.orders import End, Guide, LoadOn, Order, Pace, SetLimits, SetLoad, SetSupply, SwitchOff, SwitchOn
from runner.record.folder import EVENTS, SAMPLES, RunFolder
from runner.record.journal import Journal
from runner.record.samples import SampleWriter

LONGEST_TURN = 0.15  # s of real time that a turn without an exchange takes at most, its pause included
RETRIED = (SetLimits, SetSupply, SwitchOn, SetLoad, LoadOn, Guide)  # saying them twice says no more than once
RETRY_FOR, RETRY_EVERY = 12.0, 1.0  # s of the run's time
DISK_TIME = 1.0  # s of real time that one line may take to be on disk
LEAST_SUSPENSION = 2.0  # s that count as one
COMMIT_EVERY = 60.0  # s of the run's time: how much of the samples the journal has no sum of at most
CONFIRMED_WITHIN, MOST_SPEED = 120.0, 50.0  # s of real time in which a person confirms what is off; up to which speed
SLICE = 0.05  # s of the clock's time that is slept at most before the stop flag is looked at, in real time


class Loop:
    """One run on one bench. ``carry_out`` returns when the bench is off and the record closed."""

    def __init__(
        self,
        run: Run,
        bench: BenchPort,
        operator: Operator,
        clock: Clock,
        folder: RunFolder,
        stop: StopFlag,
        resumption: Resumption | None = None,
        watch: Watch | None = None,
        *,
        simulated: bool = False,
    ) -> None:
        self.simulated = simulated
        self.watch = watch or Unwatched()
        self._suspended = clock.suspended()
        self.run, self.bench, self.operator, self.clock, self.stop = run, bench, operator, clock, stop
        self.folder = folder
        self.resumption = resumption
        passed = resumption.elapsed(clock.utc()) if resumption is not None else 0.0
        self.start = clock.now() - passed
        self.sampler = Sampler(bench, clock, self.start)
        self.journal = Journal(folder.path / EVENTS, go_on=resumption is not None)
        further = run.program.further
        self.samples = SampleWriter(
            folder.path / SAMPLES, go_on=resumption is not None, ages=clock.runs_by_itself, further=further
        )
        self.aside = Aside(run.program, folder, clock)
        self._happened: deque[Event] = deque()  # of which the engine has not been told yet
        self._again: deque[tuple[Order, float, float]] = deque()  # order, until when it is tried again, and when next
        self._end: End | None = None
        self._committed = 0.0
        self._stop_told = self._unguarded = False
        self._waits_since: float | None = None
        self._off = True  # nothing is switched on before the first order
        self._carrying = Carrying(bench, self._now, self._switch_off, self._going_on)

    def carry_out(self) -> RunOutcome:
        """Run to the end. Never raises; a fault of the program is in the outcome and, if that can be, in the journal.

        When this returns, supply and load are off, or the outcome says that they did not confirm it.
        """
        fault = ""
        try:
            self.watch.own()
            self.watch.beat(LONGEST_TURN)
            self._feed(self._beginning())
            if self.resumption is None:
                self._write(self._now(), InputsKept(self._now(), tuple(self.folder.input_sums())))
            while not self.run.ended:
                self._once()
        except (Exception, KeyboardInterrupt) as error:
            fault = _described(error)
        finally:
            if self._end is None:
                self._end = self._emergency(fault)
            self._close()
        return RunOutcome(self._end.early, self._end.safe, self._end.reason, self._off, self._end.urgent)

    def _beginning(self) -> Event:
        if self.resumption is None:
            return Started(0.0, self.clock.utc(), self.simulated)
        broke_off = self.resumption.last
        now, utc = self._now(), self.clock.utc()
        return Resumed(now, utc, self.resumption.why, now - broke_off, self.resumption.no_test)

    # ---- one turn --------------------------------------------------------------------------------------------

    def _once(self) -> None:
        self.watch.beat(LONGEST_TURN)
        for event in self._noticed():
            self._feed(event)
        try:
            for answer in self.operator.answers(self._now()):
                now: Answered | Sampled | None = answer
                if isinstance(answer, Answered) and answer.files:
                    now = self.aside.attach(answer)  # a hold point stays open until the copies are there
                if now is not None:
                    self._feed(now)
        except OperatorGone as gone:
            self.stop.press(gone.what)
            if self.run.waits_for_off:
                self._feed(NobodyConfirmed(self._now(), gone.what))
            return
        self._wait_for_off()
        self._retry()
        for sample in self.sampler.take():
            self._feed(sample)
        for found in self.aside.done(self._now()):
            if isinstance(found, Kept):
                self._write(self._now(), found.answer)
            elif isinstance(found, Order):
                self._write(self._now(), found)
                self.operator.told(found, self._now())
            else:
                self._feed(found)
        self.operator.show(self._look, self._now())
        if not self.run.ended:
            self.watch.beat(LONGEST_TURN)
            self.clock.sleep(max(0.0, min(self.sampler.due(), SLICE * max(1.0, self.clock.speed))))

    def _wait_for_off(self) -> None:
        """A person who does not confirm that what they switched on is off is not waited for without end."""
        if not self.run.waits_for_off:
            return
        now = self._now()
        self._waits_since = now if self._waits_since is None else self._waits_since
        if now - self._waits_since > CONFIRMED_WITHIN * min(max(1.0, self.clock.speed), MOST_SPEED):
            self._feed(NobodyConfirmed(now, texts.NOBODY_ANSWERED))

    def _noticed(self) -> Iterator[Event]:
        """What came from neither the bench nor the operator."""
        if self.stop.pressed and not self._stop_told:
            self._stop_told = True
            yield StopPressed(self._now(), self.stop.by)
        if not self.watch.alive and not self._unguarded:
            self._unguarded = True
            yield GuardEnded(self._now())
        away, self._suspended = self.clock.suspended() - self._suspended, self.clock.suspended()
        if away > LEAST_SUSPENSION:
            yield Suspended(self._now(), away)
        for instrument, entry in self.bench.old_errors():
            yield Complained(self._now(), instrument, entry)

    def _feed(self, event: Event) -> None:
        """An event and everything that follows from it, until nothing more happens at once."""
        self._happened.append(event)
        self._settle()

    def _settle(self) -> None:
        while self._happened:
            now = self._happened.popleft()
            if isinstance(now, Sampled):
                now = self.run.referred(now)
                self.samples.append(now)
            else:
                self._write(now.t, now)
            orders = self.run.receive(now)
            if self.run.ceilings.doubtful:
                self.sampler.soon()
            self.watch.by_hand(self.run.by_hand)
            if now.t - self._committed > COMMIT_EVERY or any(isinstance(order, End) for order in orders):
                self._commit()
            for order in orders:
                self._write(self._now(), order)
                self._do(order)

    def _commit(self) -> None:
        """The journal takes down what the sample table holds."""
        self._committed = self._now()
        if (stretch := self.samples.stretch()) is not None:
            self._write(self._now(), SamplesKept(self._now(), *stretch))

    def _write(self, t: float, what: Event | Order) -> None:
        """A line of the journal, which a busy disk may take its time for: that is no hang."""
        self.watch.beat(DISK_TIME)
        self.journal.append(t, self.clock.utc(), what)
        self.watch.beat(LONGEST_TURN)

    def _do(self, order: Order) -> None:
        """Carry out one order; what came of it is put in the queue of what happened."""
        self._again = deque(each for each in self._again if not _replaces(order, each[0]))
        if isinstance(order, Guide) and any(isinstance(waiting, Guide) for waiting, *_ in self._again):
            self._again.append(
                (order, self._now() + 2 * RETRY_FOR, self._now())
            )  # one place cools before another heats
        else:
            self._carry(order, self._now() + RETRY_FOR)
        self.aside.told(order, self._now())
        if isinstance(order, Pace):
            self.sampler.pace(order)
        if isinstance(order, End):
            self._end = order
        self.operator.told(order, self._now())

    def _carry(self, order: Order, until: float) -> None:
        """Carry out an order at the bench; one whose connection fails is tried again until ``until``, as readings are."""
        try:
            event = self._carrying.carry_out(order)
        except BenchError as error:
            if isinstance(error, LinkError) and isinstance(order, RETRIED) and self._now() < until:
                self._again.append((order, until, self._now() + RETRY_EVERY))
                return
            event = OrderFailed(self._now(), type(order).__name__, _answer(error))
        if event is not None:
            self.sampler.ordered()
            self._happened.append(event)

    def _retry(self) -> None:
        """Orders whose connection failed, once more; none of them once the run makes safe, nor what another has replaced."""
        heated = False  # elsewhere, by an order that still waits
        for _ in range(len(self._again)):
            if self.run.state in (State.MAKING_SAFE, State.ENDED):
                self._again.clear()
            if not self._again:
                return
            order, until, due = self._again.popleft()
            if self._now() < due or (heated and isinstance(order, Guide)):
                self._again.append((order, until, due))
            else:
                self._carry(order, until)
            heated = heated or (isinstance(order, Guide) and any(waiting is order for waiting, *_ in self._again))
            self._settle()

    def _going_on(self) -> None:
        """Something is about to be switched on: from now on the bench may not be off."""
        self._off = False

    # ---- the way out -----------------------------------------------------------------------------------------

    def _emergency(self, fault: str) -> End:
        """The engine cannot be asked any more: off first, then whatever can still be written down."""
        confirmed, remark = self._switch_off(True)
        end = End(
            early=True,
            safe=confirmed and not self.run.switches.left,
            reason=fault or texts.INTERRUPTED,
            left=self.run.away.say,
            urgent=" ".join(part for part in (remark, *self.run.by_hand) if part),
        )
        with contextlib.suppress(Exception):
            self._commit()
        for what in (Faulted(self._now(), fault), OutputIsOff(self._now(), confirmed, remark), end):
            with contextlib.suppress(Exception):  # each line that can be written, whatever becomes of the others
                self.journal.append(self._now(), self.clock.utc(), what)
        with contextlib.suppress(Exception):
            self.operator.told(end, self._now())
        return end

    def _switch_off(self, everything: bool) -> tuple[bool, str]:
        confirmed, remark = self.bench.off(everything=everything)
        self._off = confirmed and everything
        self.watch.beat(LONGEST_TURN)
        return confirmed, remark

    def _close(self) -> None:
        with contextlib.suppress(Exception):
            self.operator.show(self._look, self._now())
        for close in (self.sampler.close, self.samples.close, self.journal.close):
            with contextlib.suppress(Exception):  # each, whatever becomes of the others
                close()

    def _look(self) -> View:
        return look(self.run)

    def _now(self) -> float:
        return self.clock.now() - self.start


def _replaces(order: Order, waiting: Order) -> bool:
    """Whether an order that waits to be tried again is out of date now that this one is carried out."""
    if isinstance(order, SwitchOff):
        return order.everything or not isinstance(waiting, Guide)
    if isinstance(order, Guide) and isinstance(waiting, Guide):
        return order.sensor == waiting.sensor
    return type(order) is type(waiting)


def _answer(error: BenchError) -> str:
    """What came of an order that failed. Whose it was, the order says."""
    command = f" ({error.command})" if error.command else ""
    return f"{error.what}{command}{f'; {error.remedy}' if error.remedy else ''}"


def _described(error: BaseException) -> str:
    """An exception in a sentence, with the line it came from: the journal is read by people without the program."""
    if isinstance(error, RecordError):
        return str(error)
    if isinstance(error, OperatorGone):
        return error.what
    frames = traceback.extract_tb(error.__traceback__)
    where = texts.at_line(frames[-1].name, frames[-1].lineno) if frames else ""
    return f"{type(error).__name__}: {error}{where}"
