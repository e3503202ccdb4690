"""Break a run off at random instants, go on with it, and hold what comes out against the unbroken run.

    python tests/benchmarks/resume_anywhere.py [--instants 50] [--first 1]

Half of the runs are of a temperature procedure, half of a capacity test. A finding agrees if the two differ by no more than
1.5 times their expanded uncertainties together; how long the pack takes to come back is held against what the broken pack
really took, because a rest in the middle of a discharge changes that. Also counted: runs in which the pack was emptied twice (there may be none).
"""

from __future__ import annotations

import argparse
import os
import random
import sys
import tempfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

LENGTHS = {"ramp": 300.0, "capacity": 4300.0}  # s that the runs take unbroken, roughly


def one(seed: int) -> Counter[str]:
    """One broken run, counted."""
    from tests.broken_off import broken_run, gone_on
    from tests.builders import SHORT_PROCEDURE, quick_capacity, rehearsed, user_file

    dice = random.Random(f"break {seed}")
    kind = "ramp" if seed % 2 else "capacity"
    procedure = user_file("p.yaml", SHORT_PROCEDURE) if kind == "ramp" else quick_capacity()
    more = {"sensors": ("T1",)} if kind == "ramp" else {"sensors": (), "state_of_charge": 0.98}
    instant = dice.uniform(1.0, LENGTHS[kind])
    count: Counter[str] = Counter({f"{kind} broken off": 1})
    with tempfile.TemporaryDirectory() as out:
        whole = rehearsed(Path(out) / "whole", procedure=procedure, **more)
        try:
            broken = broken_run(Path(out) / "broken", procedure, instant, **more)
        except AssertionError:
            return Counter({f"{kind} was over before": 1})
        result = gone_on(broken)
        for finding in whole.result.evaluation.findings:
            mine = [each for each in result.evaluation.findings if each.name == finding.name]
            count["findings"] += 1
            good = bool(mine) and (
                _came_back(mine[0], broken.world) if finding.name == "recovery time" else _agree(finding, mine[0])
            )
            count["agree"] += good
            if not good:
                print(kind, f"{instant:.0f} s", finding.name, finding.value, mine and (mine[0].value, mine[0].reason))
        count["emptied twice"] += broken.world.charge_total > 1.2 * broken.world.truth.pack.capacity
        count["left on"] += broken.world.supply_on or broken.world.load_on
    return count


def _came_back(finding, world) -> bool:
    """Whether the time to come back is what the pack took after its last cut-off."""
    changes = [change for change in world.pack.system.changes if change["kind"] == "under_voltage"]
    if len(changes) < 2 or finding.value is None:
        return finding.value is None
    return abs(finding.value - (changes[-1]["t"] - changes[-2]["t"])) <= 1.5 * finding.expanded_uncertainty


def _agree(one, other) -> bool:
    if one.value is None or other.value is None:
        return one.value is other.value
    return abs(one.value - other.value) <= 1.5 * (one.expanded_uncertainty**2 + other.expanded_uncertainty**2) ** 0.5


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--instants", type=int, default=50)
    parser.add_argument("--first", type=int, default=1)
    options = parser.parse_args()
    seeds = range(options.first, options.first + options.instants)
    total: Counter[str] = Counter()
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for count in pool.map(one, seeds):
            total += count
    for name in sorted(total):
        print(f"{name:20} {total[name]}")
    good = total["agree"] == total["findings"] and not total["emptied twice"] and not total["left on"]
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
