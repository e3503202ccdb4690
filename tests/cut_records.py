"""A record as a kill leaves it: the journal cut at any byte, the samples no longer than was written by then, and nothing sealed."""

from __future__ import annotations

import json
import random
import shutil
from pathlib import Path

from runner.conduct.clock import VirtualClock
from runner.conduct.execute import execute
from runner.conduct.interfaces import StopFlag
from runner.conduct.resume import at_its_end, broken_off
from runner.conduct.site import Site
from runner.record.folder import RunFolder
from runner.rehearsal.scripted import UNATTENDED, ScriptedOperator
from runner.rehearsal.simulated_bench import Rehearsal
from runner.seal.sealing import SEALS
from runner.workspace.job import DEMO_PACK, read_file

BREAK = 1800.0  # s between the kill and the resume


def cut(source: Path, to: Path, dice: random.Random, at: int | None = None) -> tuple[Path, int]:
    """A copy of a run folder as it was at an instant; how many whole lines its journal has. ``at``: the byte it ends before."""
    folder = Path(shutil.copytree(source, to / source.name, ignore=shutil.ignore_patterns("certificate*", "editions")))
    for name in (*SEALS, "findings.json", "truth.json"):
        (folder / name).unlink(missing_ok=True)
    journal = (folder / "events.jsonl").read_bytes()
    first = journal.index(b'"InputsKept"')  # before that nothing has been done
    at = dice.randrange(journal.index(b"\n", first) + 1, len(journal)) if at is None else at
    (folder / "events.jsonl").write_bytes(journal[:at])
    lines = journal[:at].split(b"\n")[:-1]
    written = [json.loads(line) for line in lines]
    committed = max((each["size"] for each in written if each.get("event") == "SamplesKept"), default=0)
    samples = (folder / "samples.csv").read_bytes()
    least = max(
        committed, samples.index(b"\n") + 1
    )  # the head of the table stands before the first line of the journal
    rows = [len(row) + 1 for row in samples[least:].split(b"\n")[:-1] if float(row.split(b",")[0]) <= written[-1]["t"]]
    end = least + sum(rows) - (dice.randrange(rows[-1]) if rows else 0)
    (folder / "samples.csv").write_bytes(samples[:end])
    return folder, len(lines)


def finished(path: Path) -> RunFolder:
    """The run gone on with on a fresh simulated bench, or, where it was over, only evaluated and sealed."""
    folder = RunFolder.existing(path)
    if at_its_end(folder) is not None:
        return folder
    clock = VirtualClock()
    with Rehearsal(read_file(DEMO_PACK), "sound", 1, clock, sockets=False) as rehearsal:
        clock.sleep(BREAK)
        job, resumption = broken_off(folder, rehearsal.bench)
        operator, site = (
            ScriptedOperator(UNATTENDED, eyes=rehearsal.eyes),
            Site(clock, rehearsal.connect, simulated=True),
        )
        execute(job, operator, site, path.parent, StopFlag(), folder=folder, resumption=resumption)
    return folder
