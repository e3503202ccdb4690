"""Instruments of every kind through the whole program: each bench runs one short procedure to a certificate."""

import contextlib
import json
import os
import signal
import subprocess
import time

import pytest

from tests.benchmarks.personalities import one as personality
from tests.builders import SHORT_PROCEDURE, a_file
from tests.instruments import bench as personalities
from tests.instruments.modbus import OverSerial, OverTcp
from tests.instruments.ten import plate
from tests.instruments.texts import DRAIN, POWER, PROBE
from tests.processes import ANSWERS, DEMO_PACK, PROGRAM, until
from tests.stalls import Stalls, again_after_a_stall

SPEED = 40.0


def bench_file(folder, **instruments):
    lines = [f"  {role}:\n    address: {text.strip()}" for role, text in instruments.items()]
    head = f"kind: bench\nname: bench of the tests\nsimulated: true\nspeed: {SPEED:g}\ninstruments:\n"
    return a_file(folder / "bench.yaml", head + "\n".join(lines) + "\n")


def arguments(folder, bench, procedure):
    """Of a run of the whole program."""
    names = [
        "--pack",
        str(DEMO_PACK),
        "--bench",
        str(bench),
        "--plain",
        "--sensor",
        "T1",
        "--out",
        str(folder / "runs"),
    ]
    answers = ["--answers", str(a_file(folder / "answers.yaml", ANSWERS))]
    return [*PROGRAM, "run", str(a_file(folder / "short.yaml", procedure)), *names, *answers]


def ran(folder, bench, procedure=SHORT_PROCEDURE):
    """A run of the whole program; its folder, what it said, and its exit status."""
    done = subprocess.run(arguments(folder, bench, procedure), text=True, capture_output=True, timeout=170)
    runs = list((folder / "runs").glob("*")) if (folder / "runs").is_dir() else []
    assert len(runs) == 1, done.stdout + done.stderr
    return runs[0], done


in_its_world = again_after_a_stall(lambda: personalities.World(SPEED))


@pytest.mark.parametrize("kind", ["serial", "Modbus TCP", "Modbus RTU"])
@in_its_world
def test_a_killed_run_is_switched_off_by_the_guard_on_every_kind_of_line(tmp_path, world, kind):
    a_file(tmp_path / "few.yaml", personalities.FEW_WORDS)
    a_file(tmp_path / "registers.yaml", personalities.MODBUS_SUPPLY)
    if kind == "serial":
        supply = personalities.few_words(world)
        said = "dialect: few.yaml\n    serial: {write_end: CR, read_end: CR, echo: true}"
    else:
        supply = {"Modbus TCP": OverTcp, "Modbus RTU": OverSerial}[kind](personalities.modbus_supply(world))
        said = "dialect: registers.yaml"
    bench = bench_file(
        tmp_path,
        supply=f"{supply.address}\n    timeout: 0.8 s\n    {said}{POWER}",
        probe=f"{world.servers.address('probe')}{PROBE}",
        actuator=plate(world),
    )
    process = subprocess.Popen(
        arguments(tmp_path, bench, SHORT_PROCEDURE), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    try:
        until(lambda: world.world.supply_on, 30, "the supply to be on")
    except AssertionError:
        process.terminate()
        raise
    with Stalls() as stalls:
        os.kill(process.pid, signal.SIGKILL)
        began = time.monotonic()
        until(lambda: not world.world.supply_on, 10, "the guard to switch it off")
        seconds = time.monotonic() - began
    assert seconds - stalls.lost < 2
    said_by_run, guard = process.communicate(timeout=30)  # which ends with the guard
    assert b"TRIPWITNESS GUARD" in guard, (said_by_run.decode(), guard.decode())
    supply.close()


def is_certified(folder, done, world, *names):
    assert done.returncode in (0, 1, 3), done.stdout + done.stderr
    assert (folder / "certificate.html").is_file(), done.stdout + done.stderr
    findings = json.loads((folder / "findings.json").read_text())
    values = {each["name"]: each["value"] for each in findings["findings"]}
    for name in names:
        assert values[name] is not None, done.stdout + done.stderr
    assert not world.world.supply_on
    assert not world.world.load_on
    return values


@in_its_world
def test_a_supply_of_few_words_a_thermometer_that_talks_and_a_meter_that_averages(tmp_path, world):
    supply, probe = personalities.few_words(world), personalities.Streaming(world)
    meter = personalities.Slow(world, ["meter"], delay=1.0, averages=True)
    a_file(tmp_path / "few.yaml", personalities.FEW_WORDS)
    a_file(tmp_path / "stream.yaml", personalities.STREAMING)
    bench = bench_file(
        tmp_path,
        supply=f"{supply.address}\n    dialect: few.yaml\n    timeout: 0.8 s\n    serial: {{write_end: CR, read_end: CR, echo: true, quiet: 0.3 s}}{POWER}",
        probe=f"{probe.address}\n    dialect: stream.yaml\n    timeout: 0.5 s\n    serial: {{read_end: CR LF}}{PROBE}",
        meter=f"{meter.address}\n    averages: 1 s\n    voltage_accuracy: {{gain: 0.02 %, offset: 3 mV, resolution: 1 mV}}",
        actuator=plate(world),
    )
    folder, done = ran(tmp_path, bench)
    values = is_certified(folder, done, world, "trip")
    assert abs(values["trip"] - 55) < 3
    page = (folder / "certificate.html").read_text()
    assert "Set the over-voltage limit of the supply to" in page
    assert "cannot report its set voltage, its set current" in page
    assert "switched the supply on at its front, only its own current reading would show it" in page
    assert "O0" in supply.heard
    assert "Look at the supply: its output must be off." in done.stdout
    assert "OFF    read back" not in done.stdout
    for each in (supply, probe, meter):
        each.close()


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("supply over Modbus RTU", "late"),
        ("HiSLIP supply that drops", "none"),
        ("supply with two outputs", "power cycle"),
    ],
)
@again_after_a_stall(contextlib.nullcontext)
def test_an_instrument_of_its_own_manners_and_what_goes_wrong_with_it(tmp_path, world, name, kind):
    """More of both: tests/benchmarks/personalities.py."""
    how, wrong = personality(name, kind, tmp_path, SPEED)
    assert wrong == []
    if kind == "none":
        assert how == "certificate"
    (folder,) = (tmp_path / "runs").iterdir()
    check = json.loads((folder / "inputs" / "resolved.json").read_text())["check"]["supply"]
    assert 0 < check["round_trip_s"][0] < 1
    assert check["limits_in_force"]["overvoltage_setting"] > 0


@in_its_world
def test_a_slow_load_and_one_instrument_for_two_jobs(tmp_path, world):
    """The load takes 0.8 s for every answer; voltmeter and thermometer are one instrument that takes one connection."""
    load = personalities.Slow(world, ["load"], delay=0.8)
    both = personalities.Slow(world, ["meter", "probe"])
    bench = bench_file(
        tmp_path,
        load=f"{load.address}{POWER}",
        probe=f"{both.address}{PROBE}",
        meter=f"{both.address}",
        actuator=plate(world),
    )
    folder, done = ran(tmp_path, bench, DRAIN)
    is_certified(folder, done, world, "trip")
    assert both.refused == 0
    load.close()
    both.close()
