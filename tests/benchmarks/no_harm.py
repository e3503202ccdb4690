"""Two thousand random procedures on random sheets, on a pack without protections: is a cell or a sensor ever harmed?

    python tests/benchmarks/no_harm.py [--count 2000] [--first 0]

Prints how many were refused, how many ran, the lowest and highest cell voltage, and the hottest sensor against its ceiling.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.harmless import outcome

LOWEST, HIGHEST, MARGIN = 2.0, 3.9, 2.0  # V, V, K


def main() -> int:
    """Count, print; 1 if one came to harm."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    seeds = range(options.first, options.first + options.count)
    with ProcessPoolExecutor(2) as pool:
        outcomes = list(pool.map(outcome, seeds, chunksize=20))
    ran = [(seed, each) for seed, each in zip(seeds, outcomes, strict=True) if not each.refused]
    harmed = [
        (seed, each)
        for seed, each in ran
        if each.lowest < LOWEST or each.highest > HIGHEST or each.hottest > each.ceiling + MARGIN
    ]
    print(f"{len(outcomes)} procedures: {len(outcomes) - len(ran)} refused, {len(ran)} ran")
    print(f"cells between {min(each.lowest for _, each in ran):.3f} and {max(each.highest for _, each in ran):.3f} V")
    print(f"hottest sensor {max(each.hottest - each.ceiling for _, each in ran):+.2f} K from its ceiling")
    for why, count in Counter(each.reason.split(" is ")[0][:60] for _, each in ran).most_common(12):
        print(f"  {count:5} {why or 'still going on after an hour'}")
    for seed, each in harmed:
        print(f"HARM: seed {seed}: {each}")
    return int(bool(harmed))


if __name__ == "__main__":
    sys.exit(main())
