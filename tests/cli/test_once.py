"""What is asked once a session is asked on the command line too: of a person who is there, and of nobody else."""

import argparse
import io
import sys

import pytest

from runner.launcher import Face
from runner.rehearsal.scripted import UNATTENDED
from runner.sheets.bench import parse_bench
from runner.sheets.pack import parse_pack
from runner.workspace.job import UserFile
from tests.builders import BENCH, PACK

BENCH_FILE = parse_bench(BENCH.format(port=9), "bench.yaml")


class Terminal(io.StringIO):
    def isatty(self):
        return True


def asked(tmp_path, monkeypatch, typed, *, script=None, terminal=True, **options):
    """(whether the run goes on, the operator, the pack sheet afterwards, what was printed)."""
    sheet = tmp_path / "pack.yaml"
    sheet.write_text(PACK, encoding="utf-8")
    out = io.StringIO()
    monkeypatch.setattr(sys, "stdin", Terminal(typed) if terminal else io.StringIO(typed))
    monkeypatch.setattr(sys, "stdout", out)
    options = argparse.Namespace(json=False, plan=options.pop("plan", False), **options)
    goes_on = Face(options, False, script)._asked_once(sheet, UserFile(str(sheet), PACK), BENCH_FILE)
    return goes_on, options.operator, parse_pack(sheet.read_text(encoding="utf-8"), "p"), out.getvalue()


def test_lines_are_asked_for_until_they_can_be_kept(tmp_path, monkeypatch):
    typed = "A. Tester\nHarbour Office\n2026-11-2\n2026-11-25\n"
    goes_on, operator, pack, said = asked(tmp_path, monkeypatch, typed)
    assert (goes_on, operator, pack.customer, str(pack.received)) == (True, "A. Tester", "Harbour Office", "2026-11-25")
    assert "date of receipt: is no date; write it like 2026-11-26" in said
    assert "written into pack.yaml" in said


def test_everything_may_be_left_empty(tmp_path, monkeypatch):
    goes_on, operator, pack, _ = asked(tmp_path, monkeypatch, "\n\n\n")
    assert (goes_on, operator, pack.customer, pack.received) == (True, "", "", None)


@pytest.mark.parametrize(
    "how", [{"script": UNATTENDED}, {"terminal": False}, {"plan": True}, {"operator": "said on the start screen"}]
)
def test_nobody_is_asked_who_is_not_there_or_has_said_it(tmp_path, monkeypatch, how):
    goes_on, operator, pack, said = asked(tmp_path, monkeypatch, "A\nB\n2026-11-25\n", **how)
    assert (goes_on, operator, pack.customer, said) == (True, how.get("operator", ""), "", "")
