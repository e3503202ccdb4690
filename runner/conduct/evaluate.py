"""A run folder through the measurement again: the same code for a run that has just ended and for one of last year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import runner
from runner.events import PROBE_TEMPERATURE, SUPPLY_CURRENT, Answered
from runner.measure.conformity import CONDITIONAL_FAIL, CONDITIONAL_PASS, FAIL, NOT_MEASURED, worst
from runner.measure.findings import Finding, findings
from runner.measure.recording import Attempt, Declared, Recording, Series
from runner.orders import Ask, BeginRamp, BeginStep, Conclude, End, Judge, Remark
from runner.record.folder import EVENTS, FINDINGS, RESOLVED, SAMPLES, RunFolder
from runner.record.journal import Entry, read_journal
from runner.record.samples import read_samples
from runner.sheets.bench import BenchFile, Probe, parse_bench
from runner.sheets.pack import PackSheet, TemperatureProtection, parse_pack
from runner.sheets.procedure import Procedure, parse_procedure

if TYPE_CHECKING:
    import pandas as pd

ALL_PASS, SOMETHING_FAILS, WRONG_INPUT, NOT_ALL_MEASURED, ENDED_EARLY = 0, 1, 2, 3, 4


@dataclass(frozen=True)
class Story:
    """What the journal tells, apart from the numbers."""

    began: str = ""
    ended: str = ""
    end: End | None = None
    attempts: tuple[Attempt, ...] = ()
    answers: tuple[tuple[str, str, str, str], ...] = ()  # (UTC, what it is evidence of, answer, by)
    remarks: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True)
class Evaluation:
    """Everything a certificate needs, and the exit status."""

    folder: RunFolder
    procedure: Procedure
    pack: PackSheet
    bench: BenchFile
    resolved: dict[str, Any]
    story: Story
    recording: Recording
    declared: Declared
    findings: tuple[Finding, ...]

    @property
    def conformity(self) -> str:
        """The worst statement of all findings that have one."""
        return worst([finding.conformity for finding in self.findings if finding.conformity is not None])

    @property
    def exit_status(self) -> int:
        """The design's exit status: 0 pass, 1 fail, 3 not all measured, 4 ended early."""
        if self.story.end is None or self.story.end.early:
            return ENDED_EARLY
        words = {finding.conformity for finding in self.findings}
        if words & {FAIL, CONDITIONAL_FAIL}:
            return SOMETHING_FAILS
        return NOT_ALL_MEASURED if words & {NOT_MEASURED, CONDITIONAL_PASS} else ALL_PASS

    def as_json(self) -> dict[str, Any]:
        """findings.json."""
        end = self.story.end
        return {
            "schema": 1,
            "run": self.folder.number,
            "version": runner.__version__,
            "pack": {"name": self.pack.name, "serial": self.pack.serial},
            "procedure": self.procedure.name,
            "simulated": self.bench.simulated,
            "conformity": self.conformity,
            "ended_early": ""
            if end is not None and not end.early
            else (end.reason if end else "the record breaks off"),
            "findings": [finding.as_json() for finding in self.findings],
        }


def evaluate(folder: RunFolder) -> Evaluation:
    """Work out the findings of a run folder and write findings.json.

    Raises RecordError if the folder's evidence is missing or was changed, SheetError if its inputs no longer parse.
    """
    procedure = parse_procedure(folder.input("procedure.yaml"), "procedure.yaml")
    pack = parse_pack(folder.input("pack.yaml"), "pack.yaml")
    bench = parse_bench(folder.input("bench.yaml"), "bench.yaml")
    resolved = folder.read_json(f"inputs/{RESOLVED}")
    story = tell(list(read_journal(folder.path / EVENTS)))
    table = read_samples(folder.path / SAMPLES)
    early = (
        ""
        if story.end is not None and not story.end.early
        else (story.end.reason if story.end else "the record breaks off")
    )
    recording = Recording(_series(table, SUPPLY_CURRENT), _series(table, PROBE_TEMPERATURE), story.attempts, early)
    declared = declare(procedure, pack, bench, tuple(resolved["program"]["sensors"]))
    evaluation = Evaluation(
        folder, procedure, pack, bench, resolved, story, recording, declared, tuple(findings(recording, declared))
    )
    folder.write_json(FINDINGS, evaluation.as_json())
    return evaluation


def tell(entries: Sequence[Entry]) -> Story:
    """What happened, from the entries of a journal in order."""
    attempts: list[Attempt] = []
    answers: list[tuple[str, str, str, str]] = []
    remarks: list[tuple[float, str]] = []
    asked: dict[str, Ask] = {}
    began: dict[int, float] = {}
    ramps: dict[int, float] = {}
    end: End | None = None
    for entry in entries:
        what = entry.what
        if isinstance(what, Ask):
            asked[what.question] = what
        elif isinstance(what, Answered):
            question = asked.get(what.question)
            record = (question.record or question.say) if question else what.question
            answers.append((entry.utc, record, what.value, what.by))
        elif isinstance(what, BeginStep):
            began[what.index] = entry.t
        elif isinstance(what, BeginRamp):
            ramps[what.index] = entry.t
        elif isinstance(what, Conclude):
            attempts.append(
                Attempt(
                    what.kind,
                    what.sensor,
                    what.cycle,
                    what.rate,
                    began.get(what.index, 0.0),
                    ramps.get(what.index),
                    what.at,
                    what.outcome,
                    what.why,
                    what.limit,
                )
            )
        elif isinstance(what, Remark):
            remarks.append((entry.t, what.say))
        elif isinstance(what, Judge) and what.word in ("dropout", "lost", "open lead", "limited"):
            remarks.append((entry.t, f"{what.word}: {what.why}"))
        elif isinstance(what, End):
            end = what
    return Story(
        entries[0].utc if entries else "",
        entries[-1].utc if entries else "",
        end,
        tuple(attempts),
        tuple(answers),
        tuple(remarks),
    )


def declare(procedure: Procedure, pack: PackSheet, bench: BenchFile, sensors: tuple[str, ...]) -> Declared:
    """What was known beforehand, from the three files."""
    protection = pack.protection(procedure.protection)
    assert isinstance(protection, TemperatureProtection)
    probe = bench.instruments.probe
    assert isinstance(probe, Probe)
    lags = {
        sensor.name: (sensor.lag, sensor.lag_uncertainty or sensor.lag / 2)
        for sensor in pack.sensors
        if sensor.lag is not None
    }
    return Declared(
        procedure.protection,
        protection.trip,
        protection.trip_limits(),
        protection.release,
        protection.release_limits(),
        protection.delay,
        (protection.delay_tolerance or 0.0) / 3.0**0.5,
        protection.polling,
        probe.accuracy.standard_uncertainty(),
        probe.accuracy.resolution,
        probe.coupling,
        (probe.lag, probe.lag_uncertainty),
        lags,
        sensors,
        procedure.findings,
        bench.decision.rule,
        bench.decision.coverage,
    )


def _series(table: pd.DataFrame, channel: str) -> Series:
    valid = table[["t_s", channel]].dropna()
    return Series(valid["t_s"].to_numpy(float), valid[channel].to_numpy(float))
