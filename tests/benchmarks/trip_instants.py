"""Trip instants on ten thousand random records: invented, missed, RMS error against h/√12, coverage of the 95 % interval.

    python tests/benchmarks/trip_instants.py [--records 10000]

The distributions are those of tests/random_records.py.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))


def part(seeds: range) -> tuple[Counter[str], np.ndarray]:
    from tests.measure.test_edges_at_the_limit import score

    return score(seeds)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--records", type=int, default=10_000)
    options = parser.parse_args()
    parts = [range(first, min(first + 500, options.records)) for first in range(0, options.records, 500)]
    total: Counter[str] = Counter()
    errors: list[np.ndarray] = []
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for count, found in pool.map(part, parts):
            total += count
            errors.append(found)
    rms = float(np.sqrt(np.mean(np.concatenate(errors) ** 2)))
    coverage = total["held"] / total["edges"]
    print(f"records {options.records}, edges {total['edges']}")
    print(f"invented {total['invented']}, missed {total['missed']}, in the wrong order {total['wrong']}")
    print(f"RMS error / (h/√12) = {rms:.4f}")
    print(f"coverage of the 95 % interval = {coverage:.4f}")
    good = not (total["invented"] or total["missed"] or total["wrong"]) and rms <= 1.05 and 0.93 <= coverage <= 0.97
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
