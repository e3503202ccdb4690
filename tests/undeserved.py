"""Random rehearsals in which much goes wrong, and every *fail* held against the truth: was it deserved?

A pack's thresholds are drawn around the limits of its sheet, whole protections are missing or latch, and up to two faults of the
bench come at random instants. A *fail* is deserved if the truth is outside the limits, or if the protection does not act.
"""

from __future__ import annotations

import json
import random
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

from runner.measure.conformity import FAIL
from runner.measure.finding import Finding
from runner.rehearsal.truth import truth_of
from runner.twin.parameters import Fault, PackTruth, ProtectionTruth
from runner.workspace.job import find_procedure
from tests.builders import SHORT_PROCEDURE, rehearsed, user_file

DESERVED, NEAR, UNDESERVED = "deserved", "near a limit", "UNDESERVED"
COLD = (
    SHORT_PROCEDURE.replace("over-temperature", "under-temperature")
    .replace("heat: {", "warm: {until: stopped, ")
    .replace("cool: {", "heat: {until: returned, ")
    .replace("warm: {", "cool: {")
    .replace("trip - 5 K, give_up: trip + 8 K", "trip + 5 K, give_up: trip - 8 K")
    .replace("release + 5 K, give_up: release - 10 K", "release - 5 K, give_up: release + 10 K")
    .replace("trip + 12 K", "45 degC")
)
LOADED = ("- charge: {voltage: full charge voltage,", "- drain: {floor: cut-off voltage + 3 V, until: steady,")


def _loaded(text: str) -> str:
    needs = text.replace("needs: [supply, probe]", "needs: [load, probe]").replace(*LOADED)
    return needs.replace("protection: charge", "protection: discharge")


KINDS = {  # what is run, and at which states of charge
    "charge_over_temperature": (SHORT_PROCEDURE, (0.3, 0.6)),
    "charge_under_temperature": (COLD, (0.3, 0.6)),
    "discharge_over_temperature": (_loaded(SHORT_PROCEDURE), (0.4, 0.8)),
    "discharge_under_temperature": (_loaded(COLD), (0.4, 0.8)),
    "charge_over_temperature ": ("charge-over-temperature-box", (0.3, 0.6)),
    "over_voltage": ("over-voltage", (0.95, 0.98)),
    "under_voltage": ("under-voltage", (0.08, 0.12)),
    "charge_over_current": ("charge-over-current", (0.3, 0.6)),
    "discharge_over_current": ("discharge-over-current", (0.4, 0.8)),
}
SCENARIOS = ("sound", "sound", "sound", "no-protection", "no-release")  # and "slow", where the delay is measured
FAULTS = (
    "lead off",
    "load lead off",
    "load stops",
    "supply trips",
    "load trips",
    "supply silent",
    "supply hangs up",
    "probe silent",
    "probe sends no number",
    "supply sends no number",
    "supply stands still",
    "load stands still",
    "probe stands still",
    "supply shows no voltage",
    "supply says it is off",
)


@dataclass(frozen=True)
class Fail:
    """A finding that says fail, and what becomes of it in the light of the truth."""

    finding: Finding
    truth: float | None
    verdict: str

    def __str__(self) -> str:
        f = self.finding
        said = (
            f"{f.value} ± {f.expanded_uncertainty}, limits {f.lower} … {f.upper}" if f.value is not None else f.reason
        )
        return f"{self.verdict}: {f.protection} {f.name}: {said}; true {self.truth}"


@dataclass(frozen=True)
class Trial:
    """What was drawn, how the run ended, how many findings were judged, and those that say fail."""

    what: str
    ended: str
    status: int
    judged: int
    within: int  # judged findings whose truth is inside the limits, but nearer to one than U
    fails: tuple[Fail, ...]


def trial(seed: int) -> Trial:
    """One of them, the same for the same seed."""
    dice = random.Random(f"undeserved {seed}")
    kind = dice.choice(tuple(KINDS))
    what, charge = KINDS[kind]
    scenario = dice.choice(SCENARIOS if kind.endswith("voltage") else (*SCENARIOS, "slow"))
    faults = tuple(
        Fault(dice.choice(FAULTS), dice.uniform(5.0, 900.0), 10 ** dice.uniform(-0.5, 3.0))
        for _ in range(dice.choice((0, 0, 1, 1, 2)))
    )
    procedure = find_procedure(what) if "\n" not in what else user_file("short.yaml", what)
    with tempfile.TemporaryDirectory() as out:
        run = rehearsed(
            Path(out),
            scenario,
            seed,
            procedure=procedure,
            sensors=("T1",) if "temperature" in kind else (),
            state_of_charge=dice.uniform(*charge),
            faults=faults,
            changed=lambda truth: replace(truth, pack=_moved(truth.pack, kind.strip(), dice)),
        )
    pack = run.world.truth.pack
    findings = run.result.evaluation.findings
    truth = json.loads(json.dumps(run.truth))
    fails = tuple(_fail(each, truth, pack) for each in findings if each.conformity == FAIL)
    judged = [each for each in findings if each.conformity is not None and each.value is not None]
    within = sum(1 for each in judged if _distance(each, truth_of(each.as_json(), truth)) == NEAR)
    words = f"{seed}: {kind} {scenario} {[(f.what, round(f.at), round(f.lasts, 1)) for f in faults]}"
    outcome = run.result.outcome
    return Trial(words, outcome.reason, run.result.evaluation.exit_status, len(judged), within, fails)


def _moved(pack: PackTruth, kind: str, dice: random.Random) -> PackTruth:
    """The same pack with its threshold moved about its limits: 2 K, 0.05 V a cell, a tenth of a current."""

    def shifted(each: ProtectionTruth) -> ProtectionTruth:
        if each.kind != kind:
            return each
        if each.offsets:
            trip, release = dice.uniform(-3.0, 3.0), dice.uniform(-3.0, 3.0)
            return replace(
                each,
                offsets={name: value + trip for name, value in each.offsets.items()},
                release_offsets={name: value + release for name, value in each.release_offsets.items()},
            )
        if kind.endswith("voltage"):
            return replace(
                each, trip=each.trip + dice.uniform(-0.08, 0.08), release=each.release + dice.uniform(-0.05, 0.05)
            )
        return replace(each, trip=each.trip * dice.uniform(0.85, 1.15), delay=each.delay * dice.uniform(0.7, 1.6))

    return replace(pack, protections=tuple(shifted(each) for each in pack.protections))


def _fail(finding: Finding, truth: dict, pack: PackTruth) -> Fail:
    acts = next((each for each in pack.protections if each.kind == finding.protection), None)
    if finding.value is not None:
        true = truth_of(finding.as_json(), truth)
        return Fail(finding, true, _distance(finding, true))
    if acts is None or (acts.latching and finding.name != "trip"):
        return Fail(finding, None, DESERVED)
    true = _threshold(finding, acts, pack)
    outside = true is not None and not _inside(finding, true)
    return Fail(finding, true, DESERVED if outside else UNDESERVED)


def _threshold(finding: Finding, acts: ProtectionTruth, pack: PackTruth) -> float | None:
    """Where the pack would have acted, for a finding that says that it did not."""
    value = acts.trip if finding.name == "trip" else acts.release if finding.name == "release" else None
    if value is None:
        return None
    if finding.sensor is not None:
        return value + (acts.offsets if finding.name == "trip" else acts.release_offsets)[finding.sensor]
    return value * pack.cells if acts.kind.endswith("voltage") else value


def _inside(finding: Finding, true: float) -> bool:
    return (finding.lower is None or true >= finding.lower) and (finding.upper is None or true <= finding.upper)


def _distance(finding: Finding, true: float | None) -> str:
    """How a true value stands to the limits of a finding that has a value."""
    if true is None or not _inside(finding, true):
        return DESERVED
    room = min(abs(true - limit) for limit in (finding.lower, finding.upper) if limit is not None)
    return NEAR if room <= (finding.expanded_uncertainty or 0.0) else UNDESERVED


def rate(trials: list[Trial]) -> tuple[int, int]:
    """How many fails were of truths inside a limit, and of how many findings so near to one."""
    return sum(fail.verdict == NEAR for each in trials for fail in each.fails), sum(each.within for each in trials)
