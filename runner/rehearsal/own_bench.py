"""A bench file of a person's own as the simulated bench: its limits, accuracies, slow meters, and what is by hand in it.

What reaches an instrument is replaced: address, dialect, channel, and what tells one instrument of a maker from another. Nothing
of it decides whether a run is a rehearsal: the command does.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping
from typing import Any

from runner.notation.source import read, writer
from runner.sheets.bench import BenchFile
from runner.sheets.instrument_parts import Calibrated, MeterAccuracy, PowerSheet, TemperatureAccuracy
from runner.sheets.instruments import ROLE_FACTS, Instruments, key_of
from runner.sheets.parts.meters import FurtherMeter, FurtherProbe, ProbeSheet
from runner.twin.instruments import simulated_models
from runner.twin.meters import DeclaredBench, DeclaredFurther, DeclaredLeads, DeclaredMeter
from runner.twin.server import Inside, Servers
from runner.vocabulary import Role
from runner.workspace.job import UserFile

REACHED = ("address", "identity", "dialect", "channel", "timeout", "model", "serial", "serial_number", "certificate")
RAW = (
    "reads",
    "sensor",
    "curve",
    "terminals",
    "terminals_from",
)  # of a thermometer whose readings the simulated one does not give
PLATINUM = "pt100"  # the one it gives beside degrees
HEAD = """\
# A rehearsal of a bench file: its instruments are simulated, with the limits and accuracies that it declares.
"""


def declared_bench(bench: BenchFile) -> DeclaredBench:
    """What a bench file declares, as the simulated bench takes it. What it has not got is as large as need be."""
    instruments = bench.instruments
    counter, probe = instruments.counter, instruments.probe
    otherwise = DeclaredBench()
    supply, load = instruments.supply, instruments.load
    return DeclaredBench(
        supply=otherwise.supply if supply is None else (supply.limits.voltage, supply.limits.current),
        load=otherwise.load if load is None else (load.limits.voltage, load.limits.current),
        own=True,
        meters=_meters(instruments),
        supply_leads=_leads(supply),
        load_leads=_leads(load),
        coupling_growth=probe.coupling_growth or 0.0 if probe is not None else 0.0,
        coupling_direction=probe.coupling_direction or 0.0 if probe is not None else 0.0,
        coupling=probe.coupling if probe is not None else None,
        probe_lag=None if probe is None or not probe.lag else (probe.lag, probe.lag_uncertainty),
        counter=None if counter is None else (counter.charge_gain, counter.energy_gain),
        further={
            **{
                key_of("probe", name): _further(each, (*each.sensors, *each.beside))
                for name, each in instruments.probes.items()
            },
            **{key_of("meter", name): _further(each) for name, each in instruments.meters.items()},
        },
    )


def _further(sheet: FurtherProbe | FurtherMeter, sensors: tuple[str, ...] = ()) -> DeclaredFurther:
    if isinstance(sheet, FurtherProbe):
        return DeclaredFurther(_of_probe(sheet), True, sensors, coupling=sheet.coupling)
    return DeclaredFurther(_of_meter(sheet.voltage_accuracy, 0.0), False, cell=sheet.cell)


def simulated_text(file: UserFile, servers: Servers | Inside, speed: float) -> str:
    """The bench file of the simulated instruments that stand in for those of a person's own; ``file`` has been checked."""
    values: dict[str, Any] = _plain(read(file.text, file.name).values)
    values["name"] = f"{values['name']} (simulated)"
    values |= {"simulated": True, "speed": speed}
    values.pop("backend", None)
    models = simulated_models(servers.world)
    for called, instrument in _each(values["instruments"]):
        role = called.partition(" ")[0]
        wired = not instrument.get("by_hand")
        for key in REACHED:
            instrument.pop(key, None)
        if instrument.get("reads") not in (None, "temperature") and instrument.get("sensor") != PLATINUM:
            for key in RAW:
                instrument.pop(key, None)
        if instrument.pop("stamp", None) == "middle":
            instrument["stamp"] = "end"  # so the simulated ones give their means
        if wired:
            instrument |= {"address": servers.address(called), "model": models[role], "timeout": "0.5 s"}
            instrument["identity"] = f"TERN ISLAND,{models[role]}"
        if ROLE_FACTS[Role(role)].heats:
            instrument["places"] = {name: name for name in servers.world.spots}
    text = io.StringIO()
    yaml = writer(plain=True)
    yaml.default_flow_style = False
    yaml.representer.sort_base_mapping_type_on_output = False  # in the order of the file
    yaml.dump(values, text)
    return HEAD + text.getvalue()


def _each(instruments: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every instrument of a bench file by its role, further ones by role and name."""
    for role, what in instruments.items():
        further = role.removesuffix("s") if role in ("probes", "meters") else ""
        yield from ((key_of(further, name), each) for name, each in what.items()) if further else [(role, what)]


def _plain(value: Any) -> Any:
    """A copy in which everything may be changed and written."""
    if isinstance(value, Mapping):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    return value


def _meters(instruments: Instruments) -> dict[str, DeclaredMeter]:
    supply, load, meter, probe = instruments.supply, instruments.load, instruments.meter, instruments.probe
    found: dict[str, DeclaredMeter] = {}
    for role, power in (("supply", supply), ("load", load)):
        if power is not None:
            averages = power.averages or 0.0
            found[f"{role} voltage"] = _of_meter(power.voltage_accuracy, averages)
            found[f"{role} current"] = _of_meter(power.current_accuracy, averages)
    if meter is not None:
        found["meter voltage"] = _of_meter(meter.voltage_accuracy, meter.averages or 0.0)
    if probe is not None:
        found["probe"] = _of_probe(probe)
    return found


def _of_meter(accuracy: MeterAccuracy, averages: float) -> DeclaredMeter:
    return DeclaredMeter(
        float(accuracy.gain),
        float(accuracy.offset),
        float(accuracy.resolution),
        _points(accuracy),
        float(accuracy.drift),
        averages=averages,
    )


def _of_probe(probe: ProbeSheet) -> DeclaredMeter:
    accuracy: TemperatureAccuracy = probe.accuracy
    step = float(accuracy.resolution) or 0.01  # K
    drift = float(accuracy.drift)
    if accuracy.expanded_uncertainty is not None:
        standard = float(accuracy.expanded_uncertainty) / accuracy.coverage_factor
        return DeclaredMeter(resolution=step, drift=drift, standard=standard)
    return DeclaredMeter(0.0, float(accuracy.limit or 0.0), step, _points(accuracy), drift)


def _points(accuracy: Calibrated) -> tuple[tuple[float, float, float], ...]:
    return accuracy.points()


def _leads(power: PowerSheet | None) -> DeclaredLeads:
    if power is None:
        return DeclaredLeads()
    if power.leads is None:
        return DeclaredLeads(remote=power.sense == "remote")
    return DeclaredLeads(power.leads.resistance, power.leads.uncertainty)
