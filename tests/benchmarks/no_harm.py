"""Two thousand random procedures of each chemistry on random sheets, on packs without protections: is a cell or a sensor harmed?

    python tests/benchmarks/no_harm.py [--count 2000] [--first 0] [--chemistry LFP ...]

Prints for each chemistry how many were refused, how many ran, the lowest and highest cell voltage with what a cell of it never has,
and the hottest sensor against its ceiling.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from runner.sheets.chemistry import CHEMISTRIES, Chemistry
from tests.harmless import outcome

MARGIN = 2.0  # K


def main() -> int:
    """Count, print; 1 if one came to harm."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--chemistry", nargs="*", default=[each.name for each in CHEMISTRIES])
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    seeds = range(options.first, options.first + options.count)
    with ProcessPoolExecutor(options.processes) as pool:
        harmed = [of_one(chemistry, seeds, pool) for chemistry in CHEMISTRIES if chemistry.name in options.chemistry]
    return int(any(harmed))


def of_one(chemistry: Chemistry, seeds: range, pool: ProcessPoolExecutor) -> bool:
    """All of one chemistry, printed; whether one came to harm."""
    outcomes = list(pool.map(partial(outcome, chemistry=chemistry.name), seeds, chunksize=20))
    ran = [(seed, each) for seed, each in zip(seeds, outcomes, strict=True) if not each.refused]
    below, above = chemistry.never
    harmed = [
        (seed, each)
        for seed, each in ran
        if each.lowest < below or each.highest > above or each.hottest > each.ceiling + MARGIN
    ]
    lowest, highest = min(each.lowest for _, each in ran), max(each.highest for _, each in ran)
    hottest = max(each.hottest - each.ceiling for _, each in ran)
    print(
        f"{chemistry.name}: {len(outcomes)} procedures, {len(outcomes) - len(ran)} refused, {len(ran)} ran, {len(harmed)} did harm; "
        f"cells {lowest:.3f} to {highest:.3f} V (never below {below:g}, above {above:g}); hottest sensor {hottest:+.2f} K from its ceiling",
        flush=True,
    )
    for why, count in Counter(each.reason.split(" is ")[0][:60] for _, each in ran).most_common(6):
        print(f"  {count:5} {why or 'still going on after an hour'}")
    for seed, each in harmed:
        print(f"  HARM: seed {seed}: {each}")
    return bool(harmed)


if __name__ == "__main__":
    sys.exit(main())
