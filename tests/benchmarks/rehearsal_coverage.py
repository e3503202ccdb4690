"""Is the stated uncertainty honest? Rehearse many simulated packs and count how often the stated interval holds the truth.

    python tests/benchmarks/rehearsal_coverage.py [--seeds 100] [--first 1] [--scenario sound]

Also counted: trips and releases that the simulated pack made and the run did not see (missed), and those that the run saw
and the pack did not make (invented). Needs some minutes: an hour's procedure with two sensors is run for every seed.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

KIND = "charge_over_temperature"
NAMES = {"stopped": "trip", "returned": "release"}
BELONGS = (-0.5, 1.5)  # s from the pack's change to the first sample that shows it


def rehearse(seed: int, scenario: str) -> Counter[str]:
    """One rehearsal, counted."""
    from runner.conduct.clock import VirtualClock
    from runner.conduct.execute import execute
    from runner.conduct.files import DEMO_PACK, find_procedure, read_file
    from runner.conduct.ports import StopFlag
    from runner.conduct.rehearse import Rehearsal
    from runner.conduct.scripted import UNATTENDED, ScriptedOperator

    clock = VirtualClock()
    with (
        tempfile.TemporaryDirectory() as out,
        Rehearsal(read_file(DEMO_PACK), scenario, seed, clock.now) as rehearsal,
    ):
        job = rehearsal.job(find_procedure("charge-over-temperature"))
        result = execute(job, ScriptedOperator(UNATTENDED), clock, Path(out), StopFlag())
        truth = rehearsal.world.report()
    return counted(result.evaluation, truth)


def counted(evaluation, truth) -> Counter[str]:
    """What of the evaluation agrees with the truth."""
    count: Counter[str] = Counter()
    for finding in evaluation.findings:
        if finding.name not in ("trip", "release") or finding.value is None:
            continue
        true = truth["thresholds"][KIND][finding.sensor][finding.name]
        count[f"{finding.name} measured"] += 1
        count[f"{finding.name} held"] += abs(finding.value - true) <= finding.expanded_uncertainty
    changes = [change for change in truth["changes"] if change["kind"] == KIND]
    seen = [attempt for attempt in evaluation.recording.attempts if attempt.outcome in NAMES]
    for change in changes:
        count["missed"] += not any(_belong(attempt, change) for attempt in seen)
    for attempt in seen:
        count["invented"] += not any(_belong(attempt, change) for change in changes)
    count["changes"] += len(changes)
    return count


def _belong(attempt, change) -> bool:
    return NAMES[attempt.outcome] == change["change"] and BELONGS[0] <= attempt.at - change["t"] <= BELONGS[1]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=100)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--scenario", default="sound")
    options = parser.parse_args()
    seeds = range(options.first, options.first + options.seeds)
    total: Counter[str] = Counter()
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for count in pool.map(rehearse, seeds, [options.scenario] * len(seeds)):
            total += count
    for name in ("trip", "release"):
        held, measured = total[f"{name} held"], total[f"{name} measured"]
        share = f" ({held / measured:.1%})" if measured else ""
        print(f"{name}: the stated 95 % interval holds the true threshold in {held} of {measured}{share}")
    print(f"changes of the packs {total['changes']}, missed {total['missed']}, invented {total['invented']}")
    return 1 if total["missed"] or total["invented"] else 0


if __name__ == "__main__":
    sys.exit(main())
