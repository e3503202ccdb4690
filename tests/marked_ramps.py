"""Records of ramps in which a person marks degrees and current, drawn at random: what was true, and what is found of it.

Ranges are those of packs, hands and displays (common practice, no source). Nothing here is taken from the method: pack, probe and person
are worked out in steps of time, and each key is late by itself. What is true is the edge of the pack's own step at which its
comparison turns, as in the foreign worlds (tests/foreign/thermal/world.py).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from runner.events import PROBE_TEMPERATURE
from runner.measure.finding import Finding
from runner.measure.recording import Accuracy, Attempt, Recording, Series, Typed
from runner.measure.thermal import Thermal
from runner.measure.threshold import AGREE
from runner.vocabulary import Observed
from tests.builders import declared

REACTION = (0.3, 0.15)  # s: what the bench file declares
REFRESH = 0.4  # s: the clamp's
RATES = (1.0, 2.0, 3.0)  # K/min
STEP = 0.05  # s


def drawn(seed: int, *, slow_person: bool = False) -> tuple[Recording, dict[str, float]]:
    """(the record of three ramps up and down, the true trip and release). ``slow_person``: later than declared, one key in 50 by 1 s."""
    dice = np.random.default_rng(seed)
    true = {"trip": 55.0 + dice.uniform(-1, 1), "release": 45.0 + dice.uniform(-1, 1)}
    lag, probe_lag = dice.uniform(4, 12), dice.uniform(0.5, 3)
    delay, polling = dice.uniform(0.75, 1.25), dice.uniform(0.97, 1.03)
    noise, digit = (
        dice.choice([0.0, 0.02 * 15 ** dice.uniform()]),
        dice.choice([1e-6, 0.02, 0.1, 0.25]),
    )  # K, of the pack's converter
    error = dice.normal(0, 0.1) + dice.normal(0, 0.15)  # calibration and coupling, as declared
    mean = dice.uniform(0.2, 0.6) if slow_person else REACTION[0]

    def late() -> float:
        usual = max(0.05, dice.normal(mean, REACTION[1]))
        return usual + (1.0 if slow_person and dice.uniform() < 0.02 else 0.0)

    t, attempts, taps, typed = 0.0, [], [], []
    for cycle, rate in enumerate(RATES, start=1):
        for name, sign in (("trip", 1.0), ("release", -1.0)):
            began, start = t, (49.0 if sign > 0 else 51.0)
            changed, mine = _ramp(dice, t, start, sign * rate / 60, true[name], lag, (delay, polling, noise, digit))
            marks = [(at + late(), degree) for at, degree in _degrees(mine, probe_lag, error, sign, changed)]
            taps += marks
            pressed = changed + dice.uniform(0, REFRESH) + late()
            outcome = "stopped" if name == "trip" else "returned"
            kind = "heat" if sign > 0 else "cool"
            begun = marks[0][0]
            attempts.append(
                Attempt(
                    kind,
                    "T1",
                    cycle,
                    sign * rate / 60,
                    began,
                    begun,
                    pressed,
                    outcome,
                    "",
                    by_hand=True,
                    sought=outcome,
                )
            )
            typed.append(Typed("", 5.0 if name == "release" else 0.0, pressed + 4.0, Observed.CLAMP_CURRENT))
            t = pressed + 60.0
    turns = {
        "trip": (np.floor(true["trip"] / digit) + 0.5) * digit,
        "release": (np.ceil(true["release"] / digit) - 0.5) * digit,
    }
    taps.sort()
    series = Series(np.array([at for at, _ in taps]), np.array([degree for _, degree in taps]))
    return Recording({PROBE_TEMPERATURE: series}, tuple(attempts), typed=tuple(typed), taps=series), turns


def _ramp(dice, t, start, rate, threshold, lag, pack):
    """(when the pack changes, the heated spot's (time, °C) up to there and a little beyond): hands wander about the rate."""
    delay, polling, noise, digit = pack
    spot = sensor = start
    look, since, wander, rows = t + dice.uniform(0, polling), None, 0.0, []
    while True:
        wander += -wander * STEP / 20 + 0.08 * abs(rate) * (2 * STEP / 20) ** 0.5 * dice.normal()
        t, spot = t + STEP, spot + (rate + wander) * STEP
        sensor += (spot - sensor) * STEP / lag
        rows.append((t, spot))
        if t < look:
            continue
        look += polling
        seen = round((sensor + noise * dice.normal()) / digit) * digit
        if (seen - threshold) * rate <= 0:
            since = None
            continue
        since = t if since is None else since
        if t - since >= delay - 1e-9:
            return t, np.array(rows)


def _degrees(rows, probe_lag, error, sign, until):
    """When the display passes each whole degree."""
    shown = np.empty(len(rows))
    probe = rows[0, 1]
    for index, (_, spot) in enumerate(rows):
        probe += (spot - probe) * STEP / probe_lag
        shown[index] = probe + error
    degree = np.floor(shown[0]) + 1 if sign > 0 else np.ceil(shown[0]) - 1
    found = []
    while True:
        beyond = np.flatnonzero(sign * (shown - degree) >= 0)
        if not len(beyond) or rows[beyond[0], 0] > until:
            return found
        found.append((float(rows[beyond[0], 0]), float(degree)))
        degree += sign


def found_in(record: Recording) -> dict[str, Finding]:
    """The findings of a record, as a bench with a charger, a clamp and a thermometer in the hand declares it."""
    specification = declared(
        delay_uncertainty=0.1 / 3**0.5, reaction=REACTION, resolution=0.1, clamp=(Accuracy(0.015, 0.05, 0.01), REFRESH)
    )
    table = Thermal(record, replace(specification), "T1").findings()
    return {name: table[name]() for name in ("trip", "release", "hysteresis")}


def share_held(seeds: range, *, slow_person: bool = False) -> tuple[dict[str, float], dict[str, float]]:
    """By finding: the share of intervals that hold the truth, and the mean expanded uncertainty in K."""
    held: dict[str, list[bool]] = {}
    widths: dict[str, list[float]] = {}
    for seed in seeds:
        record, true = drawn(seed, slow_person=slow_person)
        true["hysteresis"] = true["trip"] - true["release"]
        for name, finding in found_in(record).items():
            assert finding.value is not None, (seed, name, finding.reason)
            held.setdefault(name, []).append(abs(finding.value - true[name]) <= finding.expanded_uncertainty)
            widths.setdefault(name, []).append(finding.expanded_uncertainty)
    return {k: float(np.mean(v)) for k, v in held.items()}, {k: float(np.mean(v)) for k, v in widths.items()}


ACCIDENTS = ("marked twice", "missed", "typed back", "too early", "late", "left off", "begun wrong")


def spoiled(record: Recording, seed: int) -> tuple[Recording, str]:
    """(the record with one accident in one of its ramps, which). Marks keep the degrees that the program would give them."""
    dice = np.random.default_rng(seed)
    what = ACCIDENTS[seed % len(ACCIDENTS)]
    attempt = record.attempts[int(dice.integers(len(record.attempts)))]
    sign = 1.0 if attempt.rate > 0 else -1.0
    mine = (record.taps.t >= attempt.ramp_began - 1.0) & (record.taps.t <= attempt.at)
    t, value = record.taps.t[mine].tolist(), record.taps.value[mine].tolist()
    at = int(dice.integers(1, len(t)))
    if what == "marked twice":  # the key bounces: everything after it counts a degree too many
        t = [*t[:at], t[at - 1] + dice.uniform(0.1, 1.5), *t[at:]]
        value = [*value, value[-1] + sign]
    elif what == "missed":  # the key is not pressed: everything after it counts a degree too few
        t, value = [*t[:at], *t[at + 1 :]], value[:-1]
    elif what == "typed back":  # pressed too soon, and the degree typed once it really comes
        t, value = [*t[:at], t[at] - 0.8 * (t[at] - t[at - 1]), *t[at:]], [*value[:at], value[at], *value[at:]]
    elif what == "too early":
        t[at] -= dice.uniform(0.2, 0.9) * (t[at] - t[at - 1])
    elif what == "late":
        t[at] += dice.uniform(1.0, 0.9 / abs(attempt.rate))
        t[at] = min(t[at], (t[at + 1] if at + 1 < len(t) else attempt.at) - 0.05)
    elif what == "left off":  # nobody marks any more
        t, value = t[:at], value[:at]
    else:  # the first one came a degree too soon, and all follow it
        value = [each + sign for each in value]
    all_t = np.array([*record.taps.t[~mine], *t])
    order = np.argsort(all_t, kind="stable")
    series = Series(all_t[order], np.array([*record.taps.value[~mine], *value])[order])
    return replace(record, channels={**record.channels, PROBE_TEMPERATURE: series}, taps=series), what


def said_of(after: Finding, before: Finding) -> bool:
    """Whether a finding says that something is wrong with its ramps: none of them used, one left out, or not agreeing any more."""
    left_out = len(after.repeats) < len(before.repeats)
    return after.value is None or left_out or after.fit not in (AGREE, before.fit)
