"""The simulated bench in the same process: built from the sheets, on the run's own clock, reached through PyVISA and TCP."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from runner.conduct.files import Job, UserFile, load
from runner.record.folder import TRUTH, RunFolder, write_whole
from runner.sheets.pack import PackSheet, TemperatureProtection, parse_pack
from runner.twin.parameters import Declared, ProtectionTruth, draw
from runner.twin.server import Servers
from runner.twin.world import World

PROBE_CALIBRATION = (
    0.20  # K, expanded (k = 2): what a calibrated thermistor or Pt100 thermometer has; the twin's own figure
)
PROBE_COUPLING = 0.15  # K, standard: probe and sensor taped into one wrap
PROBE_RESOLUTION = 0.01  # K


def declared_for_twin(pack: PackSheet) -> Declared:
    """What the simulated bench is to be built around: the pack sheet, and the figures its bench file will state."""
    protections = []
    for kind in type(pack.protections).model_fields:
        protection = pack.protection(kind)
        if protection is None:
            continue
        per_cell = pack.cells_in_series if kind.endswith("voltage") else 1
        release = protection.release if protection.release is not None else protection.trip
        sensors = protection.sensors if isinstance(protection, TemperatureProtection) else ()
        protections.append(
            ProtectionTruth(
                kind,
                protection.trip / per_cell,
                release / per_cell,
                protection.delay,
                protection.polling or 0.25,
                protection.latching,
                dict.fromkeys(sensors, 0.0),
                dict.fromkeys(sensors, 0.0),
            )
        )
    soc = pack.state_of_charge_on_arrival if pack.state_of_charge_on_arrival is not None else 0.5
    return Declared(
        pack.name,
        pack.cells_in_series,
        pack.rated_capacity,
        soc,
        pack.full_charge_voltage,
        tuple(sensor.name for sensor in pack.sensors),
        tuple(protections),
        PROBE_CALIBRATION / 2,
        PROBE_COUPLING,
        PROBE_RESOLUTION,
    )


def build_world(pack: UserFile, scenario: str, seed: int, now: Callable[[], float]) -> World:
    """A simulated bench with a pack like the sheet's on it. Raises SheetError if the sheet is wrong."""
    sheet = parse_pack(pack.text, pack.name)
    return World(draw(declared_for_twin(sheet), scenario, seed), now)


def bench_text(servers: Servers, speed: float, timeout: float = 1.0) -> str:
    """The bench file of a simulated bench that listens: what a person would write for a real one."""
    lines = [
        "# The bench file of a simulated bench. Its instruments are invented and prove nothing about a real pack.",
        "kind: bench",
        "name: simulated bench",
        "place: Tern Island (invented)",
        "laboratory: Tern Island Marker Light Trust, battery bench (invented)",
        "simulated: true",
        f"speed: {speed:g}",
        "decision: {rule: guard band with conditions, coverage: 95 %}",
        "instruments:",
    ]
    details = {
        "supply": [
            "limits: {voltage: 30 V, current: 10 A}",
            "voltage_accuracy: {gain: 0.05 %, offset: 10 mV, resolution: 1 mV}",
            "current_accuracy: {gain: 0.1 %, offset: 10 mA, resolution: 1 mA}",
        ],
        "probe": [
            f"accuracy: {{expanded_uncertainty: {PROBE_CALIBRATION:g} K, coverage_factor: 2, resolution: {PROBE_RESOLUTION:g} K}}",
            f"coupling: {PROBE_COUPLING:g} K",
            "lag: 1.75 s",
            "lag_uncertainty: 0.72 s",
            "calibrated: 2026-06-02",
            "calibration_due: 2027-06-02",
            "certificate: invented-0002",
        ],
        "meter": [
            "voltage_accuracy: {gain: 0.02 %, offset: 3 mV, resolution: 1 mV}",
            "calibrated: 2026-06-02",
            "calibration_due: 2027-06-02",
            "certificate: invented-0003",
        ],
        "load": ["limits: {voltage: 30 V, current: 40 A}"],
        "hands": [],
    }
    models = {
        "supply": ("SIM SUPPLY 60-20", "0001"),
        "probe": ("SIM THERMOMETER", "0002"),
        "meter": ("SIM VOLTMETER", "0003"),
        "load": ("SIM LOAD 60-60", "0004"),
        "hands": ("SIM HANDS", "0005"),
    }
    for role in servers.roles:
        model, serial = models[role]
        lines += [
            f"  {role}:",
            f"    address: {servers.address(role)}",
            f'    identity: "TERN ISLAND,{model}"',
            f"    model: {model}",
            f'    serial: "{serial}"',
            f"    timeout: {timeout:g} s",
        ]
        lines += [f"    {detail}" for detail in details[role]]
    return "\n".join(lines) + "\n"


class Rehearsal:
    """A simulated bench for one run in this process. Use as a context manager."""

    def __init__(
        self,
        procedure: UserFile,
        pack: UserFile,
        scenario: str,
        seed: int,
        now: Callable[[], float],
        sensors: tuple[str, ...] = (),
    ) -> None:
        """Raises SheetError if procedure or pack sheet are wrong; then nothing listens."""
        self.world = build_world(pack, scenario, seed, now)
        self.servers = Servers(self.world)
        try:
            bench = UserFile("simulated-bench.yaml", bench_text(self.servers, 1.0, timeout=0.5))
            self.job: Job = load(procedure, pack, bench, sensors)
        except BaseException:
            self.servers.close()
            raise

    def write_truth(self, folder: RunFolder) -> None:
        """Put truth.json into the run folder."""
        write_truth(self.world, folder.path / TRUTH)

    def __enter__(self) -> Rehearsal:
        return self

    def __exit__(self, *_: object) -> None:
        self.servers.close()


def write_truth(world: World, path: Path) -> None:
    """What really happened on a simulated bench, as JSON."""
    with world.lock:
        world.catch_up()
        write_whole(path, (json.dumps(world.report(), indent=1) + "\n").encode())
