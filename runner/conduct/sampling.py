"""Who is polled when: the current of the path that is watched fast, the slow channels in between.

Rule 1: what is behind is skipped, never made up for; two readings of one instant are worth no more than one.
Rule 2: where time runs by itself, instruments are polled side by side, each connection by a thread of its own, so that a slow one
        holds nobody up. What comes late is handed on with its age; times never run backwards.
        The instrument of the other path is asked now and then whether it is off, as it was ordered.
Rule 3: a reading of voltage or current that overlaps an order to the bench, or is older than it, is thrown away: nobody can say on
        which side of it it was. A temperature does not change with the order, and stays.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from functools import partial

from runner.bench.assembly import Readings
from runner.conduct.interfaces import BenchPort, Clock
from runner.events import CHARGE, DISCHARGE, METER_VOLTAGE, Sampled, named_by
from runner.orders import Pace
from runner.vocabulary import Role

Poll = Callable[[Readings], None]
LEAST_AGE = 1e-3  # s: younger readings are as good as new
SECOND_LOOK = 0.1  # s after a reading that is over a ceiling
LOOK_AGAIN = 0.005  # s of real time until a poll that is under way is looked for again
PATH, IDLE = ("path",), ("idle",)
MOST_THREADS = 64  # at once; there are as many as connections, and none is made before it is needed
IDLE_EVERY = 2.0  # s of real time between two looks at the instrument of the other path, which is to be off


class Sampler:
    """Polls the bench at the pace it was given. Times are the run's own, in s since ``start``."""

    def __init__(self, bench: BenchPort, clock: Clock, start: float) -> None:
        self._bench, self._clock, self._start = bench, clock, start
        self._fast = self._slow = 1.0
        self._path = CHARGE
        self._next_fast = self._next_slow = self._next_idle = self._now()
        self._side = SideBySide(self._now) if clock.runs_by_itself else None

    def pace(self, order: Pace) -> None:
        """Poll at these intervals from now on."""
        now = self._now()
        self._fast, self._slow = order.interval, order.slow
        self._path = DISCHARGE if order.path == DISCHARGE else CHARGE
        self._next_fast, self._next_slow = (
            min(self._next_fast, now + self._fast),
            min(self._next_slow, now + self._slow),
        )

    def soon(self) -> None:
        """Poll the path again at once: what was read last is worth a second look."""
        self._next_fast = min(self._next_fast, self._now() + SECOND_LOOK)

    def due(self) -> float:
        """Seconds until something has to be polled or looked for; 0 or less: now."""
        wait = min(self._next_fast, self._next_slow) - self._now()
        if self._side is not None and self._side.busy:
            return min(wait, LOOK_AGAIN * self._clock.speed)
        return wait

    def take(self) -> Iterable[Sampled]:
        """What is due, each stamped with the middle of its own poll; side by side, what has come of that."""
        found: list[Sampled] = []
        now = self._now()
        if now >= self._next_fast - 1e-9:
            found += self._poll(PATH, partial(self._bench.poll_path, self._path))
            self._next_fast = _after(self._next_fast, self._fast, now)
        if now >= self._next_slow - 1e-9:
            if self._side is None:
                found += self._poll((), self._bench.poll_slow)
            else:
                for roles in self._bench.slow_groups():
                    found += self._poll(roles, partial(self._bench.poll_slow, roles=roles))
            self._next_slow = _after(self._next_slow, self._slow, now)
        if self._side is None:
            return found
        if now >= self._next_idle:
            other = CHARGE if self._path == DISCHARGE else DISCHARGE
            self._side.begin(IDLE, partial(self._bench.poll_idle, other))
            self._next_idle = now + max(self._slow, IDLE_EVERY * self._clock.speed)
        return self._side.come()

    def ordered(self) -> None:
        """Something was told to the bench: what was being read of voltages and currents is not to be believed."""
        if self._side is not None:
            self._side.ordered(self._now())

    def close(self) -> None:
        """No more polls. Does not wait for those under way, which have a deadline of their own."""
        if self._side is not None:
            self._side.close()

    def _now(self) -> float:
        return self._clock.now() - self._start

    def _poll(self, who: tuple[str, ...], poll: Poll) -> list[Sampled]:
        if self._side is not None:
            self._side.begin(who, poll)
            return []
        return [_polled(poll, self._now)]


class SideBySide:
    """Polls under way, one at most of each group of roles. ``now`` is the run's time in s."""

    def __init__(self, now: Callable[[], float]) -> None:
        self._now = now
        self._threads = ThreadPoolExecutor(MOST_THREADS, thread_name_prefix="poll")
        self._under_way: dict[tuple[str, ...], Future[Sampled]] = {}
        self._overlap: set[tuple[str, ...]] = set()  # those under way that were begun before an order
        self._ordered = -1e30  # when the last order was carried out
        self._last = -1e30  # the time of the last sample that was handed on

    @property
    def busy(self) -> bool:
        """Whether a poll is under way."""
        return bool(self._under_way)

    def begin(self, who: tuple[str, ...], poll: Poll) -> None:
        """Poll these, unless they are still being polled."""
        if who not in self._under_way:
            self._under_way[who] = self._threads.submit(_polled, poll, self._now)

    def ordered(self, t: float) -> None:
        """Something was told to the bench until ``t``: no sample is handed on with an earlier time, and none that is of before."""
        self._overlap.update(self._under_way)
        self._last, self._ordered = max(self._last, t), t

    def come(self) -> Iterator[Sampled]:
        """The polls that are done, in the order of their times. Raises what went wrong in one that is no fault of a bench.

        Of the path there is one whatever it has read, also with nothing on a cable: the time of a run goes on with it. What was
        read before an order that follows from an earlier one is not handed on.
        """
        done = [who for who, future in self._under_way.items() if future.done()]
        found = [(who, self._under_way.pop(who).result()) for who in done]
        before = self._ordered
        for who, sample in sorted(found, key=lambda each: each[1].t):
            overlaps = who in self._overlap or self._ordered != before
            self._overlap.discard(who)
            if overlaps and who in (PATH, IDLE):
                continue
            if who == IDLE and not (sample.readings or sample.lost or sample.fault or sample.unordered):
                continue
            yield self._in_order(self._of_now(sample, overlaps=overlaps))

    def _of_now(self, sample: Sampled, *, overlaps: bool) -> Sampled:
        """The sample without the voltages at the pack that may be of before the last order."""
        old = [
            channel
            for channel in sample.readings
            if (channel == METER_VOLTAGE or named_by(channel).startswith(Role.METER))
            and (overlaps or sample.t - sample.ages.get(channel, 0.0) < self._ordered)
        ]
        if not old:
            return sample
        return replace(sample, readings={name: value for name, value in sample.readings.items() if name not in old})

    def close(self) -> None:
        """No more polls."""
        self._threads.shutdown(wait=False, cancel_futures=True)

    def _in_order(self, sample: Sampled) -> Sampled:
        """The sample, no earlier than the one before it; by how much it was moved is the age of its readings."""
        t = self._last = max(sample.t, self._last)
        moved = t - sample.t
        ages = {channel: sample.ages.get(channel, 0.0) + moved for channel in sample.readings}
        ages = {channel: age for channel, age in ages.items() if age >= LEAST_AGE}
        return replace(sample, t=t, ages=ages)


def _polled(poll: Poll, now: Callable[[], float]) -> Sampled:
    """One poll, stamped with its middle."""
    readings = Readings()
    began = now()
    poll(readings)
    middle = (began + now()) / 2
    return Sampled(
        middle,
        readings.values,
        readings.lost,
        readings.mode,
        readings.output,
        ages=readings.ages,
        fault=readings.fault,
        unordered=readings.unordered,
    )


def _after(last: float, interval: float, now: float) -> float:
    return last + interval if last + interval > now else now + interval
