"""The two pages of the README for a first pack: their commands are run as they stand there, on packs and benches like a reader's."""

import re
import shlex
import shutil
from pathlib import Path

import pytest

from runner.cli import main
from runner.conduct.clock import VirtualClock
from runner.rehearsal.simulated_bench import Rehearsal
from runner.workspace.job import DEMO_PACK, read_file
from tests.builders import SHORT_PROCEDURE

ARRIVAL = """\
kind: answers
answers: [go on, go on, good, good, good, good, good, 26.4 V, 21 degC, "3,3", 3.3 V, "no", agree]
then: go on
wait: 50 ms
"""
README = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")


def commands(page):
    """The commands under a heading, as words; the last, which is the run itself, is the one before it without ``--plan``."""
    block = re.search(rf"<!-- {page} -->\n```console\n(.*?)```", README, re.S)[1]
    found = [shlex.split(line.removeprefix("$ tripwitness")) for line in block.splitlines()]
    assert found[-1] == [word for word in found[-1] if word != "--plan"]
    assert found[-2 if page.endswith("bench") else 2] == [*found[-1][:2], "--plan", *found[-1][2:]]
    return found


@pytest.fixture
def at(tmp_path, monkeypatch):
    """A folder with the reader's pack sheet; a PDF is left out, others test it."""
    monkeypatch.setattr("reports.certificate.write_pdf", lambda *_: "left out here")
    monkeypatch.chdir(tmp_path)
    shutil.copy(DEMO_PACK, "P.yaml")
    return tmp_path


def test_the_page_for_a_person_with_nothing_on_a_cable(at, capsys):
    shutil.copy(DEMO_PACK.parent / "by-hand-bench.yaml", "B.yaml")
    Path("short.yaml").write_text(SHORT_PROCEDURE, encoding="utf-8")  # one ramp of the three
    *before, whole = commands("first pack by hand")
    for words in before:
        command = ["short.yaml" if word == "charge-over-temperature" else word for word in words]
        assert main(command) == 0, (command, capsys.readouterr())
    said = capsys.readouterr().out
    assert "left out: charges beyond full, which needs a supply with an address" in said
    assert (
        "pass, for what was tested: charge over-temperature at T1. Not tested: 11 of 12 protections (temperature protections"
        in said
    )
    assert main(["rehearse", "arrival", *whole[2:], "--unattended", "--plain"]) == 0


def test_the_page_for_a_bench(at, capsys):
    with Rehearsal(read_file(DEMO_PACK), "sound", 1, VirtualClock(), sockets=True) as bench:
        Path("B.yaml").write_text(bench.bench.text, encoding="utf-8")
        Path("answers.yaml").write_text(ARRIVAL, encoding="utf-8")
        for command in commands("first pack at a bench")[:-1]:
            scripted = ["--answers", "answers.yaml"] if command[:2] == ["run", "arrival"] else []
            assert main([*command, *scripted]) == 0, (command, capsys.readouterr())
    said = capsys.readouterr().out
    assert "no statement: none tested of 12 protections (temperature protections counted once per sensor)" in said
    assert "PLAN" in said
