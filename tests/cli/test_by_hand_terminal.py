"""The whole job of a person with nothing on a cable, by keys in a terminal, a short procedure for each part of it.

``tests/benchmarks/by_keys.py`` does the same with the procedures of the program, at their own length.
"""

import json
import time

import pytest

from runner.rehearsal.truth import truth_of
from runner.workspace.job import DEMO_PACK
from tests.by_keys import CURRENT, Person
from tests.terminals import NEEDS_TMUX, Terminal

pytestmark = NEEDS_TMUX

BY_HAND_BENCH = DEMO_PACK.parent / "by-hand-bench.yaml"
STUCK = 60.0  # s without anything to do
HEAD = """\
kind: procedure
name: by-hand
title: By hand
purpose: to be quick
cautions: [Be careful.]
"""
RAMPS = """\
protection: charge over-temperature
needs: [supply, probe]
ceilings: {temperature: trip + 12 K, voltage: full charge voltage + 0.4 V, current: 0.15 C, time: 2 h}
steps:
  - confirm: {say: Ready?}
  - charge: {voltage: full charge voltage, current: 0.1 C, steady: 10 s}
  - repeat:
      each: sensor
      steps:
        - heat: {say: "Heat {sensor}.", rate: 2 K/min, approach: trip - 6 K, give_up: trip + 8 K}
        - cool: {say: "Cool {sensor}.", rate: 2 K/min, approach: release + 6 K, until: returned, give_up: release - 8 K}
  - off
findings: [trip, release]
"""
COLD = """\
protection: discharge under-temperature
needs: [load, probe]
ceilings: {temperature: 60 degC, voltage: full charge voltage + 0.4 V, current: 0.2 C, time: 2 h}
steps:
  - confirm: {say: Ready?}
  - drain: {current: 0.1 C, until: steady, steady: 10 s, floor: cut-off voltage}
  - repeat:
      each: sensor
      steps:
        - cool: {say: "Cool {sensor}.", rate: 2 K/min, approach: trip + 6 K, until: stopped, give_up: trip - 8 K}
  - off
findings: [trip]
"""
TO_EMPTY = """\
protection: under-voltage
needs: [supply, load]
ceilings: {temperature: 55 degC, voltage: full charge voltage + 0.4 V, current: 4 C, time: 4 h}
steps:
  - confirm: {say: Ready?}
  - cells: {say: Look at the cells., within: 20 mV, lowest: 0.8 * cut-off voltage / cells in series, record: spread}
  - charge: {voltage: full charge voltage, current: 0.25 C, until: full, end_current: 0.05 C, give_up: 1 h}
  - drain: {current: 3 C, until: stopped, floor: cut-off voltage - 1 V, give_up: 1 h}
  - recover: {say: Wait for the pack., give_up: 2 min}
  - wake: {say: Wake it., voltage: full charge voltage, current: 0.05 C, for: 60 s, give_up: 20 min}
  - off
findings: [capacity, trip, wake charge]
"""


def strong(folder, charge, release):
    """A pack that gives three times its rated current, so that its discharge is short, and a bench by hand that takes it."""
    pack, bench = DEMO_PACK.read_text(), BY_HAND_BENCH.read_text()
    for usual, other in (
        ("maximum_discharge_current: 40 A", "maximum_discharge_current: 160 A"),
        ("trip: 48 A", "trip: 200 A"),
        ("on_arrival: 50 %", f"on_arrival: {charge}"),
        ("release: 22.4 V", f"release: {release}"),
    ):
        assert usual in pack
        pack = pack.replace(usual, other)
    for usual, other in (
        ("draws: 5 A", "draws: 120 A"),
        ("current: 10 A}", "current: 150 A}"),
        ("current: 5 A", "current: 12 A"),
    ):
        assert usual in bench
        bench = bench.replace(usual, other)
    bench = bench[: bench.index("  probe:")] + bench[bench.index("  meter:") :]
    (folder / "pack.yaml").write_text(pack)
    (folder / "bench.yaml").write_text(bench)
    return "--pack pack.yaml --bench bench.yaml"


def by_keys(folder, arguments):
    """The run that a person carries out: (what they did, its journal, its findings by name, what was true)."""
    terminal = Terminal(folder)
    try:
        terminal.begin(f"rehearse {arguments}")
        person, did, since = Person(terminal), 0, time.monotonic()
        while not person.looks():
            if len(person.did) > did:
                did, since = len(person.did), time.monotonic()
            assert time.monotonic() < since + STUCK, (person.did, terminal.screen)
        terminal.press("Enter", "c")
        terminal.shows("certificate.html")
    finally:
        terminal.close()
    (run,) = folder.glob("runs/*")
    assert (run / "certificate.html").stat().st_size > 10_000
    journal = [json.loads(line) for line in (run / "events.jsonl").read_text().splitlines()]
    (end,) = (each for each in journal if each.get("order") == "End")
    assert (end["early"], end["safe"]) == (False, True), (end["reason"], person.did[-12:])
    truth = json.loads((run / "truth.json").read_text())
    switched = [each["on"] for each in truth["switched"]]
    assert not switched or not switched[-1]
    found = json.loads((run / "findings.json").read_text())["findings"]
    return person, journal, {each["name"]: each for each in found}, truth


def near(finding, truth, most):
    """Whether a value is there with an uncertainty of at most so much, and twice that holds what was true."""
    assert finding["value"] is not None, finding["reason"]
    assert finding["expanded_uncertainty"] <= most
    return abs(finding["value"] - truth_of(finding, truth)) <= 2 * finding["expanded_uncertainty"]


@pytest.mark.parametrize(
    ("steps", "names"),
    [
        pytest.param(RAMPS, ("trip", "release"), id="over-temperature"),
        pytest.param(COLD, ("trip",), id="under-temperature", marks=pytest.mark.long),
    ],
)
def test_a_person_marks_degrees_and_currents(tmp_path, steps, names):
    (tmp_path / "ramps.yaml").write_text(HEAD + steps)
    # 2 K/min are a degree in 2 s: time to see it and press; what cools while the clamp is typed is not yet past the release
    person, _, found, truth = by_keys(tmp_path, "ramps.yaml --nothing-wired --sensor T1 --speed 15")
    for name in names:
        if (
            found[name]["value"] is None
        ):  # keys come late on a machine that has much else to do: such a ramp is not used
            assert "apart, usual here" in found[name]["reason"], person.did
        else:
            assert near(found[name], truth, 1.0), (found[name], person.did)
    assert person.did.count(CURRENT) == len(names)
    assert truth["switched"]


@pytest.mark.long
def test_a_person_fills_empties_and_wakes_a_pack(tmp_path):
    """Top up by a charger, capacity on an inverter read off an energy meter, the pack's own cut-off, and its waking."""
    files = strong(tmp_path, "98 %", "25.5 V")
    (tmp_path / "empty.yaml").write_text(HEAD + TO_EMPTY)
    person, journal, found, truth = by_keys(tmp_path, f"empty.yaml {files} --speed 80")
    ended = {each["kind"]: each["outcome"] for each in journal if each.get("order") == "Conclude"}
    assert ended == {"charge": "full", "drain": "stopped", "recover": "gave up", "wake": "returned"}, person.did
    assert near(found["capacity"], truth, 1440.0)  # A·s: 0.4 Ah of 40 Ah
    assert found["trip"]["value"] is not None
    assert found["wake charge"]["value"] > 0


@pytest.mark.long
def test_a_person_records_which_pack_arrived(tmp_path):
    _, journal, _, _ = by_keys(tmp_path, "arrival --nothing-wired --speed 40")
    noted = [each["name"] for each in journal if each.get("order") == "Note"]
    assert len(noted) == 11, noted  # 5 things to look at, 6 readings
    assert "alarm shown on arrival" in noted
