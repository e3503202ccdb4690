"""The simulated bench in one process and the run in another, over real TCP, at scaled time; and signals.

What is asked about the supply is asked of the bench's process, after the run's has ended.
"""

import json
import signal
import subprocess

import pytest

from runner.sheets.bench import parse_bench
from runner.workspace.job import DEMO_PACK
from tests.builders import SHORT_PROCEDURE, a_file
from tests.processes import PROGRAM, LiveBench, until

SPEED = "25"
ANSWERS = "kind: answers\nby: Test Person\nanswers: [go on, go on]\nthen: go on\nwait: 3 s\n"

LOOK = """\
kind: procedure
name: look
title: A look
purpose: to look
needs: []
cautions: [Be careful.]
ceilings: {voltage: full charge voltage + 0.4 V, current: 0.15 C, time: 2 h}
steps:
  - confirm: {say: Look at the pack., record: looked at}
"""


@pytest.fixture
def bench(tmp_path):
    """A listening bench: a function that starts it, and its truth when asked."""
    started = []

    def start(scenario="sound", seed="1"):
        arguments = [
            "twin",
            "--listen",
            "--bench-file",
            str(tmp_path / "bench.yaml"),
            "--truth",
            str(tmp_path / "truth.json"),
        ]
        process = subprocess.Popen(
            [*PROGRAM, *arguments, "--speed", SPEED, "--scenario", scenario, "--seed", seed], stdout=subprocess.DEVNULL
        )
        started.append(process)
        until((tmp_path / "bench.yaml").exists, 20, "the bench file")
        until((tmp_path / "truth.json").exists, 20, "the truth")
        return process

    def truth():
        for process in started:
            process.send_signal(signal.SIGTERM)
            assert process.wait(10) == 0
        started.clear()
        return json.loads((tmp_path / "truth.json").read_text())

    yield start, truth
    for process in started:
        process.kill()
        process.wait()


@pytest.fixture
def program(tmp_path):
    """A function that starts the program; whatever the test does, its processes and pipes are gone afterwards."""
    started = []

    def start(*arguments):
        pipes = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.PIPE)
        process = subprocess.Popen([*PROGRAM, *arguments, "--out", str(tmp_path / "runs")], text=True, **pipes)
        started.append(process)
        return process

    yield start
    for process in started:
        process.kill()
        process.communicate()


def run(program, tmp_path, procedure="charge-over-temperature"):
    reads = procedure == "charge-over-temperature"  # what the pack shows for its sensor
    answers = ANSWERS.replace("[go on, go on]", "[go on, go on, go on, 23 degC]") if reads else ANSWERS
    script = a_file(tmp_path / "answers.yaml", answers)
    bench = str(tmp_path / "bench.yaml")
    arguments = ["run", procedure, "--pack", str(DEMO_PACK), "--bench", bench, "--plain", "--answers", str(script)]
    return program(*arguments, "--sensor", "T1")


def test_a_run_over_tcp_gives_a_certificate_and_the_true_threshold(tmp_path, bench, program):
    start, truth = bench
    start()
    a_file(tmp_path / "short.yaml", SHORT_PROCEDURE)
    process = run(program, tmp_path, procedure=str(tmp_path / "short.yaml"))
    out, err = process.communicate(timeout=140)
    assert process.returncode == 0, out + err
    (folder,) = (tmp_path / "runs").iterdir()
    assert (folder / "certificate.html").is_file()
    findings = json.loads((folder / "findings.json").read_text())["findings"]
    trip = next(each for each in findings if each["name"] == "trip")
    what = truth()
    true = what["thresholds"]["charge_over_temperature"]["T1"]["trip"]
    assert abs(trip["value"] - true) < 1.5 * trip["expanded_uncertainty"]
    changes = [change["change"] for change in what["changes"]]
    assert changes == ["trip", "release"] * (len(changes) // 2), "a ramp with a gap, on a busy machine, is repeated"
    assert not what["supply_on"]
    assert "Be careful." in out.split("HOLD")[0], "the cautions come before the first hold point"


def test_the_bench_can_call_the_roll_and_names_an_instrument_that_is_not_there(tmp_path):
    with LiveBench(tmp_path, 25.0) as live:
        out, err = (process := live.start("bench", str(live.bench))).communicate(timeout=60)
        assert process.returncode == 0, err
        for part in ("TERN ISLAND,SIM SUPPLY", "at most 31 V, 18 A", "calibrated 2026-06-02, due 2027-06-02", "°C"):
            assert part in out
        roles = parse_bench(live.bench.read_text(), "bench.yaml").wired()
    process = subprocess.run(
        [*PROGRAM, "bench", str(tmp_path / "bench.yaml")], capture_output=True, text=True, timeout=60
    )
    assert process.returncode == 4
    assert len(roles) > 1
    for role, line in zip(roles, process.stderr.strip().splitlines(), strict=True):
        assert f" {role}: no connection to" in line


def test_plain_prompts_are_answered_on_standard_input(program):
    process = program("rehearse", "--plain", "--sensor", "T1", "--speed", "2000")
    out, err = process.communicate("\nwhat?\n\nstop\n", timeout=60)
    assert process.returncode == 4, out + err
    assert "'what?' is not valid" in out
    assert out.count("  HOLD  ") == 3
    assert "The bench is off." in out


def test_an_end_of_input_stops_the_run(program):
    process = program("rehearse", "--plain", "--sensor", "T1")
    out, err = process.communicate("\n", timeout=60)
    assert process.returncode == 4, out + err
    assert "END    Stopped by the end of the input (nobody could answer any more)." in out


def test_a_rehearsed_session_that_is_stopped_is_not_offered_for_resuming_and_says_why_not(tmp_path, program):
    process = program("rehearse", "arrival", "inspection", "--plain")
    out, err = process.communicate("x\n", timeout=60)
    assert process.returncode == 4, out + err
    assert "type x and press Enter" in out
    assert "The bench is off." in out
    assert "tripwitness resume" not in out
    (session,) = (tmp_path / "runs").glob("*-session")
    process = program("resume", str(session))
    out, err = process.communicate("", timeout=60)
    assert process.returncode == 2
    assert "a rehearsal on a simulated bench and cannot be resumed; start it again" in err


def test_a_rehearsal_of_one_procedure_cannot_be_resumed_either(tmp_path, program):
    process = program("rehearse", "inspection", "--plain")
    process.communicate("x\n", timeout=60)
    assert process.returncode == 4
    (run,) = (tmp_path / "runs").glob("*-inspection")
    process = program("resume", str(run))
    out, err = process.communicate("", timeout=60)
    assert process.returncode == 2
    assert err.strip().endswith(
        f"{run.name}: this was a rehearsal on a simulated bench and cannot be resumed; start it again"
    )
    assert "no connection" not in out + err


def test_a_supply_that_does_not_answer_is_the_first_and_the_last_that_is_said(program):
    process = program("rehearse", "--unattended", "--sensor", "T1", "--scenario", "supply-silent")
    out, err = process.communicate(timeout=120)
    assert process.returncode == 4, out + err
    danger = [line for line in out.splitlines() if "DANGER SWITCH SUPPLY OFF BY HAND" in line]
    assert len(danger) == 3, "before the end of the run, after it, and below the findings"
    assert out.strip().splitlines()[-1] == danger[-1]
    (end,) = [line for line in out.splitlines() if "  END  " in line]
    assert "The supply gave no valid" in end
    assert "MEAS" not in end


def test_a_session_whose_runner_is_killed_goes_on_and_ends_with_one_certificate(tmp_path):
    with LiveBench(tmp_path, 25.0) as live:
        look = str(a_file(tmp_path / "look.yaml", LOOK))
        command, short, *names = live.arguments()
        process = live.start(command, look, short, *names, "--as-given")
        (session,) = until(lambda: list((tmp_path / "runs").glob("*-session")), 30, "a session folder")
        until(lambda: live.world.supply_on, 60, "the output to be on")
        process.kill()
        process.communicate()
        before = {path.name for path in session.iterdir() if path.is_dir()}
        process = live.start("resume", str(session), "--plain", "--answers", str(live.answers))
        out, err = process.communicate(timeout=120)
        assert process.returncode == 0, out + err
        assert "The run continues after a break of" in out
        assert {path.name for path in session.iterdir() if path.is_dir()} == before, "the run went on in its own folder"
        assert "2 procedures on one pack" in (session / "certificate.html").read_text()
        entries = json.loads((session / "session.json").read_text())["entries"]
        assert [(entry["state"], entry["status"]) for entry in entries] == [("done", 0), ("done", 0)]
        assert not live.anything_on
