"""What an instrument is like in fact: how long it takes to answer, how old a reading is, how fine, and which limits are in force.

Rule: only questions that a run asks too; nothing is set, and a question that fails is left out: the check itself says what fails.
"""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from runner.bench.assembly import Bench
from runner.errors import BenchError

READINGS, LONGEST = (
    6,
    1.0,
)  # so many of each, and s of real time for all questions of an instrument; two of each in any case
FINEST = 1e-9  # of a reading: steps that are smaller are taken for none
IN_FORCE = ("overvoltage_setting", "overcurrent_setting", "limit_setting")
WORDS = {
    "overvoltage_setting": "over-voltage {:g} V",
    "overcurrent_setting": "over-current {:g} A",
    "limit_setting": "{:g} °C",
}
READ = {"voltage": "V", "current": "A", "temperature": "°C", "resistance": "Ω"}


@dataclass(frozen=True)
class Measured:
    """Of one instrument: ``round_trip`` (median, longest) and ``age`` (of the newest line, where it talks unasked) in s.

    ``steps``: the smallest step between readings as they came, by query, in its unit; none where they were all alike.
    ``in_force``: the limits that it reads back.
    """

    round_trip: tuple[float, float] | None = None
    age: float | None = None
    steps: dict[str, float] = field(default_factory=dict)
    in_force: dict[str, float] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """For the record: times in s, the rest in SI and °C."""
        return {
            "round_trip_s": None if self.round_trip is None else [round(each, 4) for each in self.round_trip],
            "age_s": None if self.age is None else round(self.age, 3),
            "steps": self.steps,
            "limits_in_force": self.in_force,
        }

    def said(self) -> list[str]:
        """The same in words, a line each."""
        found = []
        if self.round_trip is not None:
            found.append("answers in {:.0f} ms, at most {:.0f} ms".format(*(1e3 * each for each in self.round_trip)))
        if self.age is not None:
            found.append(f"talks unasked; the newest line is {self.age:.2f} s old")
        if self.steps:
            steps = (f"{name} {step:.3g} {READ[name]}" for name, step in self.steps.items())
            found.append(f"steps between readings: {', '.join(steps)}")
        if self.in_force:
            limits = (WORDS[name].format(value) for name, value in self.in_force.items())
            found.append(f"limits in force: {', '.join(limits)}")
        return found


def measured(bench: Bench, role: str) -> Measured:
    """Ask an instrument what a run asks, a few times over. Never raises for what an instrument does."""
    speaker = bench.speakers[role]
    began, took = time.monotonic(), list[float]()
    values: dict[str, list[float]] = {}
    ages = []
    names = [name for name in READ if name in bench.asked_of(role)]
    for number in range(READINGS):
        if number > 1 and time.monotonic() - began > LONGEST:
            break
        for name in names:
            at = time.monotonic()
            try:
                values.setdefault(name, []).append(speaker.number(name))
            except BenchError:
                continue
            took.append(time.monotonic() - at)
            ages.append(speaker.age)
    in_force = {}
    for name in IN_FORCE:
        if name in speaker.dialect.queries:
            try:
                in_force[name] = speaker.number(name)
            except BenchError:
                continue
    steps = {name: step for name, each in values.items() if (step := step_of(each))}
    if speaker.dialect.listen:
        return Measured(None, max(ages, default=None), steps, in_force)
    trip = (statistics.median(took), max(took)) if took else None
    return Measured(trip, None, steps, in_force)


def step_of(values: Sequence[float]) -> float:
    """The largest step of which all differences between readings are multiples, 0 if they are all alike."""
    whole = [round(abs(b - a) / FINEST) for a, b in pairwise(values)]
    return math.gcd(*whole) * FINEST if any(whole) else 0.0
