"""Records of readings that a person types, drawn at random: a charge read on a clamp, a cut-off seen on a voltmeter.

Ranges are those of chargers, packs, hands and displays (common practice, no source). What is true is worked out in steps of time; nothing
here is taken from the method.
"""

from __future__ import annotations

import numpy as np

from runner.events import METER_VOLTAGE
from runner.measure.by_hand import charge_by_hand, trip_by_hand
from runner.measure.capacity import Throughput
from runner.measure.finding import Evaluator, Finding
from runner.measure.recording import Accuracy, Attempt, Held, Recording, Typed
from runner.vocabulary import Observed
from tests.builders import declared

REACTION = (0.3, 0.15)  # s
CLAMP = Accuracy(0.015, 0.05, 0.01)  # of the reading, A, A
METER = Accuracy(0.002, 0.01, 0.01)  # of the reading, V, V
BENDS = 150.0  # s: the end of a discharge falls ever faster, its slope doubles in no less than 100 s (tests/outside/test_end_of_discharge.py)
GLANCE = 0.5  # s from one reading of a display to the next


def charge(seed: int) -> tuple[Finding, float]:
    """(the finding of a charge that a person watched on a clamp, the true charge in A·s)."""
    dice = np.random.default_rng(seed)
    level, bulk, time = dice.uniform(1.5, 12.0), dice.uniform(600.0, 9000.0), dice.uniform(400.0, 2400.0)
    end = bulk + time * np.log(1.0 / dice.uniform(0.05, 0.3))
    t = np.arange(0.0, end, 1.0)
    amps = level * np.where(t < bulk, 1.0 + 0.01 * np.sin(t / dice.uniform(200.0, 2000.0)), np.exp(-(t - bulk) / time))
    gain, offset = dice.uniform(-CLAMP.gain, CLAMP.gain), dice.uniform(-CLAMP.offset, CLAMP.offset)
    every = dice.uniform(180.0, 420.0)
    read = np.arange(45.0, end - 30.0, every)
    read = read + dice.uniform(0.0, 20.0, len(read))  # whenever the person has looked
    read = read[read < end - 5.0]
    on, off = (max(0.05, dice.normal(*REACTION)) - REACTION[0] for _ in range(2))
    typed = tuple(
        Typed(
            "",
            round((float(np.interp(at, t, amps)) * (1 + gain) + offset) / 0.01) * 0.01,
            float(at),
            Observed.CLAMP_CURRENT,
        )
        for at in read
    )
    levels = (Held(level, on, True), Held(0.0, end + off, True))
    attempt = Attempt("charge", "", 0, 0.0, 0.0, None, end + off, "full", "", levels=levels, by_hand=True)
    specification = declared(protection="", reaction=REACTION, clamp=(CLAMP, 0.4))
    return charge_by_hand(
        Throughput(Recording({}, (attempt,), typed=typed), specification), "charge put in", [attempt]
    ), float(np.trapezoid(amps, t))


def cut_off(seed: int, delays: tuple[float, float] | None = None) -> tuple[Finding, float]:
    """(the finding of a cut-off whose last voltage a person saw, the true threshold in V).

    ``delays`` in s: of a pack whose sheet says no more of its delay than that it is between them; else it is 1 s, and declared.
    """
    dice = np.random.default_rng(seed)
    true, delay = 20.0 + dice.uniform(-0.5, 0.5), 1.0 if delays is None else dice.uniform(*delays)
    said = {"delay": 1.0}
    if delays is not None:
        middle, half = (delays[0] + delays[1]) / 2, (delays[1] - delays[0]) / 2
        said = {"delay": middle, "delay_uncertainty": half / 3**0.5, "delay_assumed": delays}
    polling, slope, bend = dice.uniform(0.97, 1.03), dice.uniform(0.0005, 0.006), dice.uniform(0.0, 0.004)
    t = np.arange(0.0, 1500.0, 0.05)
    rest = t - 1200.0
    volts = true - slope * rest - bend * BENDS * (np.exp(rest / BENDS) - 1.0)
    below = float(t[np.flatnonzero(volts < true)[0]])
    look = below + dice.uniform(0, polling)
    stops = look + np.ceil(delay / polling - 1e-9) * polling if delays is not None else look + delay
    gain, offset = dice.uniform(-METER.gain, METER.gain), dice.uniform(-METER.offset, METER.offset)

    def shown(at: float) -> float:
        return float(round((float(np.interp(at, t, volts)) * (1 + gain) + offset) / 0.01) * 0.01)

    pressed = stops + max(0.05, dice.normal(*REACTION))
    before = stops - dice.uniform(20.0, 70.0)
    typed = (
        Typed("", shown(before), before, Observed.LOADED_VOLTAGE),
        Typed("", shown(stops - dice.uniform(0.0, GLANCE)), pressed + 4.0, Observed.LAST_VOLTAGE),
    )
    attempt = Attempt("drain", "", 0, 0.0, 0.0, None, pressed, "stopped", "", by_hand=True, sought="stopped")
    specification = declared(
        protection="under_voltage", trip=20.0, trip_limits=(19.0, 21.0), release=None, release_limits=None,
        sensors=(), **said, reaction=REACTION, accuracy={METER_VOLTAGE: METER},
    )  # fmt: skip
    return trip_by_hand(Evaluator(Recording({}, (attempt,), typed=typed), specification), attempt), true
