"""``findings(recording, declared)``: the list of what to work out, in order, sensor by sensor or for the pack."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from runner.events import CURRENT_OF
from runner.measure.capacity import Throughput
from runner.measure.cutoff import CutOff
from runner.measure.finding import Finding
from runner.measure.fits.averaging import Averaging, learned, unknown
from runner.measure.fits.edge import LEVEL_WINDOW, find_fall
from runner.measure.meters import Meters
from runner.measure.recording import Recording, Specification
from runner.measure.stages import Stages, Substituted
from runner.measure.thermal import Thermal
from runner.vocabulary import Outcome

FEWEST = 3  # readings of a current of which anything can be said
Table = dict[str, Callable[[], Finding | None]]


def findings(recording: Recording, declared: Specification) -> list[Finding]:
    """Everything the procedure wants, but for what turned out not to arise."""
    declared = replace(declared, averaging=_averaging(recording, declared))
    tables = [_of_sensor(recording, declared, sensor) for sensor in declared.sensors] or [_of_pack(recording, declared)]
    made = [table[name]() for table in tables for name in declared.wanted]
    return [finding for finding in made if finding is not None]


def _averaging(recording: Recording, declared: Specification) -> dict[str, Averaging]:
    """What is known of the windows of the current readings: declared, or found from the falls of all sensors together."""
    found = dict(declared.averaging)
    current = recording.of(CURRENT_OF[declared.path])
    if len(current) < FEWEST or declared.path in found:
        return found
    before = unknown(float(np.median(np.diff(current.t))))
    falls = [
        find_fall(current, attempt.at, attempt.began - LEVEL_WINDOW)
        for attempt in recording.attempts
        if attempt.outcome == Outcome.STOPPED and not attempt.by_hand
    ]
    return {**found, declared.path: learned(before, [fall for fall in falls if fall is not None])}


def _of_sensor(recording: Recording, declared: Specification, sensor: str) -> Table:
    replaced = any(attempt.kind == "substitute" and attempt.sensor == sensor for attempt in recording.attempts)
    substituted: Table = {**Substituted(recording, declared, sensor).findings()}
    return substituted if replaced else {**substituted, **Thermal(recording, declared, sensor).findings()}


def _of_pack(recording: Recording, declared: Specification) -> Table:
    found: Table = {
        **Throughput(recording, declared).findings(),
        **Meters(recording, declared).findings(),
    }
    if declared.protection.endswith("over_current"):
        return {**found, **Stages(recording, declared).findings()}
    return {**found, **CutOff(recording, declared).findings()}
