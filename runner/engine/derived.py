"""What a program needs and no file says: it follows from what they do say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from runner.engine.fitting.by_hand import charger_of, hand_load_of
from runner.engine.program import Planned
from runner.engine.step_order import path_opened_by
from runner.engine.texts import plan as texts
from runner.engine.watch.declared import DeclaredPath
from runner.events import CHARGE, DISCHARGE
from runner.notation.quantity import shown
from runner.sheets.bench import BenchFile
from runner.sheets.chemistry import find
from runner.sheets.hold_steps import OF_A_STEP
from runner.sheets.instruments import LoadSheet, SupplySheet
from runner.sheets.pack import PackSheet, Sensor
from runner.sheets.parts.protections import KINDS, Protection
from runner.sheets.tolerances import allowed
from runner.vocabulary import Observed

# V a cell from empty to full where nobody knows the curve; and how much steeper a part of it may be
SLOPE_OF_OTHERS, STEEPER = 1.0, 1.5
# of the cut-off voltage, of the full charge voltage, of the largest current; °C
EMPTIEST, FULLEST, MOST_CURRENT = 0.6, 1.12, 1.5
ROOMS, SENSORS_HAVE = (-20.0, 50.0), (-45.0, 130.0)
FOLLOWS = ("heat", "cool", "wait", "substitute")  # steps that go on with what the step before switched on


def smallest_currents(bench: BenchFile) -> dict[str, float]:
    """By path, the current that the reading of supply or load, or of a clamp in their place, can tell from none."""
    found: dict[str, float] = {}
    instruments: tuple[tuple[str, SupplySheet | LoadSheet | None], ...] = (
        (CHARGE, bench.instruments.supply),
        (DISCHARGE, bench.instruments.load),
    )
    for path, instrument in instruments:
        if instrument is not None:
            accuracy = instrument.current_accuracy
            found[path] = 3.0 * (accuracy.offset + accuracy.resolution)
    clamp = bench.instruments.clamp
    for path, by_hand in ((CHARGE, charger_of(bench)), (DISCHARGE, hand_load_of(bench))):
        if clamp is not None and by_hand is not None:
            found[path] = 3.0 * (clamp.current_accuracy.offset + clamp.current_accuracy.resolution)
    return found


def voltage_error(bench: BenchFile, protection: Protection | None) -> float:
    """Three times what the load's voltmeter may be wrong at the trip, in V."""
    load = bench.instruments.load
    if load is None or protection is None:
        return 0.0
    accuracy = load.voltage_accuracy
    return float(3.0 * (accuracy.offset + accuracy.resolution + accuracy.gain * abs(protection.trip)))


def longest_delay(protection: Protection | None) -> float:
    """The delay of a protection in s, or the longest that is assumed where the sheet declares none; 0 of none."""
    if protection is None:
        return 0.0
    return float(protection.delay if protection.delay_range is None else protection.delay_range[1])


def climb_of(pack: PackSheet) -> float:
    """V/s for each A that a pack's voltage may rise anywhere, where its chemistry has a curve that slopes; else 0."""
    chemistry = find(pack.chemistry)
    slope = SLOPE_OF_OTHERS if chemistry is None else chemistry.slope
    return float(STEEPER * slope * pack.cells_in_series / pack.rated_capacity)


def with_restarts(steps: list[Planned]) -> tuple[Planned, ...]:
    """Every step with the one to go back to: the beginning of its sensor's steps, or what it goes on from."""
    found: list[Planned] = []
    for step in steps:
        before = found[-1] if found else None
        goes_on = before is not None and (
            (step.group and step.group == before.group)
            or (not step.group and step.kind in FOLLOWS)
            or (step.kind == "try" and before.kind == "stage")  # how long a path stays open counts from its trip
        )
        found.append(replace(step, restart=before.restart if before is not None and goes_on else step.index))
    return tuple(found)


def probe_resolution(bench: BenchFile) -> float:
    """The last digit of the reference thermometer in K, of several the coarsest; a tenth where the bench file does not say."""
    probes = [bench.instruments.probe, *bench.instruments.references.values()]
    return max((float(probe.accuracy.resolution) or 0.1 for probe in probes if probe is not None), default=0.1)


def empty_at(pack: PackSheet, bench: BenchFile, kind: str) -> float:
    """The voltage under load, in V, at which the pack's own under-voltage may stop a discharge that looks for something else."""
    if kind == "under_voltage":
        return 0.0
    under = pack.protection("under_voltage")
    limits = allowed(under, bench.decision.assumed_tolerance).trip
    return limits[1] if limits is not None else under.trip if under is not None else pack.cut_off_voltage


def declared_path(pack: PackSheet) -> DeclaredPath:
    """How the pack's path opens, as its sheet says. What derates, derates on the path that its protection opens."""
    derating = [kind for kind in KINDS if getattr(pack.protection(kind), "derates", None) is not None]
    paths = tuple(dict.fromkeys(path_opened_by(kind) for kind in derating))
    return DeclaredPath(pack.residual_current, pack.retry_every or 0.0, paths)


def named_in_texts(
    sensor: Sensor | None, current_ceiling: float, supply: str, seconds: Mapping[str, str]
) -> dict[str, str]:
    """What texts of a procedure may name besides values: TEXT_NAMES of hold_steps.py. The ceiling is in A.

    ``supply`` is the word for what charges the pack on this bench; ``seconds`` are the second probes by their sensors.
    """
    name, place = (sensor.name, sensor.place) if sensor is not None else (texts.THE_SENSOR, "")
    if name in seconds:
        place = texts.second_probe(place, seconds[name].replace("_", " "))
    ceiling = shown(current_ceiling, "current")
    return {
        "sensor": name,
        "place": place,
        "ohms_at_25": ohms_at_25(sensor),
        "current_ceiling": ceiling,
        "supply": supply,
    }


def ohms_at_25(sensor: Sensor | None) -> str:
    """The resistance of a sensor at 25 °C as a person sets it on a decade box; says so where no curve gives it."""
    curve = None if sensor is None else sensor.curve
    try:
        return texts.NO_RESISTANCE if curve is None else f"{curve.resistance(25.0):.0f} Ω"
    except ValueError:  # outside of its table
        return texts.NO_RESISTANCE


def usual_readings(pack: PackSheet) -> dict[str, tuple[float, float]]:
    """Between which values (SI, °C) what a person types off a display is usual for this pack (common practice, no source)."""
    low, high = EMPTIEST * pack.cut_off_voltage, FULLEST * pack.full_charge_voltage
    most = MOST_CURRENT * max(pack.maximum_charge_current, pack.maximum_discharge_current or 0.0)
    cell = (low / pack.cells_in_series, high / pack.cells_in_series)
    return {
        Observed.OPEN_CIRCUIT_VOLTAGE.value: (low, high),
        Observed.LOADED_VOLTAGE.value: (low, high),
        Observed.LAST_VOLTAGE.value: (low, high),
        Observed.CHARGING_VOLTAGE.value: (low, high),
        Observed.WOKEN_VOLTAGE.value: (0.0, high),
        Observed.LOWEST_CELL_VOLTAGE.value: cell,
        Observed.HIGHEST_CELL_VOLTAGE.value: cell,
        Observed.CLAMP_CURRENT.value: (-most, most),
        Observed.AMBIENT_TEMPERATURE.value: ROOMS,
        Observed.THERMOMETER.value: SENSORS_HAVE,
        Observed.PACK_TEMPERATURE.value: SENSORS_HAVE,
    }


def own_limits(numbers: Mapping[str, float], read: str = "") -> dict[str, str]:
    """The limits that a step's own text may name, as people read them; ``read`` is the dimension of its readings."""
    return {
        name: shown(numbers[name], of or read) if name in numbers else texts.NO_LIMIT for name, of in OF_A_STEP.items()
    }
