"""Further thermometers and voltmeters of a bench: whose reference they are, and what reads a value that a procedure names.

Rule: one thermometer at a time is the reference. What it reads goes by the name of the first one's channel in all that a run looks
at; what each has read by itself is kept beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import TypeVar

from runner.engine.texts import files as texts
from runner.events import METER_VOLTAGE, OWN, PROBE_TEMPERATURE, Sampled, channel_named
from runner.notation.source import Path, normal_key
from runner.sheets.bench import BenchFile
from runner.sheets.instrument_parts import Calibrated
from runner.sheets.instruments import key_of, place_of
from runner.sheets.pack import PackSheet
from runner.vocabulary import Role

T = TypeVar("T")
CELLS = "cells"  # in a procedure: all meters of cells
ITSELF = channel_named(PROBE_TEMPERATURE, OWN)


def references(bench: BenchFile) -> dict[str, str]:
    """The channel of each sensor's own reference, where that is not the first probe."""
    probes = bench.instruments.probes.items()
    return {sensor: channel_named(PROBE_TEMPERATURE, name) for name, probe in probes for sensor in probe.sensors}


def further_channels(bench: BenchFile) -> tuple[str, ...]:
    """The channels of all further instruments; with references among them, also the first probe's own."""
    instruments = bench.instruments
    own = [ITSELF] if instruments.references else []
    return (
        *own,
        *(channel_named(PROBE_TEMPERATURE, name) for name in instruments.probes),
        *(channel_named(METER_VOLTAGE, name) for name in instruments.meters),
    )


def channels_of(name: str, bench: BenchFile) -> dict[str, str]:
    """The channels that ``from: NAME`` of a procedure reads, with the dimension of each; none where the bench has not got it."""
    name, instruments = normal_key(name), bench.instruments
    if name == CELLS:
        cells = [each for each, meter in instruments.meters.items() if meter.cell is not None]
        return {channel_named(METER_VOLTAGE, each): "voltage" for each in cells}
    if name in instruments.probes:
        return {channel_named(PROBE_TEMPERATURE, name): "temperature"}
    return {channel_named(METER_VOLTAGE, name): "voltage"} if name in instruments.meters else {}


def certified(channels: Iterable[str], bench: BenchFile) -> dict[str, tuple[tuple[float, float, float], ...]]:
    """What the certificates say of those channels, point by point, where the bench file has it: (reading, error, u)."""
    instruments = bench.instruments
    said: dict[str, Calibrated] = {
        channel_named(PROBE_TEMPERATURE, name): probe.accuracy for name, probe in instruments.probes.items()
    }
    said |= {channel_named(METER_VOLTAGE, name): meter.voltage_accuracy for name, meter in instruments.meters.items()}
    return {channel: points for channel in channels if (points := said[channel].points())}


def every_cell(bench: BenchFile, pack: PackSheet) -> tuple[str, ...]:
    """The channels of the meters at the cells, where there is one at every cell; else none: a person reads highest and lowest."""
    at = {meter.cell for meter in bench.instruments.meters.values()}
    whole = at >= set(range(1, pack.cells_in_series + 1))
    return tuple(channels_of(CELLS, bench)) if whole else ()


def misplaced(bench: BenchFile, pack: PackSheet) -> Iterator[tuple[Path, str, str]]:
    """What further instruments are said to be at and the pack has not got: place in the bench file, what, remedy."""
    sensors = [sensor.name for sensor in pack.sensors]
    for name, probe in bench.instruments.probes.items():
        for key, said in (("sensors", probe.sensors), ("beside", probe.beside)):
            for sensor in said:
                if sensor not in sensors:
                    wrong = texts.probe_elsewhere(name, sensor, sensors, reference=key == "sensors")
                    yield (*place_of(key_of(Role.PROBE, name)), key), *wrong
    for name, meter in bench.instruments.meters.items():
        if meter.cell is not None and meter.cell > pack.cells_in_series:
            wrong = texts.meter_elsewhere(name, meter.cell, pack.cells_in_series)
            yield (*place_of(key_of(Role.METER, name)), "cell"), *wrong


def referred(sample: Sampled, channel: str) -> Sampled:
    """A sample in which the further probe that reads ``channel`` is the reference; the first probe's goes by a name of its own."""
    if PROBE_TEMPERATURE not in {*sample.readings, *sample.lost} and channel not in {*sample.readings, *sample.lost}:
        return sample
    return replace(
        sample,
        readings=_moved(sample.readings, channel),
        lost=_moved(sample.lost, channel),
        ages=_moved(sample.ages, channel),
    )


def _moved(each: Mapping[str, T], channel: str) -> dict[str, T]:
    found = {ITSELF if name == PROBE_TEMPERATURE else name: value for name, value in each.items()}
    return {**found, **({PROBE_TEMPERATURE: each[channel]} if channel in each else {})}
