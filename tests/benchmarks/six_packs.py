"""Six packs of other sizes and chemistries: every procedure that fits, rehearsed unattended, its findings against the truths.

    python -m tests.benchmarks.six_packs [SEEDS]

Prints a table: procedures run and left out, hours planned and simulated, findings with a truth, how many of them are within U of
it, statements, exit status, processor time.
"""

from __future__ import annotations

import contextlib
import io
import json
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from runner.cli import main
from runner.orders import End
from runner.record.folder import EVENTS
from runner.record.journal import read_journal
from runner.rehearsal.truth import truth_of

PACKS = sorted((Path(__file__).parents[1] / "data" / "packs").glob("*.yaml"))


@dataclass
class Row:
    """What came of one pack. ``misses`` are findings farther than U from the truth: (procedure, name, sensor, how many U)."""

    procedures: int = 0
    left_out: int = 0
    planned: float = 0.0  # h
    took: float = 0.0  # h of simulated time
    checked: int = 0
    misses: list[tuple[str, str, str, float]] = field(default_factory=list)
    unmeasured: list[tuple[str, str, str]] = field(default_factory=list)
    statements: Counter[str] = field(default_factory=Counter)
    status: int = -1
    cpu: float = 0.0
    unconfirmed: int = 0  # runs that did not end with everything confirmed off


def rehearse(pack: Path, seed: int, names: tuple[str, ...] = (), more: tuple[str, ...] = ()) -> Row:
    """A session on one pack; all procedures if none is named. ``more`` are options of ``rehearse``."""
    row, began = Row(), time.process_time()
    said = io.StringIO()
    with tempfile.TemporaryDirectory() as out:
        with contextlib.redirect_stdout(said):
            row.status = main(
                ["rehearse", *(names or ["--all"]), "--pack", str(pack), "--seed", str(seed), "--scenario", "sound",
                 "--unattended", "--plain", "--out", out, *more]
            )  # fmt: skip
        row.cpu = time.process_time() - began
        for path in sorted(Path(out).glob("**/findings.json")):
            _add(row, path.parent)
    plan = [line for line in said.getvalue().splitlines() if line.startswith("PLAN")]
    row.planned = float(plan[0].split()[-2]) if plan else 0.0
    row.left_out = said.getvalue().count("left out:")
    return row


def _add(row: Row, folder: Path) -> None:
    findings = json.loads((folder / "findings.json").read_text())["findings"]
    truth = json.loads((folder / "truth.json").read_text())
    events = (folder / "events.jsonl").read_text().splitlines()
    row.procedures += 1
    row.unconfirmed += not any(
        isinstance(entry.what, End) and entry.what.safe for entry in list(read_journal(folder / EVENTS))[-3:]
    )
    row.took += json.loads(events[-1])["t"] / 3600
    for each in findings:
        what = (folder.name.split("-", 3)[-1], each["name"], each["sensor"] or "")
        row.statements[each["conformity"] or "not judged"] += 1
        if each["value"] is None:
            row.unmeasured.append((*what[:2], each["reason"]))
            continue
        true = truth_of(each, truth)
        if true is not None and each["expanded_uncertainty"]:
            row.checked += 1
            away = (each["value"] - true) / each["expanded_uncertainty"]
            if abs(away) > 1:
                row.misses.append((*what, away))


def run(seeds: int) -> None:
    """Prints the table."""
    print(f"{'pack':16} seed  run left  plan h  took h  checked within U  pass other  exit  CPU s")
    for pack in PACKS:
        for seed in range(1, seeds + 1):
            row = rehearse(pack, seed)
            passed = row.statements["pass"]
            print(
                f"{pack.stem:16} {seed:4} {row.procedures:4} {row.left_out:4}  {row.planned:6.1f}  {row.took:6.1f}  "
                f"{row.checked:7} {row.checked - len(row.misses):8}  {passed:4} {row.statements.total() - passed:5}  "
                f"{row.status:4}  {row.cpu:5.1f}"
            )
            for procedure, name, sensor, away in row.misses:
                print(f"    {procedure} {name} {sensor}: {away:+.2f} U")
            for procedure, name, why in row.unmeasured:
                print(f"    {procedure} {name}: {why}")


if __name__ == "__main__":
    run(int(sys.argv[1]) if len(sys.argv) > 1 else 1)
