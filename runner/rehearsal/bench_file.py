"""The bench file of a simulated bench: what a person would write for a real one, with the figures it is built around."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from runner.rehearsal.bench_size import BenchSize
from runner.sheets.instruments import ON_A_CABLE, ROLE_FACTS
from runner.twin.instruments import simulated_models
from runner.twin.server import Inside, Servers
from runner.vocabulary import Role

PROBE_CALIBRATION = 0.20  # K, expanded (k = 2): what a calibrated thermistor or Pt100 thermometer has
PROBE_COUPLING = 0.15  # K, standard: probe and sensor taped into one wrap
PROBE_RESOLUTION = 0.01  # K

_HEAD = """\
# The bench file of a simulated bench. Its instruments are invented and prove nothing about a real pack.
kind: bench
name: simulated bench
place: Tern Island (invented)
laboratory: Tern Island Marker Light Trust, battery bench (invented)
laboratory_address: Old Lamp Store, Quay Row, Tern Island (invented)
simulated: true
speed: {speed:g}
decision: {{rule: guard band with conditions, coverage: 95 %}}
instruments:
"""
_SERIALS = {"supply": "0001", "probe": "0002", "meter": "0003", "load": "0004", "actuator": "0005"}
_DETAILS: dict[str, Sequence[str]] = {
    "probe": (
        f"accuracy: {{expanded_uncertainty: {PROBE_CALIBRATION:g} K, coverage_factor: 2, resolution: {PROBE_RESOLUTION:g} K}}",
        f"coupling: {PROBE_COUPLING:g} K",
        "lag: 1.75 s",
        "lag_uncertainty: 0.72 s",
        "calibrated: 2026-06-02",
        "calibration_due: 2027-06-02",
        "certificate: invented-0002",
    ),
    "meter": (
        "voltage_accuracy: {gain: 0.02 %, offset: 3 mV, resolution: 1 mV}",
        "calibrated: 2026-06-02",
        "calibration_due: 2027-06-02",
        "certificate: invented-0003",
    ),
    "counter": (
        "charge_gain: 0.5 %",
        "energy_gain: 1 %",
        "charge_resolution: 10 mAh",
        "energy_resolution: 0.1 Wh",
        "leads: {resistance: 0 ohm, uncertainty: 0 ohm}",  # it sits on the pack's terminals
    ),
    "box": ("accuracy: 0.1 %",),
    "charger": (),
    "clamp": ("current_accuracy: {gain: 1.5 %, offset: 50 mA, resolution: 10 mA}", "refresh: 0.4 s"),
    "actuator": ("limits: {lowest: -40 degC, highest: 90 degC}", "fastest: 10 K/min"),
    "display": (),
}
HEATED_BY = tuple(
    role.value for role, facts in ROLE_FACTS.items() if facts.heats
)  # left out where a person heats and cools
_ONLY_BY_HAND = {"load": ("draws: 10 A",)}
# what a person reads and switches where only the supply is connected, or nothing
NOT_WIRED = tuple(role for role in ON_A_CABLE if role not in (Role.SUPPLY, *HEATED_BY))
_IN_PLACE_OF_A_SUPPLY = {
    "charger": "charger (invented)",
    "clamp": "clamp meter (invented)",
}
_SHOWN = {
    "counter": "energy meter (invented)",
    "box": "decade box (invented)",
    "display": "the pack's own panel (invented)",
}


def _power(limits: tuple[float, float], larger: float) -> tuple[str, ...]:
    """Limits and accuracies of a supply or load that has so many times the current of the smallest."""
    return (
        f"limits: {{voltage: {limits[0]:g} V, current: {limits[1]:g} A}}",
        "voltage_accuracy: {gain: 0.05 %, offset: 10 mV, resolution: 1 mV}",
        f"current_accuracy: {{gain: 0.1 %, offset: {10 * larger:.3g} mA, resolution: {larger:.3g} mA}}",
    )


def bench_text(
    servers: Servers | Inside,
    speed: float,
    timeout: float = 1.0,
    by_hand: Collection[str] = (),
    left_out: Collection[str] = (),
    size: BenchSize | None = None,
) -> str:
    """The file of a simulated bench that listens; the roles in ``by_hand`` are read and switched by a person instead.

    Where the supply is left out, a charger and a clamp take its place, and nothing is on a cable.
    """
    lines = []
    alone = "supply" in left_out
    shown = {**(_IN_PLACE_OF_A_SUPPLY if alone else {}), **_SHOWN}
    size = size or BenchSize()
    details = {
        **_DETAILS,
        "supply": _power(size.supply, size.supply_larger),
        "load": _power(size.load, size.load_larger),
        "charger": (f"voltage: {size.charger[0]:g} V", f"current: {size.charger[1]:g} A"),
    }
    only_by_hand = {"load": (f"draws: {size.charger[1]:g} A",)} if alone else _ONLY_BY_HAND
    models = simulated_models(servers.world)
    for role in (each for each in (*servers.roles, *shown) if each not in left_out):
        lines.append(f"  {role}:")
        if role in shown or role in by_hand:
            lines += ["    by_hand: true", f"    model: {shown.get(role, f'{role} with a display (invented)')}"]
            lines += [f"    {detail}" for detail in only_by_hand.get(role, ())]
        else:
            model, serial = models[role], _SERIALS[role]
            lines += [
                f"    address: {servers.address(role)}",
                f'    identity: "TERN ISLAND,{model}"',
                f"    model: {model}",
                f'    serial_number: "{serial}"',
                f"    timeout: {timeout:g} s",
            ]
        lines += [f"    {detail}" for detail in details[role]]
        if role in HEATED_BY:
            lines.append(f"    places: {{{', '.join(f'{name}: {name}' for name in servers.world.spots)}}}")
    return _HEAD.format(speed=speed) + "\n".join(lines) + "\n"
