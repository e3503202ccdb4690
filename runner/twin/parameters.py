"""What the simulated bench is made of, and how a seed draws the truths that nobody at the bench knows."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from runner.twin.bench import CAPACITY, BenchTruth, ProbeTruth, own, sized
from runner.twin.chemistry import KINDS, CellKind, Points
from runner.twin.meters import DeclaredBench
from runner.twin.path import KEEPS, PathTruth
from runner.twin.sensing import SensingTruth

SENSOR_LAG = (4.0, 12.0)  # s: between which the lags of the sensors are drawn
CLOCK = (0.97, 1.03)  # factor on the polling period, drawn for each pack
CELL = 0.12, 0.06  # Ω·Ah of the cell whose figures stand in draw: resistance and relaxation


@dataclass(frozen=True)
class ProtectionTruth:
    """One protection as the pack really behaves. ``offsets``: by how much each sensor's own threshold differs, in K.

    Voltages are those of a cell. For a current, ``release`` is how long it holds the path open, in s.
    """

    kind: str
    trip: float
    release: float
    delay: float
    polling: float
    latching: bool = False
    offsets: dict[str, float] = field(default_factory=dict)
    release_offsets: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class PackTruth:
    """The pack: voltages in V, capacity in A·s, resistance in Ω for the whole pack, lags in s."""

    name: str
    cells: int
    capacity: float
    soc: float
    resistance: float
    relaxation_resistance: float
    relaxation_time: float
    cell_soc_spread: float
    sensors: dict[str, float]  # name -> lag
    protections: tuple[ProtectionTruth, ...]
    full_voltage: float
    curves: dict[str, Callable[[float], float]] = field(default_factory=dict)  # sensor -> °C from Ω
    path: PathTruth = field(default_factory=PathTruth)
    sensing: SensingTruth = field(default_factory=SensingTruth)
    points: Points = KINDS["LFP"].points  # the cells' open-circuit curve


@dataclass(frozen=True)
class Fault:
    """Something that goes wrong at ``at`` seconds and lasts ``lasts``. The words are in instruments.py and world.py."""

    what: str
    at: float
    lasts: float = 1e9


@dataclass(frozen=True)
class Truth:
    """Everything about one simulated bench."""

    pack: PackTruth
    bench: BenchTruth
    faults: tuple[Fault, ...] = ()
    scenario: str = "sound"
    seed: int = 0


@dataclass(frozen=True)
class Declared:
    """What the sheets say, as far as the simulated bench is built from it. The truths are drawn around it."""

    pack_name: str
    cells: int
    capacity: float
    soc: float
    full_voltage: float
    sensors: tuple[str, ...]
    protections: tuple[ProtectionTruth, ...]
    probe_calibration: float  # standard uncertainty, K
    probe_coupling: float  # standard uncertainty, K
    probe_resolution: float
    curves: dict[str, Callable[[float], float]] = field(default_factory=dict)
    cell: CellKind = KINDS["LFP"]
    bench: DeclaredBench = field(default_factory=DeclaredBench)
    ranges: dict[str, float] = field(default_factory=dict)  # ± about the trip, by kind, where only a range is declared
    delays: dict[str, tuple[float, float]] = field(default_factory=dict)  # s, by kind, where no delay is declared


SCENARIOS = {
    "sound": "a good pack: it behaves as its sheet declares",
    "trips-late": "every trip is 6 K (0.1 V per cell, 30 % of the current) beyond its declared value; releases are as declared",
    "no-protection": "every protection is missing",
    "no-release": "protections latch: they do not release",
    "slow": "all delays are four times the declared value",
    "low-capacity": "capacity is 10 % below rated",
    "nearly-full": "the pack is nearly full, its charge current tapers",
    "one-bad-sensor": "the last sensor's threshold is 6 K beyond the declared one",
    "lead-off": "a supply lead comes off while the sensor is heated",
    "load-lead-off": "a lead of the load comes off",
    "load-stops": "the load stops drawing by itself",
    "supply-trips": "the supply's own protection switches its output off",
    "load-trips": "the load's own protection switches its input off",
    "supply-silent": "the supply stops answering",
    "supply-hangs-up": "the supply closes its connection and refuses new ones for a while",
    "probe-silent": "the thermometer stops answering",
    "averaging-supply": "the supply reports means of the last 0.1 s to 1 s",
    "soft-turn-off": "the pack turns its charge path off over 1 s to 2.5 s",
    "keep-alive": "60 mA still flow when the pack has opened its charge path",
    "derating": "the pack lets less current through before a temperature trips",
    "retrying": "the pack tries every 15 s whether charging is allowed again",
    "pre-charge": "the pack lets a tenth of the current through for 3 s before it recovers",
    "noisy-pack": "the pack reads its sensors with 0.1 K of noise and its cells with 2 mV, in steps",
    "filtering-pack": "the pack compares the mean of its last eight looks",
    "as-they-come": "noise, steps, filter, turn-off and the supply's averaging are drawn for every seed",
    "probe-dropouts": "thermometer and supply sometimes send no reading",
}
LATE, LATE_VOLTS, LATE_AMPERES = 6.0, 0.1, 1.3  # K, V a cell, times


def draw(declared: Declared, scenario: str, seed: int) -> Truth:
    """The truths of one bench: from the declared values, a scenario, and a seed.

    Thresholds are uniform within ±1 K of the declared ones, lags uniform over what such sensors have (4 to 12 s; probes
    0.5 to 3 s), probe errors normal with the declared standard uncertainties.
    """
    dice = random.Random(f"truth {seed}")
    sensors = {name: dice.uniform(*SENSOR_LAG) for name in declared.sensors}
    clock = random.Random(f"clock {seed}").uniform(*CLOCK)
    protections = tuple(
        replace(
            _in_range(_drawn(protection, declared.sensors, dice), declared, seed), polling=protection.polling * clock
        )
        for protection in declared.protections
    )
    smaller = CAPACITY / declared.capacity
    pack = PackTruth(
        declared.pack_name,
        declared.cells,
        declared.capacity * dice.uniform(1.01, 1.05),
        declared.soc,
        0.003 * declared.cells * dice.uniform(0.9, 1.1) * smaller * declared.cell.resistance / CELL[0],
        0.0015 * declared.cells * smaller * declared.cell.relaxation / CELL[1],
        dice.uniform(30.0, 60.0),
        0.0005,
        sensors,
        protections,
        declared.full_voltage,
        declared.curves,
        points=declared.cell.points,
    )
    probe = ProbeTruth(
        dice.uniform(0.5, 3.0),
        dice.gauss(0.0, declared.probe_calibration),
        dice.gauss(0.0, declared.probe_coupling),
        0.01,
        declared.probe_resolution,
    )
    bench = BenchTruth(
        probe,
        ambient=dice.uniform(20.0, 25.0),
        load_lead_resistance=dice.uniform(0.010, 0.020),
        load_gain_error=1.0 + dice.uniform(-0.001, 0.001),
        meter_gain_error=1.0 + dice.uniform(-0.0002, 0.0002),
        meter_offset=dice.uniform(-0.003, 0.003),
        supply_gain_error=(1.0 + dice.uniform(-5e-4, 5e-4), 1.0 + dice.uniform(-0.001, 0.001)),
        supply_current_offset=dice.uniform(-0.01, 0.01),
        load_current_offset=dice.uniform(-0.01, 0.01),
        counter_gain_error=(1.0 + dice.uniform(-0.005, 0.005), 1.0 + dice.uniform(-0.01, 0.01)),
        slew=dice.uniform(8.0, 20.0),
        load_voltage_gain_error=1.0 + dice.uniform(-5e-4, 5e-4),
        load_voltage_offset=dice.uniform(-0.01, 0.01),
    )
    bench = sized(bench, declared.bench, declared.capacity)
    if declared.bench.own:
        bench = own(bench, declared.bench, random.Random(f"bench {seed}"))
    truth = Truth(pack, bench, (), scenario, seed)
    return _with_scenario(truth, scenario, dice)


def _drawn(protection: ProtectionTruth, sensors: tuple[str, ...], dice: random.Random) -> ProtectionTruth:
    delay = protection.delay * dice.uniform(0.85, 1.15)
    if "temperature" in protection.kind:
        return replace(
            protection,
            delay=protection.delay * dice.uniform(0.75, 1.25),
            offsets={name: dice.uniform(-1.0, 1.0) for name in sensors},
            release_offsets={name: dice.uniform(-1.0, 1.0) for name in sensors},
        )
    if protection.kind.endswith("voltage"):
        return replace(
            protection,
            delay=protection.delay * dice.uniform(0.9, 1.1),
            trip=protection.trip + dice.uniform(-0.008, 0.008),
            release=protection.release + dice.uniform(-0.015, 0.015),
        )
    trip = protection.trip * dice.uniform(0.98, 1.02)
    return replace(protection, delay=delay, trip=trip, release=dice.uniform(20.0, 40.0))


def _in_range(protection: ProtectionTruth, declared: Declared, seed: int) -> ProtectionTruth:
    """Anywhere in what a sheet allows that gives a range for the trip, or none for the delay."""
    dice = random.Random(f"range {seed} {protection.kind}")
    where, delay = dice.uniform(-0.8, 0.8), dice.random()
    low, high = declared.delays.get(protection.kind, (protection.delay, protection.delay))
    moved = where * declared.ranges.get(protection.kind, 0.0)
    release = protection.release if protection.kind.endswith("current") else protection.release + moved
    return replace(protection, trip=protection.trip + moved, release=release, delay=low + delay * (high - low))


def _with_scenario(truth: Truth, scenario: str, dice: random.Random) -> Truth:
    pack = truth.pack
    if scenario == "trips-late":
        return replace(
            truth, pack=replace(pack, protections=tuple(_late(p, tuple(pack.sensors)) for p in pack.protections))
        )
    if scenario == "one-bad-sensor":
        return replace(
            truth,
            pack=replace(
                pack,
                protections=tuple(_late(p, tuple(pack.sensors)[-1:]) if p.offsets else p for p in pack.protections),
            ),
        )
    if scenario == "no-protection":
        return replace(truth, pack=replace(pack, protections=()))
    if scenario == "slow":
        slow = tuple(replace(p, delay=4 * p.delay) for p in pack.protections)
        return replace(truth, pack=replace(pack, protections=slow))
    if scenario == "low-capacity":
        return replace(truth, pack=replace(pack, capacity=0.9 * pack.capacity))
    if scenario == "no-release":
        return replace(
            truth, pack=replace(pack, protections=tuple(replace(p, latching=True) for p in pack.protections))
        )
    if scenario == "nearly-full":
        return replace(truth, pack=replace(pack, soc=0.985))
    if scenario == "averaging-supply":
        return replace(truth, bench=replace(truth.bench, aperture=dice.uniform(0.1, 1.0)))
    paths = {
        "soft-turn-off": PathTruth(soft_off=dice.uniform(1.0, 2.5)),
        "keep-alive": PathTruth(keeps=KEEPS),
        "derating": PathTruth(derates=True),
        "retrying": PathTruth(retries=(15.0, dice.uniform(0.1, 2.0))),
        "pre-charge": PathTruth(pre_charge=3.0),
    }
    if scenario in paths:
        return replace(truth, pack=replace(pack, path=paths[scenario]))
    sensing = {"noisy-pack": SensingTruth(0.1, 0.002, 0.05), "filtering-pack": SensingTruth(looks=8)}
    if scenario in sensing:
        return replace(truth, pack=replace(pack, sensing=sensing[scenario]))
    if scenario == "as-they-come":
        return _as_it_comes(truth, dice)
    faults = {
        "lead-off": (Fault("lead off", dice.uniform(400.0, 520.0)),),
        "load-lead-off": (Fault("load lead off", dice.uniform(100.0, 300.0)),),
        "load-stops": (Fault("load stops", dice.uniform(100.0, 300.0)),),
        "supply-trips": (Fault("supply trips", dice.uniform(100.0, 300.0)),),
        "load-trips": (Fault("load trips", dice.uniform(100.0, 300.0)),),
        "supply-silent": (Fault("supply silent", dice.uniform(200.0, 500.0)),),
        "supply-hangs-up": (Fault("supply hangs up", dice.uniform(200.0, 500.0), 3.0),),
        "probe-silent": (Fault("probe silent", dice.uniform(200.0, 500.0)),),
        "probe-dropouts": tuple(
            Fault(what, at, 0.3)
            for at in sorted(dice.uniform(60.0, 2500.0) for _ in range(20))
            for what in ("probe sends no number", "supply sends no number")
        ),
    }
    return replace(truth, faults=faults.get(scenario, ()))


def _as_it_comes(truth: Truth, dice: random.Random) -> Truth:
    """What packs and supplies have that is no fault: each with even chances or none (ranges: common practice, no source)."""
    noise, step = dice.choice((0.0, 0.02 * 15 ** dice.random())), dice.choice((0.0, 0.02, 0.1, 0.25))
    sensing = SensingTruth(noise, dice.choice((0.0, 0.0005 * 6 ** dice.random())), step, dice.choice((1, 1, 4, 8)))
    path = dice.choice(
        (PathTruth(), PathTruth(soft_off=dice.uniform(0.01, 1.0)), PathTruth(keeps=KEEPS), PathTruth(pre_charge=1.0))
    )
    bench = replace(truth.bench, aperture=dice.choice((0.0, dice.uniform(0.02, 1.0))))
    return replace(truth, pack=replace(truth.pack, sensing=sensing, path=path), bench=bench)


def _late(protection: ProtectionTruth, sensors: tuple[str, ...]) -> ProtectionTruth:
    sign = 1.0 if "over" in protection.kind else -1.0
    if protection.kind.endswith("voltage"):
        return replace(protection, trip=protection.trip + sign * LATE_VOLTS)
    if protection.kind.endswith("current"):
        return replace(protection, trip=protection.trip * LATE_AMPERES)
    offsets = {name: offset + (sign * LATE if name in sensors else 0.0) for name, offset in protection.offsets.items()}
    return replace(protection, offsets=offsets)
