"""Is every *fail* deserved? Random rehearsals with faults, thresholds about the limits, and protections that are missing.

    python tests/benchmarks/fails.py [--count 600] [--first 0]

Prints every *fail* of a truth that is inside its limits by more than U, and how often one that is nearer is failed, beside the
risk that the rule states.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.undeserved import UNDESERVED, rate, trial

STATED = 0.025


def main() -> int:
    """Count, print; 1 if one was undeserved or the risk is exceeded beyond chance."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=600)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    with ProcessPoolExecutor(2) as pool:
        trials = list(pool.map(trial, range(options.first, options.first + options.count), chunksize=5))
    verdicts = Counter(fail.verdict for each in trials for fail in each.fails)
    failed, near = rate(trials)
    print(
        f"{len(trials)} runs, {sum(each.judged for each in trials)} findings measured and judged; fails: {dict(verdicts)}"
    )
    print(f"exit status {dict(sorted(Counter(each.status for each in trials).items()))}")
    print(f"truth inside a limit by less than U: {near}, of these failed: {failed} (stated at most {STATED:.1%})")
    bad = [(each, fail) for each in trials for fail in each.fails if fail.verdict == UNDESERVED]
    for each, fail in bad:
        print(f"{each.what}\n    {fail}\n    {each.ended}")
    allowed = STATED * near + 3 * (STATED * near) ** 0.5
    return int(bool(bad) or failed > allowed)


if __name__ == "__main__":
    sys.exit(main())
