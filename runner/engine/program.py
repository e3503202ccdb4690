"""A procedure on a pack at a bench, as the run needs it: a flat list of steps with every number worked out."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from runner.engine.watch.declared import DeclaredPath


@dataclass(frozen=True)
class Planned:
    """One step, all values in SI and °C. ``group`` is what a skip jumps out of: the steps of one sensor.

    ``words`` are its values that are no quantities; ``levels`` the (temperature °C, resistance Ω) of a decade box;
    ``restart`` is the step at which a run that broke off in this one goes on; ``offer`` numbers the steps that are done only
    if the operator takes the offer before them.
    """

    index: int
    kind: str
    title: str
    say: str
    values: Mapping[str, float] = field(default_factory=dict)
    sensor: str = ""
    group: int = 0
    cycle: int = 0
    record: str = ""
    words: Mapping[str, Any] = field(default_factory=dict)
    levels: tuple[tuple[float, float], ...] = ()
    restart: int = 0
    offer: int = 0

    def word(self, name: str) -> str:
        """A value that is a word, or nothing."""
        return str(self.words.get(name, ""))


@dataclass(frozen=True)
class CeilingValues:
    """The limits that end a run at once: °C (None where the bench has no thermometer), V, A, s.

    ``lowest_voltage`` and ``lowest_temperature`` are of last resort: what no cell of the chemistry and no sensor is taken below.
    """

    temperature: float | None
    voltage: float
    current: float
    time: float
    lowest_voltage: float = 0.0
    lowest_temperature: float = -math.inf


@dataclass(frozen=True)
class Program:
    """A procedure on a pack at a bench, ready to run."""

    name: str
    title: str
    protection: str
    trip: float | None
    trip_limits: tuple[float, float] | None
    release: float | None
    cautions: tuple[str, ...]
    prepare: tuple[str, ...]
    ceilings: CeilingValues
    protect: tuple[float, float]  # the supply's own over-voltage (V) and over-current (A) protection
    smallest_current: Mapping[str, float]  # path -> A that its reading can tell from none
    patience: float  # how many times longer than usual readings may be missing: a fast simulated bench stretches pauses
    sensors: tuple[str, ...]
    steps: tuple[Planned, ...]
    has: tuple[str, ...]  # the roles of the bench
    by_hand: tuple[str, ...]  # those of them that a person reads or switches
    reaction: float  # s a person's key comes late
    longest_hold: float  # s that a question may wait for a person while something is on
    every: float  # s between two readings by hand in a long discharge
    nominal_voltage: float
    cells: int
    doubts: tuple[str, ...]  # what is unusual on the pack sheet, each with its place
    probe_resolution: float  # K: the last digit of the reference thermometer
    delay: float  # s: of the protection that is tested
    rated_capacity: float  # A·s
    voltage_error: float  # V: three times what the load's voltmeter may be wrong at the trip
    empty_at: float  # V under load at which the pack's own under-voltage may stop a discharge; 0 in a test of it
    heated_by_machine: bool  # an actuator heats and cools, not a person
    declared_path: DeclaredPath  # how the pack's path opens, as its sheet says
    climb: float = (
        0.0  # V/s for each A that the pack's voltage may rise anywhere between empty and full; 0: a flat curve
    )
    usual: Mapping[str, tuple[float, float]] = field(default_factory=dict)  # of what a person types, in SI
    rated_energy: float = 0.0  # J
    fitted: tuple[str, ...] = ()  # the currents that are less than the procedure asks for, and why
    knobs: tuple[str, ...] = ()  # limits that a person sets before the run, as orders to them, because no command does
    raised: str = (
        ""  # that the ceiling of the current is above the procedure's, with both values: for a person to judge
    )
    unread: tuple[str, ...] = ()  # what the instruments cannot report, in sentences for the record
    looked_at: tuple[str, ...] = ()  # the roles on a cable that cannot report whether they are off
    references: Mapping[str, str] = field(
        default_factory=dict
    )  # sensor -> channel of a further probe that is its reference
    further: tuple[str, ...] = ()  # the channels of further instruments

    @property
    def to_judge(self) -> tuple[str, ...]:
        """What a person has to agree to before the first step, each a sentence."""
        return (*self.doubts, *([self.raised] if self.raised else []))
