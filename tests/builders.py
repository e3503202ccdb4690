"""Makes what tests need, with everything but the point of the test filled in."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from runner.conduct.clock import VirtualClock
from runner.conduct.execute import Result, execute
from runner.conduct.interfaces import StopFlag
from runner.conduct.site import Site
from runner.engine.program import Program
from runner.events import METER_VOLTAGE, PROBE_TEMPERATURE, SUPPLY_CURRENT, SUPPLY_VOLTAGE, Sampled
from runner.measure.recording import Recording, Series, Specification
from runner.rehearsal.scripted import UNATTENDED, ScriptedOperator
from runner.rehearsal.simulated_bench import Rehearsal
from runner.sheets.answers import Answers
from runner.twin.parameters import Fault, Truth
from runner.workspace.job import DEMO_PACK, Job, UserFile, find_procedure, read_file

PACK = """\
kind: pack
name: TIM-840
serial: TI-0001
chemistry: LFP
cells_in_series: 8
nominal_voltage: 25.6 V
full_charge_voltage: 29.2 V
cut_off_voltage: 20 V
rated_capacity: 40 Ah
maximum_charge_current: 20 A
sensors:
  - {name: T1, place: cell 2}
protections:
  charge over-temperature:
    trip: 55 degC
    tolerance: 2 K
    release: 45 degC
    delay: 1 s
    polling: 1 s
    sensors: all
"""

BENCH = """\
kind: bench
name: test bench
instruments:
  supply:
    address: TCPIP::127.0.0.1::{port}::SOCKET
    limits: {{voltage: 30 V, current: 10 A}}
  probe:
    address: TCPIP::127.0.0.1::{port}::SOCKET
    accuracy: {{expanded_uncertainty: 0.2 K, resolution: 0.01 K}}
    coupling: 0.15 K
"""

# one sensor, one ramp: for tests of the way and not of the number
SHORT_PROCEDURE = """\
kind: procedure
name: short
title: One ramp
purpose: to be quick
protection: charge over-temperature
needs: [supply, probe]
cautions: [Be careful.]
ceilings: {temperature: trip + 12 K, voltage: full charge voltage + 0.4 V, current: 0.15 C, time: 2 h}
steps:
  - confirm: {say: Ready?}
  - repeat:
      each: sensor
      steps:
        - charge: {voltage: full charge voltage, current: 0.1 C, steady: 10 s}
        - heat: {say: "Heat {sensor}.", rate: 3 K/min, approach: trip - 5 K, give_up: trip + 8 K}
        - cool: {say: "Cool {sensor}.", rate: 3 K/min, approach: release + 5 K, give_up: release - 10 K}
        - off
findings: [trip, release]
"""


def a_file(path: Path, text: str) -> Path:
    """A file with a text, its indentation taken off."""
    path.write_text(textwrap.dedent(text), encoding="utf-8")
    return path


def user_file(name: str, text: str) -> UserFile:
    return UserFile(name, text)


class Rehearsed:
    """A rehearsal that has run: the result, and the world it ran on."""

    def __init__(self, result: Result, rehearsal: Rehearsal, job: Job) -> None:
        self.job = job
        self.result, self.world, self.truth = result, rehearsal.world, rehearsal.world.report()

    def finding(self, name: str, sensor: str = "T1"):
        return next(each for each in self.result.evaluation.findings if (each.name, each.sensor) == (name, sensor))


def rehearsed(
    out: Path,
    scenario: str = "sound",
    seed: int = 1,
    *,
    procedure: UserFile | None = None,
    pack: UserFile | None = None,
    sensors: tuple[str, ...] = ("T1",),
    answers: Answers = UNATTENDED,
    stop: StopFlag | None = None,
    tell: Callable[[object, float], None] | None = None,
    by_hand: tuple[str, ...] = (),
    actuator: bool = False,
    nothing_wired: bool = False,
    state_of_charge: float | None = None,
    faults: tuple[Fault, ...] = (),
    sockets: bool = False,
    changed: Callable[[Truth], Truth] = lambda truth: truth,
) -> Rehearsed:
    """Run a rehearsal in this process, as fast as it goes; without ``sockets`` neither PyVISA nor TCP is in between."""
    clock = VirtualClock()

    def made(truth: Truth) -> Truth:
        soc = truth.pack.soc if state_of_charge is None else state_of_charge
        return changed(replace(truth, pack=replace(truth.pack, soc=soc), faults=faults or truth.faults))

    sheet = pack or read_file(DEMO_PACK)
    with Rehearsal(
        sheet,
        scenario,
        seed,
        clock,
        by_hand,
        actuator=actuator,
        nothing_wired=nothing_wired,
        sockets=sockets,
        changed=made,
    ) as rehearsal:
        job = rehearsal.job(procedure or find_procedure("charge-over-temperature"), sensors)
        operator = ScriptedOperator(answers, tell, eyes=rehearsal.eyes)
        site = Site(clock, rehearsal.connect, simulated=True)
        result = execute(job, operator, site, out, stop or StopFlag(), ended=rehearsal.write_truth)
        return Rehearsed(result, rehearsal, job)


def quick_capacity() -> UserFile:
    """The shipped capacity procedure at twice its current, with a short rest."""
    text = find_procedure("capacity").text
    for usual, quick in (
        ("current: 0.5 C", "current: 1 C"),
        ("current: 0.6 C", "current: 1.1 C"),
        ("for: 30 min", "for: 2 min"),
    ):
        text = text.replace(usual, quick)
    return user_file("capacity.yaml", text)


def short_rehearsal(out: Path, scenario: str = "sound", **more) -> Rehearsed:
    """The same with the short procedure."""
    return rehearsed(out, scenario, procedure=user_file("short.yaml", SHORT_PROCEDURE), **more)


def a_program() -> Program:
    """The short procedure on the plain pack, ready to run."""
    from runner.workspace.job import load

    files = (
        user_file("short.yaml", SHORT_PROCEDURE),
        user_file("pack.yaml", PACK),
        user_file("bench.yaml", BENCH.format(port=1)),
    )
    return load(*files).program


def sample(
    t: float,
    current: float | None = 4.0,
    voltage: float = 26.6,
    temperature: float | None = None,
    *,
    mode: str = "CC",
    output: bool = True,
    terminal: float | None = None,
) -> Sampled:
    """One reading of the bench; None is a reading that did not arrive."""
    readings = {SUPPLY_VOLTAGE: voltage}
    lost = {}
    if current is None:
        lost[SUPPLY_CURRENT] = "no reply"
    else:
        readings[SUPPLY_CURRENT] = current
    if temperature is not None:
        readings[PROBE_TEMPERATURE] = temperature
    if terminal is not None:
        readings[METER_VOLTAGE] = terminal
    return Sampled(t, readings, lost, mode, output)


def declared(**changed) -> Specification:
    """What is known beforehand about the demo's charge over-temperature."""
    values = {
        "protection": "charge_over_temperature",
        "trip": 55.0,
        "trip_limits": (53.0, 57.0),
        "release": 45.0,
        "release_limits": (43.0, 47.0),
        "delay": 1.0,
        "delay_uncertainty": 0.0,
        "polling": 1.0,
        "calibration": (0.1, "normal"),
        "resolution": 0.01,
        "coupling": 0.15,
        "coupling_growth": 0.0,
        "coupling_direction": 0.0,
        "filter_lag": 0.0,
        "probe_lag": (1.75, 0.72),
        "sensor_lag": {},
        "sensors": ("T1",),
        "wanted": ("trip", "release", "hysteresis", "delay_and_lag"),
    }
    return Specification(**{**values, **changed})


def recording(current: Series, temperature: Series, attempts, ended_early: str = "") -> Recording:
    """A run as the evaluation sees it: the charge current and the reference temperature."""
    return Recording({SUPPLY_CURRENT: current, PROBE_TEMPERATURE: temperature}, tuple(attempts), ended_early)


def series(t, value) -> Series:
    return Series(np.asarray(t, float), np.asarray(value, float))
