"""A run folder through the measurement again: the same code for a run that has just ended and for one of last year."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import runner
from runner.errors import RecordError, SheetError
from runner.evaluation.judged_again import judged_again
from runner.evaluation.provenance import changes, digest
from runner.evaluation.results import OpenedRun
from runner.evaluation.run_history import RunHistory, tell
from runner.evaluation.specification import corrections, declare
from runner.events import CHANNELS, PROBE_TEMPERATURE, named_by
from runner.measure.conformity import CONDITIONAL_FAIL, CONDITIONAL_PASS, FAIL, NOT_MEASURED, worst
from runner.measure.finding import Finding
from runner.measure.findings import findings
from runner.measure.readings import Corrections
from runner.measure.recording import Recording, Series, Specification
from runner.notation.quantity import minus
from runner.record.folder import FINDINGS, RunFolder
from runner.record.samples import AGES, ages_of
from runner.scale import READ_AS, digits_for
from runner.seal.editions import keep_edition
from runner.seal.sealing import seal_evidence
from runner.seal.signers import known_if_any
from runner.seal.verify import verify
from runner.sheets.bench import BenchFile, parse_bench
from runner.sheets.pack import PackSheet, parse_pack
from runner.sheets.procedure import Procedure, parse_procedure
from runner.vocabulary import Exit

if TYPE_CHECKING:
    import pandas as pd

OF_THE_BENCH = ("leads", "meters")  # findings about the bench; no statement on a pack rests on them


@dataclass(frozen=True)
class Evaluation:
    """Everything a certificate needs, and the exit status."""

    folder: RunFolder
    procedure: Procedure
    pack: PackSheet
    bench: BenchFile
    resolved: dict[str, Any]
    story: RunHistory
    recording: Recording
    declared: Specification
    findings: tuple[Finding, ...]
    refused_today: tuple[str, ...] = ()  # what its sheets say that would not be taken any more
    judged_otherwise: tuple[str, ...] = ()  # where today's watcher differs from what was said live
    broken: tuple[str, ...] = ()  # what has changed since the record was made or sealed
    not_known: tuple[str, ...] = ()  # what of that cannot be known, as where there is no seal

    @property
    def simulated(self) -> bool:
        """Whether the run was a rehearsal: from its record, and from the bench file only where the record is too old to say."""
        said = self.story.simulated
        return self.bench.simulated if said is None else said

    @property
    def of_the_bench(self) -> tuple[Finding, ...]:
        """What was found of the bench itself; it says nothing about the pack."""
        return tuple(finding for finding in self.findings if finding.name in OF_THE_BENCH)

    @property
    def conformity(self) -> str | None:
        """The worst statement on the pack; None where there is none: nothing of the pack was to be found or judged."""
        of_the_pack = (finding for finding in self.findings if finding.name not in OF_THE_BENCH)
        statements = [finding.conformity for finding in of_the_pack if finding.conformity is not None]
        return worst(statements) if statements else None

    @property
    def early(self) -> str:
        """Why the run ended before its last step, or nothing."""
        end = self.story.end
        if end is None:
            return "the record is incomplete (no end entry)"
        return end.reason if end.early else ""

    @property
    def left_out(self) -> str:
        """Why a person left the procedure out before its first step; nothing where the bench did not confirm that it is off."""
        end = self.story.end
        return end.reason if end is not None and end.left_out and not end.early else ""

    @property
    def exit_status(self) -> int:
        """The design's exit status: 0 pass, 1 fail, 3 not all measured, judged or done, 4 ended early.

        Where nothing of the pack was judged, or what was judged has changed since, the status is no pass.
        """
        nothing_judged = bool(self.findings) and self.conformity is None
        if self.status_in_session == Exit.PASS and (nothing_judged or self.broken):
            return Exit.NOT_ALL_JUDGED
        return self.status_in_session

    @property
    def status_in_session(self) -> int:
        """The same for one run of several, of which another may be the one that is judged."""
        if self.story.end is None or self.story.end.early:
            return Exit.ENDED_EARLY
        words = {finding.conformity for finding in self.findings}
        if words & {FAIL, CONDITIONAL_FAIL}:
            return Exit.FAIL
        undone = self.story.end.undone > 0
        return Exit.NOT_ALL_JUDGED if undone or words & {NOT_MEASURED, CONDITIONAL_PASS} else Exit.PASS

    def as_json(self) -> dict[str, Any]:
        """findings.json."""
        return {
            "schema": 1,
            "run": self.resolved.get("run", self.folder.number),  # a folder may be renamed
            "version": runner.__version__,
            "method": digest(),
            "pack": {"name": self.pack.name, "serial": self.pack.serial},
            "procedure": self.procedure.name,
            "simulated": self.simulated,
            "conformity": self.conformity,
            "ended_early": self.early,
            "findings": [finding.as_json() for finding in self.findings],
        }


def evaluate(folder: RunFolder) -> Evaluation:
    """Work out the findings of a run folder, and write findings.json if it says something else than the one there is.

    Of a sealed run, what it said before is kept in an edition and the new state sealed; where something has changed since the
    seal, nothing is written. Raises RecordError if the folder's evidence is missing, SheetError if its inputs no longer parse.
    """
    evaluation = _verified(worked_out(folder))
    content = evaluation.as_json()
    if not _says_the_same(folder, content) and not evaluation.broken:
        before = folder.read_json(FINDINGS) if (folder.path / FINDINGS).is_file() else None
        said = changes(before, content) if before is not None else []
        edition = keep_edition(folder.path, said or [FINDINGS], "evaluated again")
        folder.write_json(FINDINGS, content)
        if edition is not None:
            seal_evidence(folder.path, digest(), simulated=evaluation.simulated)
    return evaluation


def _verified(evaluation: Evaluation) -> Evaluation:
    found = verify(evaluation.folder.path, known_if_any())
    return replace(evaluation, broken=tuple(found.differences), not_known=tuple(found.unknown))


def _says_the_same(folder: RunFolder, content: dict[str, Any]) -> bool:
    """Whether findings.json is there and differs in nothing but what made it."""
    try:
        before = folder.read_json(FINDINGS)
    except RecordError:
        return False
    made_by = ("method", "version")
    now = json.loads(json.dumps(content))
    return {k: v for k, v in before.items() if k not in made_by} == {k: v for k, v in now.items() if k not in made_by}


def worked_out(folder: RunFolder) -> Evaluation:
    """The same and nothing is written; of a run that still goes on, what its record has so far."""
    procedure = parse_procedure(folder.input("procedure.yaml"), "procedure.yaml", as_it_was=True)
    pack = parse_pack(folder.input("pack.yaml"), "pack.yaml", as_it_was=True)
    bench = parse_bench(folder.input("bench.yaml"), "bench.yaml", as_it_was=True)
    run = OpenedRun(folder)
    resolved, table, entries = run.resolved, run.table, run.entries
    sought = {step["index"]: step["words"].get("until", "") for step in resolved["program"]["steps"]}
    story = tell(entries, table["t_s"].tolist(), sought)
    attempts, otherwise = judged_again(story.attempts, entries, table, resolved)
    early = (
        ""
        if story.end is not None and not story.end.early
        else (story.end.reason if story.end else "the record is incomplete (no end entry)")
    )
    certified = corrections(bench.instruments)
    read = (*CHANNELS, *(name for name in map(str, table.columns) if named_by(name)))
    channels = {channel: _corrected(series_of(table, channel), certified.get(channel)) for channel in read}
    taps = _corrected(series_of(table[table["by_hand"] == 1], PROBE_TEMPERATURE), certified.get(PROBE_TEMPERATURE))
    recording = Recording(channels, attempts, early, story.typed, story.breaks, taps)
    declared = declare(procedure, pack, bench, tuple(resolved["program"]["sensors"]))
    left_out = story.end is not None and story.end.left_out
    found = () if left_out else tuple(map(_recorded, findings(recording, declared)))
    refused = _refused_today(folder)
    return Evaluation(folder, procedure, pack, bench, resolved, story, recording, declared, found, refused, otherwise)


def _recorded(finding: Finding) -> Finding:
    """A finding as findings.json has it: what was too uncertain to be judged has no value, its reason says what was found.

    That is in °C whatever the reader's scale, because it is part of the record.
    """
    if finding.conformity != NOT_MEASURED or finding.value is None:
        return finding
    unit, size = READ_AS.get(finding.unit, (finding.unit, 1.0))
    found, expanded = finding.value / size, (finding.expanded_uncertainty or 0.0) / size
    digits = digits_for(expanded)
    return replace(
        finding,
        value=None,
        expanded_uncertainty=None,
        coverage_factor=None,
        dof=None,
        probability=None,
        repeats=(),
        budget=(),
        caveats=tuple(each for each in finding.caveats if each != finding.reason),
        reason=f"found {minus(f'{found:z.{digits}f}')} ± {expanded:.{digits}f} {unit}, {finding.reason}",
    )


def _corrected(series: Series, certified: Corrections | None) -> Series:
    return series if certified is None else certified.corrected(series)


def _refused_today(folder: RunFolder) -> tuple[str, ...]:
    """What the three files of a run say that would be refused if it were run now."""
    said: list[str] = []
    for name, parse in (("procedure.yaml", parse_procedure), ("pack.yaml", parse_pack), ("bench.yaml", parse_bench)):
        try:
            parse(folder.input(name), name)
        except SheetError as error:
            said += [str(problem) for problem in error.problems]
    return tuple(said)


def series_of(table: pd.DataFrame, channel: str) -> Series:
    """The valid readings of one channel of a sample table, in the order of the times they are of."""
    valid = table[["t_s", channel]].dropna()
    if AGES in table:
        cells = table.loc[valid.index, AGES]
        aged = cells[cells != ""]  # few rows have any: only these are searched
        aged = aged[aged.str.contains(channel, regex=False)]
        valid.loc[aged.index, "t_s"] -= [ages_of(cell).get(channel, 0.0) for cell in aged]
    if not valid["t_s"].is_monotonic_increasing:
        valid = valid.sort_values("t_s", kind="stable")
    return Series(valid["t_s"].to_numpy(float), valid[channel].to_numpy(float))
