"""The simulated bench in the same process: built from the sheets, on the run's own clock, reached through PyVISA and TCP."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection
from pathlib import Path

from runner.bench.line import Transport
from runner.bench.visa import VisaTransport
from runner.conduct.interfaces import Clock
from runner.record.folder import TRUTH, RunFolder, write_whole
from runner.rehearsal.bench_file import (
    HEATED_BY,
    NOT_WIRED,
    PROBE_CALIBRATION,
    PROBE_COUPLING,
    PROBE_RESOLUTION,
    bench_text,
)
from runner.rehearsal.bench_size import size_for
from runner.rehearsal.own_bench import declared_bench, simulated_text
from runner.rehearsal.simulated_operator import SimulatedEyes, Switched
from runner.sheets.bench import parse_bench
from runner.sheets.instrument_parts import InstrumentSheet
from runner.sheets.instruments import facts_of
from runner.sheets.pack import PackSheet, parse_pack
from runner.sheets.parts.protections import TemperatureProtection
from runner.sheets.tolerances import UNDER_VOLTAGE, implied_cut_off
from runner.twin.chemistry import CellKind, kind_of
from runner.twin.meters import DeclaredBench
from runner.twin.parameters import Declared, ProtectionTruth, Truth, draw
from runner.twin.server import Inside, Servers
from runner.twin.world import World
from runner.vocabulary import Role
from runner.workspace.job import Job, UserFile, load

# K, or V a cell, from the trip to the release of a simulated pack whose sheet declares none
RELEASES = {
    "charge_over_temperature": -8.0,
    "charge_under_temperature": 8.0,
    "discharge_over_temperature": -8.0,
    "discharge_under_temperature": 8.0,
    "over_voltage": -0.1,
    "under_voltage": 0.25,
}


def per_cell_of(kind: str, pack: PackSheet) -> int:
    """By what a value of a sheet is divided: by the cells where it is a voltage."""
    return pack.cells_in_series if kind.endswith("voltage") else 1


def declared_for_twin(pack: PackSheet, bench: DeclaredBench | None = None) -> Declared:
    """What the simulated bench is to be built around: the pack sheet, and the figures its bench file will state."""
    protections = []
    for kind in type(pack.protections).model_fields:
        protection = pack.protection(kind) or (implied_cut_off(pack) if kind == UNDER_VOLTAGE else None)
        if protection is None:
            continue
        per_cell = per_cell_of(kind, pack)
        release = protection.release
        if release is None:
            release = protection.trip + RELEASES.get(kind, 0.0) * per_cell_of(kind, pack)
        sensors = protection.sensors if isinstance(protection, TemperatureProtection) else ()
        protections.append(
            ProtectionTruth(
                kind,
                protection.trip / per_cell,
                release / per_cell,
                protection.delay,
                protection.polling or (0.1 if kind.endswith("current") else 0.25),
                protection.latching,
                dict.fromkeys(sensors, 0.0),
                dict.fromkeys(sensors, 0.0),
            )
        )
    size = size_for(pack)
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
        PROBE_COUPLING if bench is None or bench.coupling is None else bench.coupling,
        PROBE_RESOLUTION,
        {sensor.name: sensor.curve.temperature for sensor in pack.sensors if sensor.curve is not None},
        _cell_of(pack),
        DeclaredBench(size.supply, size.load) if bench is None else bench,
        *_open(pack),
    )


def _open(pack: PackSheet) -> tuple[dict[str, float], dict[str, tuple[float, float]]]:
    """What the sheet leaves open: ± about the trip (of a cell), and between which values the delay is (s)."""
    ranges: dict[str, float] = {}
    delays: dict[str, tuple[float, float]] = {}
    for kind in type(pack.protections).model_fields:
        protection = pack.protection(kind)
        if protection is None:
            continue
        if not protection.trip_declared:
            ranges[kind] = (protection.between[1] - protection.between[0]) / 2 / per_cell_of(kind, pack)
        if protection.delay_range is not None:
            delays[kind] = protection.delay_range
    return ranges, delays


def _cell_of(pack: PackSheet) -> CellKind:
    """The cells of a pack: its chemistry, between the voltages at which its discharge and its charge end."""
    cells, low = pack.cells_in_series, pack.protections.under_voltage
    end = pack.cut_off_voltage if low is None else max(low.trip, pack.cut_off_voltage)
    return kind_of(pack.chemistry, end / cells, pack.full_charge_voltage / cells)


def build_world(
    pack: UserFile,
    scenario: str,
    seed: int,
    now: Callable[[], float],
    changed: Callable[[Truth], Truth] = lambda truth: truth,
    bench: DeclaredBench | None = None,
) -> World:
    """A simulated bench with a pack like the sheet's on it. Raises SheetError if the sheet is wrong.

    ``changed`` makes of the truth that was drawn the one that holds.
    """
    sheet = parse_pack(pack.text, pack.name)
    return World(changed(draw(declared_for_twin(sheet, bench), scenario, seed)), now)


class Rehearsal:
    """A simulated bench in this process, with one pack on it, for one run or several. Use as a context manager."""

    def __init__(
        self,
        pack: UserFile,
        scenario: str,
        seed: int,
        clock: Clock,
        by_hand: Collection[str] = (),
        *,
        actuator: bool = False,
        nothing_wired: bool = False,
        sockets: bool = True,
        changed: Callable[[Truth], Truth] = lambda truth: truth,
        own: UserFile | None = None,
    ) -> None:
        """``by_hand`` are the roles that the simulated operator reads. Raises SheetError if the pack sheet is wrong.

        With ``actuator`` a plate heats and cools in place of the simulated person.
        With ``nothing_wired`` a person reads and switches everything, and a charger and a clamp take the place of the supply.
        ``own`` is a bench file, read and checked, whose instruments are simulated in place of the usual ones.
        Without ``sockets`` the instruments are reached inside this process only, through ``connect``.
        """
        self.pack = pack
        declared = None if own is None else declared_bench(parse_bench(own.text, own.name))
        self.world = build_world(pack, scenario, seed, clock.now, changed, declared)
        self._inside = None if sockets else Inside(self.world, clock.sleep)
        self.servers: Servers | Inside = self._inside or Servers(self.world, sleep=clock.sleep)
        if own is not None:
            self.bench = UserFile("simulated-bench.yaml", simulated_text(own, self.servers, 1.0))
            return
        left_out = (*(() if actuator else HEATED_BY), *((Role.SUPPLY,) if nothing_wired else ()))
        by_hand = NOT_WIRED if nothing_wired else by_hand
        size = size_for(parse_pack(pack.text, pack.name))
        self.bench = UserFile("simulated-bench.yaml", bench_text(self.servers, 1.0, 0.5, by_hand, left_out, size))

    def job(self, procedure: UserFile, sensors: tuple[str, ...] = ()) -> Job:
        """A job on this bench. Raises SheetError if procedure or pack sheet are wrong."""
        return load(procedure, self.pack, self.bench, sensors)

    def connect(self, role: str, sheet: InstrumentSheet) -> Transport:
        """A transport to an instrument, as a bench wants it."""
        if self._inside is not None:
            return self._inside.connection(role)
        return VisaTransport(sheet.address, "@py", sheet.timeout)

    @property
    def eyes(self) -> SimulatedEyes:
        """The eyes of the operator who comes with this bench."""
        sheet = parse_bench(self.bench.text, self.bench.name)
        hand, load_sheet = sheet.hand, sheet.instruments.load
        draws = load_sheet.draws or 0.0 if load_sheet is not None else 0.0
        charger, clamp = sheet.instruments.charger, sheet.instruments.clamp
        switched = Switched(
            draws,
            *((charger.voltage, charger.current) if charger is not None else (0.0, 0.0)),
            *((clamp.refresh, clamp.current_accuracy.gain) if clamp is not None else (0.0, 0.0)),
        )
        heats = not any(facts_of(role).heats for role in sheet.wired())
        return SimulatedEyes(self.world, (hand.reaction, hand.reaction_uncertainty), switched, heats=heats)

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
