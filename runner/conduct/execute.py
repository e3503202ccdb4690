"""From a checked job to a finished run: bench opened, folder made, loop carried out, findings written."""

from __future__ import annotations

import contextlib
import dataclasses
import datetime
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import runner
from runner.bench.checks.measuring import measured
from runner.bench.checks.self_check import is_simulated
from runner.conduct.guarding import Watched
from runner.conduct.interfaces import Operator, RunOutcome, StopFlag
from runner.conduct.loop import Loop
from runner.conduct.resume import Resumption
from runner.conduct.site import Site
from runner.conduct.texts import runs as texts
from runner.engine.run import Run
from runner.errors import RecordError, RunLost, SheetError
from runner.evaluation.evaluate import Evaluation, evaluate, worked_out
from runner.evaluation.provenance import digest
from runner.record.folder import RESOLVED, RunFolder
from runner.seal.editions import keep_edition
from runner.seal.sealing import seal_evidence
from runner.workspace.job import Job, kept_as


@dataclass(frozen=True)
class Result:
    """A finished run: its folder, how it ended, and what was found."""

    folder: RunFolder
    outcome: RunOutcome
    evaluation: Evaluation
    agreed: str = ""  # who agreed to what is unusual on the pack sheet, and why
    not_sealed: str = ""  # why the record has no seal


def execute(
    job: Job,
    operator: Operator,
    site: Site,
    out: Path,
    stop: StopFlag,
    began: Callable[[RunFolder], None] = lambda folder: None,
    ended: Callable[[RunFolder], None] = lambda folder: None,
    folder: RunFolder | None = None,
    resumption: Resumption | None = None,
    agreed: str = "",
) -> Result:
    """Run a job. ``began`` is told the folder before the first step, ``ended`` before the evaluation. ``agreed`` as in Run.

    With ``folder`` and ``resumption`` it goes on with the run in there instead of making a folder in ``out``.

    Raises BenchError if an instrument is not there, Busy if another process has one, GuardMissing if there can be no guard,
    or RecordError if no folder can be made; then nothing was switched on and no folder is left behind. Once the loop has
    begun nothing is raised by it.
    """
    clock, locks = site.clock, site.locks
    if site.guarded and locks is not None:
        locks.instruments((role, each.address) for role, each in job.bench.wired().items())
    with Watched(job.bench, job.dialects, site) as watched:
        bench = watched.bench
        identities = bench.ready()
        simulated = _is_a_rehearsal(job, site, identities, folder)
        if folder is None:
            check = {} if site.simulated else {role: measured(bench, role).as_json() for role in identities}
            moment = clock.utc()
            folder = RunFolder.create(out, folder_stamp(moment), job.pack.serial, job.procedure.name)
            _keep_inputs(folder, job, identities, moment, check, simulated=simulated, rehearsed=site.simulated)
        if locks is not None:
            locks.folder(folder.path)
        if resumption is not None:
            keep_edition(folder.path, ["events.jsonl", "samples.csv", "findings.json"], texts.GOES_ON)
        watched.armed(folder.path)
        began(folder)
        begin, awake = (0, True) if resumption is None else (resumption.step, resumption.awake)
        agreed = agreed or ("" if resumption is None else resumption.agreed)
        guarded = watched.watch is not None or not site.guarded
        rested = 0.0 if resumption is None else resumption.rested_before(clock.utc())
        run = Run(job.program, begin, awake=awake, rested=rested, guarded=guarded, agreed=agreed, speed=clock.speed)
        loop = Loop(run, bench, operator, clock, folder, stop, resumption, watched.watch, simulated=simulated)
        watched.begins()
        outcome = loop.carry_out()
        watched.ended(outcome)
    with contextlib.suppress(RecordError):  # a full disk, or a folder that has gone: the run is over all the same
        ended(folder)
    evaluation = _evaluated(folder, outcome)
    not_sealed = seal_evidence(folder.path, digest(), simulated=simulated)
    return Result(folder, outcome, evaluation, run.agreed, not_sealed)


def _is_a_rehearsal(job: Job, site: Site, identities: dict[str, str], folder: RunFolder | None) -> bool:
    """Whether this is a run on simulated instruments: the command made them, or they say so; the bench file cannot make it one.

    Raises SheetError if the bench file says so and no instrument does, RecordError if the run was begun on the other kind of bench.
    """
    simulated = site.simulated or any(map(is_simulated, identities.values()))
    if job.bench.simulated and not simulated:
        what, remedy = texts.NOTHING_SIMULATED
        raise SheetError([job.bench_file.source.problem(("simulated",), what, remedy, key=True)])
    begun = None if folder is None else folder.read_json(f"inputs/{RESOLVED}").get("simulated")
    if begun is not None and begun != simulated:
        what, remedy = texts.other_bench(begun=bool(begun), now=simulated)
        raise RecordError(what, str(job.bench_file.name), remedy)
    return simulated


def _evaluated(folder: RunFolder, outcome: RunOutcome) -> Evaluation:
    """The findings, written if they can be: a full disk takes nothing from what is known. Raises RunLost."""
    try:
        return evaluate(folder)
    except RecordError as error:
        try:
            return worked_out(folder)
        except RecordError:
            raise RunLost.after(outcome.reason, str(error)) from error


def folder_stamp(utc: str) -> str:
    """The part of a folder's name that says when, from a UTC stamp."""
    return datetime.datetime.fromisoformat(utc).strftime("%Y%m%d-%H%M%S")


def _keep_inputs(
    folder: RunFolder,
    job: Job,
    identities: dict[str, str],
    moment: str,
    check: dict[str, Any],
    *,
    simulated: bool,
    rehearsed: bool,
) -> None:
    """``check``: what the instruments were found to be like before the run, by role; ``rehearsed``: they go with this program."""
    files = {"procedure.yaml": job.procedure_file, "pack.yaml": job.pack_file, "bench.yaml": job.bench_file}
    files |= {kept_as(role): file for role, file in job.dialect_files.items()}
    for name, file in files.items():
        folder.keep_input(name, file.text)
    folder.write_json(
        f"inputs/{RESOLVED}",
        {
            "schema": 1,
            "run": folder.number,
            "version": runner.__version__,
            "utc": moment,
            "simulated": simulated,
            "rehearsed": rehearsed,
            "identities": identities,
            "check": check,
            "files": {name: {"sha256": file.digest, "read_from": Path(file.name).name} for name, file in files.items()},
            "method": digest(),  # of the watcher that sees this run, among others
            "program": dataclasses.asdict(job.program),
        },
    )
