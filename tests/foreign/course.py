"""How one record goes: what the pack does next, written down one thing after the other with its time."""

import math
from dataclasses import dataclass

import numpy as np

from tests.foreign.bench import log
from tests.foreign.trace import LEAST


@dataclass(frozen=True)
class Change:
    """What the pack or the supply did at ``t``.

    ``level``: the share of the set current left for "derates", "retries" and "chops", A for "keeps alive" and "pre-charges".
    ``lasts``: s, where it is over by itself.
    """

    t: float
    what: str
    level: float | None = None
    lasts: float = 0.0


def _shape(kind, x):
    """From 0 to 1 while x goes from 0 to 1."""
    if kind == "s":
        return x * x * (3 - 2 * x)
    if kind == "exponential":
        return (1 - np.exp(-5 * x)) / (1 - math.exp(-5))
    return x


STEPS = {"linear": 1, "s": 16, "exponential": 24}


class Course:
    """The current and how far the supply stands at its set voltage, as knots, and what was true."""

    def __init__(self, rng, bench):
        self.rng, self.bench = rng, bench
        self.full = bench.set_current
        self.t = bench.on_at
        self.times, self.amps = [bench.on_at - 3.0, bench.on_at], [0.0, 0.0]
        self.block_t, self.blocks = [bench.on_at - 3.0], [0.0]
        self.bus = bench.set_voltage  # V where the supply stands when it does not feed
        self.climb = None  # (V, t it ends, tau): cells near full
        self.hump = None  # (V, t of its middle, s of its width)
        self.cv = None  # (from, to): constant voltage
        self.parted = []  # (from, to): no connection between lead and pack
        self.off_at = math.inf
        self.changes, self.about, self.fits = [], None, frozenset({"nothing"})

    @property
    def level(self):
        """The current now, A."""
        return self.amps[-1]

    def say(self, what, level=None, lasts=0.0):
        """The truth: this happens now."""
        self.changes.append(Change(self.t, what, level, lasts))
        return self.changes[-1]

    def asks(self, change, *others):
        """The change that the record is about, and what else would look the same."""
        self.about, self.fits = change, frozenset({change.what, *others})

    def hold(self, seconds):
        """Nothing changes."""
        if seconds > 0:
            self.t += seconds
            self.times.append(self.t)
            self.amps.append(self.level)

    def go(self, amps, seconds, kind="linear"):
        """The current goes to ``amps``."""
        seconds = max(seconds, LEAST)
        x = np.arange(1, STEPS[kind] + 1) / STEPS[kind]
        self.put(self.t + x * seconds, self.level + (amps - self.level) * _shape(kind, x))

    def put(self, times, amps):
        """Knots of the current, all later than now."""
        self.times.extend(times.tolist())
        self.amps.extend(amps.tolist())
        self.t = self.times[-1]

    def block(self, share, seconds, at=None):
        """The supply's terminals go so far (1: all the way) towards its set voltage, from now or ``at`` on."""
        t = self.t if at is None else at
        value = self.blocks[-1]
        while self.block_t[-1] > t:  # it had not yet arrived
            late, ahead = self.block_t.pop(), self.blocks.pop()
            early, before = self.block_t[-1], self.blocks[-1]
            value = before + (ahead - before) * min(1.0, max(0.0, (t - early) / (late - early)))
        if t > self.block_t[-1] + LEAST:
            self.block_t.append(t)
            self.blocks.append(value)
        self.block_t.append(max(t, self.block_t[-1]) + max(seconds, LEAST))
        self.blocks.append(share)

    def start(self):
        """The supply is switched on and settles; then the steady charge before anything happens."""
        settling = self.bench.settling
        if self.rng.random() < 0.3:  # a relay or a soft start first
            self.hold(settling * 0.3)
        self.go(self.full, settling * 0.7, self.rng.choice(("linear", "exponential", "s")))
        self.hold(self.rng.uniform(31.0, 60.0))

    def open(self, seconds=None, kind="linear", to=0.0, what="opens", level=None):
        """The pack lets no more flow, or only ``to`` amperes."""
        change = self.say(what, level)
        self.block(1.0, self.bench.jump)
        self.go(to, self.rng.uniform(LEAST, 1e-3) if seconds is None else seconds, kind)
        return change

    def close(self, seconds=None, overshoot=0.0, share=1.0, said=True):
        """The pack lets flow again; the supply may overshoot by a share and comes back."""
        if said:
            self.say("closes")
        self.block(0.0 if share >= 1 else 1.0, self.rng.uniform(1e-3, 0.01))
        self.go(self.full * share * (1 + overshoot), log(self.rng, 1e-3, 0.02) if seconds is None else seconds)
        if overshoot:
            self.go(self.full * share, self.rng.uniform(0.01, 0.5), "exponential")

    def finish(self):
        """Steady to the end."""
        self.hold(self.rng.uniform(16.0, 30.0))
        self.hold(self.bench.on_at + 60.0 - self.t)
        return self.t
