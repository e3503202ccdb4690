"""The watcher's words on records of a world that shares nothing with it: right, missed, invented, by kind.

    python tests/benchmarks/foreign_words.py [--records 5000] [--first 0] [--kind NAME] [--list]

Plain stops (transistor, contactor, soft gate; a reading that is new at each polling): the RMS error of their instants. A path
takes up to 50 ms to open: its instant is when one that opens at once would have let as much through. Where the meter's window is known, against the least there is: h/√12 for windows up to the interval h, else the deviation that the readings
leave. Where it is found out from the one stop, where in its window a stamp is as well, against the deviation that is stated.

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
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))


PLAIN = ("transistor", "contactor", "soft gate")
SLOWEST = 0.06  # s that a path of these takes to open, and a little more
Row = tuple[int, str, float, float, list[str], bool, list[tuple[float, float]]]


def opened(one: Any, change: Any) -> float:
    """s: when a path that opens at once would have let through as much as the one of this change did."""
    flowed = one.world.pack.integral(np.array([change.t, change.t + SLOWEST]))
    return float(change.t + (flowed[1] - flowed[0]) / one.set_current)


def errors(one: Any) -> list[tuple[float, float]]:
    """The errors of the instants of a record's plain stops.

    With the window that the meter has, as a share of the least deviation there is; with what the run finds out of the window from
    this one stop, as a share of the deviation that it states.
    """
    from runner.events import SUPPLY_CURRENT
    from runner.measure.fits.averaging import instant_of, learned, of_window, unknown
    from runner.measure.fits.edge import find_edge, find_fall
    from runner.measure.recording import Series
    from runner.vocabulary import WatchWord
    from tests.foreign.score import watched

    if one.kind not in PLAIN or one.renewal:
        return []
    read = [(each.t, each.readings[SUPPLY_CURRENT]) for each in one.samples if SUPPLY_CURRENT in each.readings]
    current = Series(*(np.array(column) for column in zip(*read, strict=True)))
    found = []
    for change in one.changes:
        said = [v.since for _, v in watched(one) if v.word == WatchWord.STOPPED and abs(v.since - change.t) < 5.0]
        if change.what != "opens" or not said:
            continue
        fall = find_fall(current, said[0], one.on_at)
        meter = learned(unknown(one.interval), [fall] if fall is not None else [])
        edge = find_edge(current, said[0], rising=False, meter=meter, begin=one.on_at)
        if fall is None or edge is None:
            continue
        known, least = instant_of(fall, of_window(one.aperture, one.stamp))
        if one.aperture <= one.interval:
            least = one.interval / 12**0.5
        at = opened(one, change)
        found.append(((known - at) / least, (edge.instant - at) / edge.uncertainty))
    return found


def part(seeds: range, kind: str) -> list[Row]:
    """(seed, kind, interval, aperture, what was wrong, whether it could not tell, errors of instants) of each record."""
    from tests.foreign.score import scored
    from tests.foreign.world import record

    found = []
    for seed in seeds:
        one = record(seed, kind)
        score = scored(one)
        found.append((seed, one.kind, one.interval, one.aperture, score.wrong, score.unclear, errors(one)))
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
    for seed, kind, interval, aperture, what, _, _ in rows:
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
    for name, wide in (("up to the interval", False), ("longer", True)):
        shares = np.array([share for row in rows if (row[3] > row[2]) is wide for share in row[6]])
        if len(shares):
            known, found = np.sqrt(np.mean(shares**2, axis=0))
            print(
                f"plain stops, window {name}: {len(shares)}, RMS error {known:.2f} of the least there is where it is known;"
            )
            print(f"    where it is found out from the one stop, {found:.2f} of the deviation that is stated")
    return 0 if right >= 0.99 and invented == 0 and unclear <= 0.05 else 1


if __name__ == "__main__":
    sys.exit(main())
