"""The instruments and the room as they truly are, and how they come out of what is declared of them."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from runner.twin.meters import CHANNELS, DeclaredBench, DeclaredFurther, MeterError

# A·s and A of the pack and the bench whose figures stand here and in parameters.draw
CAPACITY, SUPPLY_CURRENT, LOAD_CURRENT = 144e3, 18.0, 60.0


@dataclass(frozen=True)
class ProbeTruth:
    """The reference thermometer: errors in K, lag in s.

    ``growth``: what of the coupling's error grows with the difference to the room, as a share of it; ``direction``: what
    changes its sign between heating and cooling, in K.
    """

    lag: float
    calibration_error: float
    coupling_error: float
    noise: float
    resolution: float
    growth: float = 0.0
    direction: float = 0.0


@dataclass(frozen=True)
class BenchTruth:
    """The instruments and the room. Limits are what supply and load can be set to, in V and A."""

    probe: ProbeTruth
    ambient: float = 23.0
    loss_time: float = 300.0  # s: how fast the wrapped sensor loses its heat to the room
    lead_resistance: float = 0.020
    load_lead_resistance: float = 0.015
    supply_noise: tuple[float, float] = (0.002, 0.003)  # V, A
    supply_resolution: tuple[float, float] = (0.001, 0.001)
    supply_gain_error: tuple[float, float] = (1.0002, 0.9995)
    slew: float = 12.0  # A/s
    load_slew: float = 5e3  # A/s
    load_gain_error: float = 1.0005
    load_voltage_gain_error: float = 0.9998
    counter_gain_error: tuple[float, float] = (1.0, 1.0)
    meter_gain_error: float = 1.00005
    meter_offset: float = 0.0  # V
    supply_current_offset: float = 0.0  # A
    load_current_offset: float = 0.0  # A
    load_voltage_offset: float = 0.0  # V
    meter_noise: float = 0.001
    meter_resolution: float = 0.001
    aperture: float = 0.0  # s: of the supply's readings, the mean of so long, stamped at its end
    wobble: float = 0.12  # of the wanted rate: how unsteady the hands are
    supply_limits: tuple[float, float] = (60.0, 20.0)
    load_limit: float = 60.0
    load_noise: tuple[float, float] = (0.002, 0.003)
    load_resolution: tuple[float, float] = (0.001, 0.001)
    load_aperture: float = 0.0
    meter_aperture: float = 0.0
    errors: dict[str, MeterError] = field(default_factory=dict)  # by reading, beside the gains and offsets above
    further: Mapping[str, DeclaredFurther] = field(default_factory=dict)
    further_contact: Mapping[str, float] = field(default_factory=dict)  # K that a further thermometer is off its sensor
    supply_sense: bool = False  # whether its voltage is sensed at the pack
    load_sense: bool = False


def sized(bench: BenchTruth, declared: DeclaredBench, capacity: float) -> BenchTruth:
    """A bench as large as a pack of ``capacity`` A·s needs: thicker leads, larger currents read more coarsely."""
    larger = max(capacity / CAPACITY, 1.0)
    (volts, amperes), load = declared.supply, declared.load[1]
    supplies, loads = max(amperes / SUPPLY_CURRENT, 1.0), max(load / LOAD_CURRENT, 1.0)
    return replace(
        bench,
        supply_limits=(max(60.0, math.ceil(1.1 * volts)), max(20.0, math.ceil(1.1 * amperes))),
        load_limit=max(60.0, math.ceil(load)),
        lead_resistance=bench.lead_resistance / larger,
        load_lead_resistance=bench.load_lead_resistance / larger,
        slew=bench.slew * supplies,
        load_slew=bench.load_slew * loads,
        supply_current_offset=bench.supply_current_offset * supplies,
        load_current_offset=bench.load_current_offset * loads,
        supply_noise=(bench.supply_noise[0], bench.supply_noise[1] * supplies),
        supply_resolution=(bench.supply_resolution[0], bench.supply_resolution[1] * supplies),
        load_noise=(bench.load_noise[0], bench.load_noise[1] * loads),
        load_resolution=(bench.load_resolution[0], bench.load_resolution[1] * loads),
    )


def own(bench: BenchTruth, declared: DeclaredBench, dice: random.Random) -> BenchTruth:
    """The same with instruments as a bench file of a person's own declares them."""
    errors = {channel: declared.meter(channel).drawn(dice) for channel in CHANNELS}
    steps = {channel: declared.meter(channel).resolution or 0.001 for channel in CHANNELS}
    lag, spread = declared.probe_lag or (bench.probe.lag, 0.0)
    probe = replace(
        bench.probe,
        lag=max(dice.gauss(lag, spread), 0.05),
        calibration_error=0.0,
        noise=steps["probe"],
        resolution=steps["probe"],
        growth=dice.gauss(0.0, declared.coupling_growth),
        direction=dice.gauss(0.0, declared.coupling_direction),
    )
    counter = declared.counter
    gains = bench.counter_gain_error if counter is None else tuple(1.0 + dice.uniform(-g, g) for g in counter)
    volts, amperes = ("supply voltage", "load voltage"), ("supply current", "load current")
    return replace(
        bench,
        probe=probe,
        errors=errors | {key: each.meter.drawn(dice) for key, each in declared.further.items()},
        further=declared.further,
        supply_gain_error=(1.0, 1.0),
        supply_current_offset=0.0,
        load_gain_error=1.0,
        load_current_offset=0.0,
        load_voltage_gain_error=1.0,
        load_voltage_offset=0.0,
        meter_gain_error=1.0,
        meter_offset=0.0,
        counter_gain_error=(gains[0], gains[1]),
        supply_noise=(steps[volts[0]], steps[amperes[0]]),
        supply_resolution=(steps[volts[0]], steps[amperes[0]]),
        load_noise=(steps[volts[1]], steps[amperes[1]]),
        load_resolution=(steps[volts[1]], steps[amperes[1]]),
        meter_noise=steps["meter voltage"],
        meter_resolution=steps["meter voltage"],
        aperture=declared.meter("supply current").averages,
        load_aperture=declared.meter("load current").averages,
        meter_aperture=declared.meter("meter voltage").averages,
        lead_resistance=declared.supply_leads.drawn(bench.lead_resistance, dice),
        load_lead_resistance=declared.load_leads.drawn(bench.load_lead_resistance, dice),
        supply_sense=declared.supply_leads.remote,
        load_sense=declared.load_leads.remote,
        further_contact={
            key: dice.gauss(0.0, each.coupling) for key, each in declared.further.items() if each.coupling
        },
    )
