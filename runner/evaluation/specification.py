"""What was known before a run, from its three files, in the form the measurement takes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

from runner.events import (
    CHARGE,
    DISCHARGE,
    LOAD_CURRENT,
    LOAD_VOLTAGE,
    METER_VOLTAGE,
    PROBE_TEMPERATURE,
    SUPPLY_CURRENT,
    SUPPLY_VOLTAGE,
    channel_named,
)
from runner.measure.conformity import Decision
from runner.measure.fits.averaging import of_window
from runner.measure.readings import Corrections
from runner.measure.recording import Accuracy, Reference, Specification
from runner.sheets.bench import Assumed, BenchFile
from runner.sheets.curve import Curve
from runner.sheets.instrument_parts import Calibrated, MeterAccuracy
from runner.sheets.instruments import ClampSheet, Instruments
from runner.sheets.pack import PackSheet
from runner.sheets.parts.meters import FurtherProbe, ProbeSheet
from runner.sheets.parts.protections import Protection, VoltageProtection
from runner.sheets.procedure import Procedure
from runner.sheets.tolerances import allowed
from runner.vocabulary import Role

STAMPS = {"end": 1.0, "middle": 0.5}  # where in its window the time of a reading is
UNSAID = 0.1  # of a delay: how well it is taken to be kept where the sheet does not say (common practice, no source)


def declare(procedure: Procedure, pack: PackSheet, bench: BenchFile, sensors: tuple[str, ...]) -> Specification:
    """Everything that the measurement takes from sheets; ``sensors`` are those that the run is about."""
    protection = procedure.tested(pack)
    instruments = bench.instruments
    probe, counter = instruments.probe, instruments.counter
    return Specification(
        protection=procedure.protection or "",
        **_of_protection(protection, bench.decision.assumed_tolerance, _beyond(procedure, protection, instruments)),
        cells=pack.cells_in_series,
        calibration=_of_probe(probe, protection),
        resolution=probe.accuracy.resolution if probe else 0.0,
        coupling=probe.coupling if probe else 0.0,
        coupling_growth=probe.coupling_growth if probe else None,
        coupling_direction=probe.coupling_direction if probe else None,
        probe_lag=(probe.lag, probe.lag_uncertainty) if probe else None,
        references=_references(procedure, protection, instruments, lambda probe: probe.sensors),
        beside=_references(procedure, protection, instruments, lambda probe: probe.beside),
        sensor_lag={
            sensor.name: (sensor.lag, sensor.lag_uncertainty or sensor.lag / 2)
            for sensor in pack.sensors
            if sensor.lag is not None
        },
        sensors=sensors,
        wanted=procedure.findings,
        decision=decision_of(bench),
        accuracy=_accuracies(instruments),
        leads=_leads(instruments),
        averaging={
            path: of_window(instrument.averages, STAMPS[instrument.stamp])
            for path, instrument in (
                (CHARGE, instruments.supply),
                (DISCHARGE, instruments.load),
                (METER_VOLTAGE, instruments.meter),
            )
            if instrument is not None and instrument.averages is not None
        },
        capacity=(pack.rated_capacity, pack.minimum_capacity),
        energy=(pack.rated_energy, pack.minimum_energy),
        box=instruments.box.accuracy if instruments.box else 0.0,
        slope={sensor.name: _relative_slope(sensor.curve) for sensor in pack.sensors if sensor.curve is not None},
        reaction=(bench.hand.reaction, bench.hand.reaction_uncertainty),
        clamp=None if instruments.clamp is None else (_of_clamp(instruments.clamp), instruments.clamp.refresh),
        counter=None
        if counter is None
        else (
            Accuracy(counter.charge_gain, 0.0, counter.charge_resolution),
            Accuracy(counter.energy_gain, 0.0, counter.energy_resolution),
        ),
    )


def decision_of(bench: BenchFile) -> Decision:
    """The rule by which statements are made at a bench."""
    return Decision(bench.decision.rule, bench.decision.coverage, bench.decision.risk)


def corrections(instruments: Instruments) -> dict[str, Corrections]:
    """What the calibration certificates say of the readings of each channel, where the bench file has it."""
    said = {channel: accuracy.points() for channel, accuracy in _of_channels(instruments)}
    return {channel: Corrections(points) for channel, points in said.items() if points}


def _references(
    procedure: Procedure,
    protection: Protection | None,
    instruments: Instruments,
    sensors_of: Callable[[FurtherProbe], tuple[str, ...]],
) -> dict[str, Reference]:
    """The further thermometers, by the sensors that they are held at."""
    return {
        sensor: Reference(
            channel_named(PROBE_TEMPERATURE, name),
            _of_probe(probe, protection),
            probe.accuracy.resolution,
            probe.coupling,
            probe.coupling_growth,
            probe.coupling_direction,
            (probe.lag, probe.lag_uncertainty),
            _beyond(procedure, protection, instruments, channel_named(PROBE_TEMPERATURE, name)),
        )
        for name, probe in instruments.probes.items()
        for sensor in sensors_of(probe)
    }


def _of_probe(probe: ProbeSheet | None, protection: Protection | None) -> tuple[float, str]:
    """(standard uncertainty in K, distribution) of the thermometer, near the trip where a certificate has several points."""
    if probe is None:
        return 0.0, "normal"
    u, distribution = probe.accuracy.standard_uncertainty()
    points = Corrections(probe.accuracy.points())
    if not points.points:
        return u, distribution
    near = points.points[-1][0] if protection is None or protection.trip is None else protection.trip
    return math.hypot(u, points.uncertainty(near)), "normal"


def _beyond(
    procedure: Procedure,
    protection: Protection | None,
    instruments: Instruments,
    channel: str = PROBE_TEMPERATURE,
) -> str:
    """That a threshold lies where the certificate of the thermometer says nothing."""
    points = corrections(instruments).get(channel)
    if points is None or protection is None or "temperature" not in (procedure.protection or ""):
        return ""
    outside = [each for each in (protection.trip, protection.release) if each is not None and not points.reaches(each)]
    low, high = points.points[0][0], points.points[-1][0]
    return f"thermometer calibrated from {low:g} to {high:g} °C only" if outside else ""


def _of_protection(protection: Protection | None, assumed: Assumed, beyond: str) -> dict[str, Any]:
    if protection is None:
        return {}
    limits = allowed(protection, assumed)
    tolerance = protection.delay_tolerance
    half = UNSAID * protection.delay if tolerance is None else tolerance
    if protection.delay_range is not None:
        half, tolerance = (protection.delay_range[1] - protection.delay_range[0]) / 2, None
    return {
        "trip": protection.trip if protection.trip_declared else None,
        "assumed": "; ".join(each for each in (limits.assumed, beyond) if each),
        "trip_limits": limits.trip,
        "release": protection.release,
        "release_limits": limits.release,
        "delay": protection.delay,
        "delay_uncertainty": half / 3.0**0.5,
        "delay_assumed": protection.delay_range,
        "delay_limits": None if tolerance is None else (protection.delay - tolerance, protection.delay + tolerance),
        "polling": protection.polling,
        "latching": protection.latching,
        **_of_cells(protection),
    }


def _of_cells(protection: Protection) -> dict[str, Any]:
    if not isinstance(protection, VoltageProtection):
        return {}
    return {"cell_noise": protection.cell_noise, "filter_lag": protection.filter_lag}


def _of_channels(instruments: Instruments) -> Iterator[tuple[str, Calibrated]]:
    """What the bench file says of the readings of each channel."""
    if instruments.probe is not None:
        yield PROBE_TEMPERATURE, instruments.probe.accuracy
    if instruments.supply is not None:
        yield SUPPLY_VOLTAGE, instruments.supply.voltage_accuracy
        yield SUPPLY_CURRENT, instruments.supply.current_accuracy
    if instruments.load is not None:
        yield LOAD_VOLTAGE, instruments.load.voltage_accuracy
        yield LOAD_CURRENT, instruments.load.current_accuracy
    if instruments.meter is not None:
        yield METER_VOLTAGE, instruments.meter.voltage_accuracy
    for name, probe in instruments.probes.items():
        yield channel_named(PROBE_TEMPERATURE, name), probe.accuracy
    for name, meter in instruments.meters.items():
        yield channel_named(METER_VOLTAGE, name), meter.voltage_accuracy


def _accuracies(instruments: Instruments) -> dict[str, Accuracy]:
    """± limits by channel; of corrected readings those that have the standard uncertainty of the corrections."""
    found: dict[str, Accuracy] = {}
    for channel, accuracy in _of_channels(instruments):
        if not isinstance(accuracy, MeterAccuracy):
            continue
        worst = max((u for _, _, u in accuracy.points()), default=0.0)
        offset = accuracy.offset + math.hypot(worst * 3.0**0.5, accuracy.drift)
        found[channel] = Accuracy(accuracy.gain, offset, accuracy.resolution)
    return found


def _of_clamp(clamp: ClampSheet) -> Accuracy:
    """± limits of what a person reads on a clamp; of a certificate's points, whose errors nobody takes off, all that they say."""
    accuracy = clamp.current_accuracy
    worst = max((abs(error) + u * 3.0**0.5 for _, error, u in accuracy.points()), default=0.0)
    return Accuracy(accuracy.gain, accuracy.offset + worst + accuracy.drift, accuracy.resolution)


def _leads(instruments: Instruments) -> dict[str, tuple[float, float]]:
    pairs = ((CHARGE, instruments.supply), (DISCHARGE, instruments.load))
    known = {path: instrument.between for path, instrument in pairs if instrument is not None}
    found: dict[str, tuple[float, float]] = {path: each for path, each in known.items() if each is not None}
    counter = instruments.counter
    if counter is not None and counter.leads is not None:
        found[Role.COUNTER] = (counter.leads.resistance, counter.leads.uncertainty)
    return found


def _relative_slope(curve: Curve) -> Callable[[float], float]:
    """(dR/dT)/R in 1/K at a temperature in °C."""
    return lambda temperature: curve.slope(temperature) / curve.resistance(temperature)
