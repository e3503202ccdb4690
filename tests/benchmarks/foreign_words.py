"""The watcher's words on records of a world that shares nothing with it: right, missed, invented, by kind.

    python tests/benchmarks/foreign_words.py [--records 5000] [--first 0] [--kind NAME] [--list]

Exit status 0: the right word in 99 % of the records or more, none invented, "cannot tell" in 5 % or less.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))


def part(seeds: range, kind: str) -> list[tuple[int, str, float, float, list[str], bool]]:
    """(seed, kind, interval, aperture, what was wrong, whether it could not tell) of each record."""
    from tests.foreign.score import scored
    from tests.foreign.world import record

    found = []
    for seed in seeds:
        one = record(seed, kind)
        score = scored(one)
        found.append((seed, one.kind, one.interval, one.aperture, score.wrong, score.unclear))
    return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--records", type=int, default=5000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--kind", default="")
    parser.add_argument("--jobs", type=int, default=os.cpu_count())
    parser.add_argument("--list", action="store_true", help="a line for each record that is wrong")
    options = parser.parse_args()
    last = options.first + options.records
    parts = [range(first, min(first + 100, last)) for first in range(options.first, last, 100)]
    with ProcessPoolExecutor(options.jobs) as pool:
        rows = [row for found in pool.map(partial(part, kind=options.kind), parts) for row in found]
    kinds, wrong, words = Counter[str](), Counter[str](), dict[str, Counter[str]]()
    for seed, kind, interval, aperture, what, _ in rows:
        kinds[kind] += 1
        wrong[kind] += bool(what)
        words.setdefault(kind, Counter()).update(what)
        if what and options.list:
            print(f"{kind}: seed {seed}, polled every {interval:g} s, aperture {aperture:.2g} s: {', '.join(what)}")
    for kind, count in sorted(kinds.items()):
        details = ", ".join(f"{what} {number}" for what, number in words[kind].most_common(4))
        print(f"{kind:28} {count:5}  right {100 * (1 - wrong[kind] / count):5.1f} %  {details}")
    right = 1 - sum(wrong.values()) / len(rows)
    invented = sum("invented" in " ".join(row[4]) for row in rows) / len(rows)
    unclear = sum(row[5] for row in rows) / len(rows)
    print(
        f"records {len(rows)}: right {100 * right:.2f} %, invented {100 * invented:.2f} %, cannot tell {100 * unclear:.1f} %"
    )
    return 0 if right >= 0.99 and invented == 0 and unclear <= 0.05 else 1


if __name__ == "__main__":
    sys.exit(main())
