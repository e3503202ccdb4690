"""Broken input of every kind: one clear message a mistake, with its place; exit status 2; no traceback; no folder."""

import re
import socket

import pytest

from runner.cli import main
from tests.builders import BENCH, PACK, SHORT_PROCEDURE


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


PORT = free_port()
BENCH_TEXT = BENCH.format(port=PORT)

# (what is broken, which file, what is replaced, by what, line, column, part of the message)
MISTAKES = [
    ("bad YAML", "pack", "cells_in_series: 8", "cells_in_series: [8", 6, 16, "is not YAML"),
    ("a tab", "pack", "  - {name", "\t- {name", 12, 1, "is not YAML"),
    ("unknown key", "pack", "serial:", "sreial:", 3, 1, "unknown key 'sreial'; did you mean serial?"),
    ("missing key", "pack", "chemistry: LFP\n", "", 1, 1, "chemistry is missing"),
    ("key twice", "pack", "chemistry: LFP", "chemistry: LFP\nchemistry: LCO", 5, 1, "'chemistry' is written twice"),
    ("wrong unit", "pack", "rated_capacity: 40 Ah", "rated_capacity: 40 A", 9, 17, "40 A is a current; a charge is needed"),
    ("no unit", "pack", "trip: 55 degC", "trip: 55", 15, 11, "55 has no unit; write 55 degC"),
    ("kelvin for a temperature", "pack", "trip: 55 degC", "trip: 328 K", 15, 11, "a temperature is needed; temperatures are written in degC"),
    ("two tolerances", "pack", "tolerance: 2 K\n", "tolerance: 2 K\n    between: [53 degC, 57 degC]\n", 15, 5, "tolerance and between are both given"),
    ("unknown sensor", "pack", "sensors: all", "sensors: [T1, T7]", 20, 14, "T7 is not a sensor of this pack; its sensors: T1"),
    ("voltages out of order", "pack", "cut_off_voltage: 20 V", "cut_off_voltage: 27 V", 8, 18, "the voltages do not rise: cut-off 27 V, nominal 25.6 V"),
    ("protection missing", "pack", "charge over-temperature:", "discharge over-temperature:", 13, 1, "declares no charge over-temperature"),
    ("not a whole number", "pack", "cells_in_series: 8", "cells_in_series: eight", 5, 18, "is not a whole number"),
    ("missing instrument", "bench", BENCH_TEXT[BENCH_TEXT.index("  probe:"):], "", 3, 1, "has no probe, which the procedure short needs"),
    ("half an accuracy", "bench", "expanded_uncertainty: 0.2 K, ", "", 9, 15, "give either expanded_uncertainty, limit or corrections"),
    ("limit too low", "bench", "current: 10 A", "current: 2 A", 6, 38, "charges with 4 A, but at most 2 A is allowed"),
    ("unknown rule", "bench", "name: test bench", "name: b\ndecision: {rule: coin}", 3, 18, "'coin' is not one of"),
    ("missing dialect file", "bench", "coupling: 0.15 K", "coupling: 0.15 K\n    dialect: mine.yaml", 11, 14, "cannot be read"),
    ("address that is none", "bench", f"TCPIP::127.0.0.1::{PORT}::SOCKET\n    limits", "TCPIP::::SOCKET\n    limits", 5, 14, "is not an address; write it like TCPIP"),
    ("another name for an instrument", "bench", "  probe:", "  thermometer:", 7, 3, "unknown key 'thermometer'; a thermometer is called probe here"),
    ("a protection misspelt", "pack", "charge over-temperature:", "charge overtemperature:", 14, 3, "unknown key 'charge overtemperature'; did you mean charge over-temperature?"),
    ("a file of another kind", "pack", PACK, BENCH_TEXT, 1, 7, "this is a bench file, but a pack sheet is needed; are --pack and --bench swapped?"),
    ("a decimal comma", "pack", "rated_capacity: 40 Ah", "rated_capacity: 40,5 Ah", 9, 17, "'40,5 Ah' has a decimal comma; write 40.5 Ah"),
    ("indentation", "pack", "chemistry: LFP", "chemistry: LFP\n   x: 1", 5, 5, "is not YAML: "),
    ("unknown step", "procedure", "- heat:", "- heet:", 15, 11, "unknown key 'heet'; did you mean heat?"),
    ("unknown name", "procedure", "give_up: trip + 8 K", "give_up: trap + 8 K", 15, 87, "'trap' is not a known name; did you mean trip?"),
    ("wrong sum", "procedure", "give_up: trip + 8 K", "give_up: trip + 8 degC", 15, 92, "adds two temperatures; write a difference in K, such as trip + 8 K"),
    ("wrong word in a text", "procedure", 'Heat {sensor}.', "Heat {senzor}.", 15, 23, "{senzor} is not a known name; did you mean {sensor}?"),
    ("no steps", "procedure", SHORT_PROCEDURE[SHORT_PROCEDURE.index("steps:"):SHORT_PROCEDURE.index("findings:")], "steps: []\n", 9, 8,
     "steps is empty"),
    ("unknown finding", "procedure", "findings: [trip, release]", "findings: [trip, relaese]", 18, 18, "'relaese' is not one of"),
    ("no ceiling", "procedure", "temperature: trip + 12 K, ", "", 8, 11, "temperature is missing"),
    ("two steps in one", "procedure", "- confirm: {say: Ready?}", "- {confirm: {say: A}, off: {}}", 10, 5, "a step is exactly one of"),
]  # fmt: skip


def written(folder, **texts):
    names = {}
    for kind, text in {"pack": PACK, "bench": BENCH_TEXT, "procedure": SHORT_PROCEDURE, **texts}.items():
        path = folder / f"{kind}.yaml"
        path.write_text(text)
        names[kind] = str(path)
    return names


def run(folder, names, capsys):
    status = main(
        [
            "run",
            names["procedure"],
            "--pack",
            names["pack"],
            "--bench",
            names["bench"],
            "--plain",
            "--out",
            str(folder / "out"),
        ]
    )
    captured = capsys.readouterr()
    assert not (folder / "out").exists()
    assert "Traceback" not in captured.err
    return status, captured.err.strip().splitlines()


@pytest.mark.parametrize(
    ("kind", "file", "old", "new", "line", "column", "part"), MISTAKES, ids=[each[0] for each in MISTAKES]
)
def test_one_mistake_gives_one_message_with_its_place(tmp_path, capsys, kind, file, old, new, line, column, part):
    text = {"pack": PACK, "bench": BENCH_TEXT, "procedure": SHORT_PROCEDURE}[file]
    assert old in text
    names = written(tmp_path, **{file: text.replace(old, new, 1)})
    status, lines = run(tmp_path, names, capsys)
    assert status == 2
    assert len(lines) == 1, lines
    assert lines[0].startswith(f"{names[file]}:{line}:{column}: "), lines
    assert part in lines[0]


def test_mistakes_in_all_three_files_are_said_together(tmp_path, capsys):
    names = written(
        tmp_path, pack=PACK.replace("LFP", "LFP\nx: 1"), bench=BENCH_TEXT.replace("0.15 K", "0.15 V"),
        procedure=SHORT_PROCEDURE.replace("purpose: to be quick\n", ""),
    )  # fmt: skip
    status, lines = run(tmp_path, names, capsys)
    assert status == 2
    assert [re.sub(r".*/(\w+)\.yaml:.*", r"\1", each) for each in lines] == ["bench", "pack", "procedure"]


def test_an_address_where_nobody_answers_is_said_with_its_place(tmp_path, capsys):
    names = written(tmp_path)
    status, lines = run(tmp_path, names, capsys)
    assert status == 4
    assert len(lines) == 2, lines
    assert lines[0].startswith(f"{names['bench']}:5:14: supply: no connection to TCPIP::127.0.0.1::{PORT}::SOCKET")
    assert lines[1].startswith(f"{names['bench']}:8:14: probe: no connection")


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (["run", "no-such-procedure", "--pack", "p", "--bench", "b"], "unknown procedure"),
        (
            ["run", "charge-over-temperature", "--pack", "nowhere.yaml", "--bench", "b"],
            "nowhere.yaml: cannot be read: no such file",
        ),
        (["rehearse", "--scenario", "nice"], "unknown scenario 'nice'; choose one of: sound"),
        (["rehearse", "--unattended", "--speed", "fast"], "--speed fast is not valid"),
        (["rehearse", "--unattended", "--sensor", "T9"], "--sensor T9 is not one of its sensors; choose one of T1, T2"),
        (["rehearse", "--answers", "nowhere.yaml"], "nowhere.yaml: cannot be read"),
        (["check", "nowhere.yaml"], "cannot be read"),
        (["blah"], "unknown command 'blah'; choose one of: rehearse, run"),
        (["evaluate", "nowhere"], "nowhere: no such folder"),
        (["certificate", "nowhere"], "nowhere: no such folder"),
        (["bench", "nowhere.yaml"], "cannot be read"),
    ],
)
def test_a_wrong_argument_is_said_in_a_sentence(tmp_path, capsys, monkeypatch, arguments, part):
    monkeypatch.chdir(tmp_path)
    assert main(arguments) == 2
    err = capsys.readouterr().err
    assert part in err
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "parts"),
    [
        (
            "rehearse arrival --all --nothing-wired --by-hand --actuator --bench b.yaml --speed fast --scenario nice"
            " --unattended --answers a.yaml",
            (
                "leave out the names, or --all",
                "leave out --by-hand and --actuator and --nothing-wired",
                "--nothing-wired leaves nothing for --by-hand and --actuator",
                "--speed fast is not valid",
                "unknown scenario 'nice'",
                "both answer for the operator",
            ),
        ),
        ("run arrival --all --pack p.yaml --bench b.yaml", ("leave out the names, or --all",)),
        ("bench b.yaml --find --talk supply", ("--find looks for instruments and --talk speaks to one",)),
        ("bench --talk supply --network 192.0.2.1", ("no bench file given", "--network only says where --find looks")),
        ("twin --listen --port 70000 --speed nan", ("--port 70000 is no port", "--speed must be greater than 0")),
    ],
)
def test_all_that_contradicts_itself_is_said_at_once(tmp_path, capsys, monkeypatch, arguments, parts):
    monkeypatch.chdir(tmp_path)
    assert main(arguments.split()) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == len(parts)
    assert all(any(part in line for line in lines) for part in parts)
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_not_text_is_said_to_be_none(tmp_path, capsys):
    path = tmp_path / "pack.yaml"
    path.write_bytes(b"kind: pack\nname: \xff\xfe\n")
    assert main(["check", str(path)]) == 2
    assert "is not UTF-8 text (byte 17)" in capsys.readouterr().err
