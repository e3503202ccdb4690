"""From a checked job to a finished run: bench opened, folder made, loop carried out, findings written."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import runner
from runner.bench.assembly import Bench, Connect
from runner.conduct.evaluate import Evaluation, evaluate
from runner.conduct.files import Job
from runner.conduct.loop import Loop
from runner.conduct.ports import Clock, Operator, Outcome, StopFlag
from runner.conduct.resume import Resumption
from runner.engine.run import Run
from runner.record.folder import RESOLVED, RunFolder


@dataclass(frozen=True)
class Result:
    """A finished run: its folder, how it ended, and what was found."""

    folder: RunFolder
    outcome: Outcome
    evaluation: Evaluation


def execute(
    job: Job,
    operator: Operator,
    clock: Clock,
    out: Path,
    stop: StopFlag,
    began: Callable[[RunFolder], None] = lambda folder: None,
    ended: Callable[[RunFolder], None] = lambda folder: None,
    folder: RunFolder | None = None,
    resumption: Resumption | None = None,
    connect: Connect | None = None,
) -> Result:
    """Run a job. ``began`` is told the folder before the first step, ``ended`` before the evaluation.

    With ``folder`` and ``resumption`` it goes on with the run in there instead of making a folder in ``out``. ``connect``
    makes transports in place of PyVISA's.

    Raises BenchError if an instrument is not there or RecordError if no folder can be made; then nothing was switched on
    and no folder is left behind. Once the loop has begun nothing is raised by it.
    """
    bench = Bench(job.bench, job.dialects, clock, connect)
    try:
        identities = bench.ready()
        if folder is None:
            moment = clock.utc()
            folder = RunFolder.create(out, folder_stamp(moment), job.pack.serial, job.procedure.name)
            _keep_inputs(folder, job, identities, moment)
        began(folder)
        run = Run(job.program) if resumption is None else Run(job.program, resumption.step, awake=resumption.awake)
        outcome = Loop(run, bench, operator, clock, folder, stop, resumption).carry_out()
    finally:
        bench.close()
    ended(folder)
    return Result(folder, outcome, evaluate(folder))


def folder_stamp(utc: str) -> str:
    """The part of a folder's name that says when, from a UTC stamp."""
    return datetime.datetime.fromisoformat(utc).strftime("%Y%m%d-%H%M%S")


def _keep_inputs(folder: RunFolder, job: Job, identities: dict[str, str], moment: str) -> None:
    files = {"procedure.yaml": job.procedure_file, "pack.yaml": job.pack_file, "bench.yaml": job.bench_file}
    files |= {f"dialect-{role}.yaml": file for role, file in job.dialect_files.items()}
    for name, file in files.items():
        folder.keep_input(name, file.text)
    folder.write_json(
        f"inputs/{RESOLVED}",
        {
            "schema": 1,
            "run": folder.number,
            "version": runner.__version__,
            "utc": moment,
            "identities": identities,
            "files": {name: {"sha256": file.digest, "read_from": Path(file.name).name} for name, file in files.items()},
            "program": dataclasses.asdict(job.program),
        },
    )
