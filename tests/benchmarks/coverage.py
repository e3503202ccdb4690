"""Is the stated uncertainty honest? Rehearse many simulated packs and count how often each stated interval holds the truth.

    python tests/benchmarks/coverage.py [--seeds 100] [--first 1] [--kinds "three ramps,single ramp"] [--keep FOLDER]

Run folders that were kept are not rehearsed again but evaluated again, with today's method: seconds instead of an hour.

The truths are drawn anew for every seed (runner/twin/parameters.py): thresholds uniform ±1 K, ±8 and ±15 mV a cell, ±2 % of a
current; delays ±25 % (temperature), ±10 % (voltage), ±15 % (current); the pack's polling ±3 %; sensor lags uniform 4 to 12 s,
the probe's 0.5 to 3 s; probe calibration and coupling normal with the stated u (for the single ramp the sensor's lag 0 to
15 s, which is what its budget says of it); ramp rates of single ramps uniform 0.5 to 4 K/min; capacity, resistance, leads and
meters' gains and offsets uniform; keys normal about what the bench file says, at a decade box about when it is set.
Also counted: trips and releases that the simulated pack made and the run did not see (missed), and the other way (invented).
"""

from __future__ import annotations

import argparse
import json
import os
import random
import sys
import tempfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

TRUTH = "truth.json"
OUTCOMES = {"stopped": "trip", "returned": "release"}
# s from the pack's change to the first sample that shows it; a bench is up to 1 s older than the run on it
BELONGS = (-1.5, 1.5)
KINDS = {  # what is rehearsed: procedure, state of charge, by hand
    "three ramps": ("charge-over-temperature", None, False),
    "single ramp": ("charge-over-temperature", None, False),
    "three ramps by hand": ("charge-over-temperature", None, True),
    "decade box": ("charge-over-temperature-box", None, False),
    "over-voltage": ("over-voltage", 0.985, False),
    "cut-off": ("under-voltage", 0.10, False),
    "cut-off by hand": ("under-voltage", 0.10, True),
    "capacity": ("capacity", 0.99, False),
    "capacity by hand": ("capacity", 0.99, True),
    "charge over-current": ("charge-over-current", None, False),
    "discharge over-current": ("discharge-over-current", None, False),
    "meters": ("meters", None, False),
}
USUAL_LAG, UNKNOWN_LAG = (4.0, 12.0), (0.0, 15.0)  # s
BY_HAND = ("probe", "meter", "load")


def count_one(kind: str, seed: int, keep: str) -> Counter[tuple[str, str]]:
    """One rehearsal, or the one that was kept, counted by finding."""
    if not keep:
        with tempfile.TemporaryDirectory() as out:
            return counted(kind, rehearse(kind, seed, Path(out)))
    out = Path(keep) / kind.replace(" ", "-") / str(seed)
    there = [each.parent for each in out.glob(f"*/{TRUTH}")]
    return counted(kind, there[0] if there else rehearse(kind, seed, out))


def rehearse(kind: str, seed: int, out: Path) -> Path:
    """One rehearsal; its run folder in ``out``."""
    from runner.twin import parameters
    from runner.workspace.job import UserFile, find_procedure
    from tests.builders import rehearsed

    parameters.SENSOR_LAG = UNKNOWN_LAG if kind == "single ramp" else USUAL_LAG
    name, charge, by_hand = KINDS[kind]
    text = find_procedure(name).text
    if kind == "single ramp":
        rate = random.Random(f"rate {seed}").uniform(0.5, 4.0)
        text = text.replace("values: [1 K/min, 2 K/min, 3 K/min]", f"values: [{rate:.2f} K/min]")
    run = rehearsed(
        out,
        seed=seed,
        procedure=UserFile(f"{name}.yaml", text),
        sensors=("T1",) if "temperature" in name else (),
        by_hand=BY_HAND if by_hand else (),
        state_of_charge=charge,
    )
    return run.result.evaluation.folder.path


def counted(kind: str, folder: Path) -> Counter[tuple[str, str]]:
    """What of a run folder's findings holds its truth."""
    from runner.evaluation.evaluate import evaluate
    from runner.record.folder import RunFolder
    from runner.rehearsal.truth import truth_of

    truth = json.loads((folder / TRUTH).read_text(encoding="utf-8"))
    count: Counter[tuple[str, str]] = Counter()
    evaluation = evaluate(RunFolder.existing(folder))
    for finding in evaluation.findings:
        as_json = finding.as_json()
        true = truth_of(as_json, truth)
        if true is None:
            continue
        key = f"{kind}: {finding.name}"
        if finding.value is None:
            count[key, "not measured"] += 1
            continue
        count[key, "measured"] += 1
        count[key, "held"] += abs(finding.value - true) <= finding.expanded_uncertainty
    protection = evaluation.procedure.protection
    if protection and "temperature" in protection:
        changes = [change for change in truth["changes"] if change["kind"] == protection]
        seen = [each for each in evaluation.recording.attempts if each.outcome in OUTCOMES and each.kind != "charge"]
        count["changes", "missed"] += sum(not any(_belong(a, c) for a in seen) for c in changes)
        count["changes", "invented"] += sum(not any(_belong(a, c) for c in changes) for a in seen)
        count["changes", "measured"] += len(changes)
    return count


def _belong(attempt, change) -> bool:
    return OUTCOMES[attempt.outcome] == change["change"] and BELONGS[0] <= attempt.at - change["t"] <= BELONGS[1]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=100)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--workers", type=int, default=os.cpu_count())
    parser.add_argument("--keep", default="", metavar="FOLDER")
    parser.add_argument("--kinds", default=",".join(KINDS))
    options = parser.parse_args()
    work = [
        (kind, seed, options.keep)
        for kind in options.kinds.split(",")
        for seed in range(options.first, options.first + options.seeds)
    ]
    total: Counter[tuple[str, str]] = Counter()
    with ProcessPoolExecutor(options.workers) as pool:
        for count in pool.map(count_one, *zip(*work, strict=True), chunksize=4):
            total.update(count)
    print(f"{'finding':40} measured  held   share   not measured")
    for key in sorted({key for key, _ in total} - {"changes"}):
        measured, held = total[key, "measured"], total[key, "held"]
        share = f"{held / measured:6.1%}" if measured else "   -"
        print(f"{key:40} {measured:8} {held:5}  {share}  {total[key, 'not measured']:6}")
    missed, invented = total["changes", "missed"], total["changes", "invented"]
    print(f"changes of the packs {total['changes', 'measured']}, missed {missed}, invented {invented}")
    return 1 if missed or invented else 0


if __name__ == "__main__":
    sys.exit(main())
