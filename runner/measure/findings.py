"""``findings(recording, declared)``: the list of what to work out, in order, sensor by sensor or for the pack."""

from __future__ import annotations

from collections.abc import Callable

from runner.measure.capacity import Throughput
from runner.measure.cutoff import CutOff
from runner.measure.finding import Finding
from runner.measure.meters import Meters
from runner.measure.recording import Recording, Specification
from runner.measure.stages import Stages, Substituted
from runner.measure.thermal import Thermal

Table = dict[str, Callable[[], Finding | None]]


def findings(recording: Recording, declared: Specification) -> list[Finding]:
    """Everything the procedure wants, but for what turned out not to arise."""
    tables = [_of_sensor(recording, declared, sensor) for sensor in declared.sensors] or [_of_pack(recording, declared)]
    made = [table[name]() for table in tables for name in declared.wanted]
    return [finding for finding in made if finding is not None]


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
