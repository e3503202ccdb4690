"""People with nothing on a cable: do the intervals hold what was true, and does everything end confirmed off?

    python -m tests.benchmarks.by_hand [--records 1000] [--accidents 210] [--jobs 60] [--processes 2] [--first 1]

First random records of ramps that are marked and of readings that are typed, half of the ramps by a person who is slower than
declared; then records in which a mark goes wrong; then whole jobs, unattended, on the six packs and the demo pack in turn, one sensor each. Prints the share of intervals that
hold the truth, by finding; 1 if a run ended without everything confirmed off, or a threshold moved by more than its U unsaid.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter, defaultdict
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import partial

from runner.measure.finding import Finding
from runner.workspace.job import DEMO_PACK
from tests.benchmarks.six_packs import PACKS, Row, rehearse
from tests.marked_ramps import drawn, found_in, said_of, spoiled
from tests.typed_readings import charge, cut_off

Held = dict[str, list[bool]]


def of_ramps(seed: int) -> Held:
    """Trip, release and hysteresis of one record of marked ramps."""
    record, true = drawn(seed, slow_person=seed % 2 == 0)
    true["hysteresis"] = true["trip"] - true["release"]
    return {name: [_holds(finding, true[name])] for name, finding in found_in(record).items()}


def of_typed(seed: int) -> Held:
    """A charge and a cut-off of typed readings."""
    kinds: dict[str, Callable[[int], tuple[Finding, float]]] = {
        "charge put in": charge,
        "cut-off": cut_off,
        "cut-off, delay not on the sheet": partial(cut_off, delays=(0.05, 10.0)),
    }
    return {name: [_holds(*kind(seed))] for name, kind in kinds.items()}


def _holds(finding: Finding, true: float) -> bool:
    assert finding.value is not None, finding.reason
    assert finding.expanded_uncertainty is not None
    return abs(finding.value - true) <= finding.expanded_uncertainty


def of_accidents(seed: int) -> tuple[str, str]:
    """(which accident with a mark, what came of it) for the trip and the release together, the worse of the two."""
    record, _ = drawn(seed)
    broken, what = spoiled(record, seed)
    before, after = found_in(record), found_in(broken)
    worst = "within its U"
    for name in ("trip", "release"):
        one, other = after[name], before[name]
        said = said_of(one, other)
        moved = one.value is not None and abs(one.value - (other.value or 0.0)) > (one.expanded_uncertainty or 0.0)
        worst = "MOVED UNSAID" if moved and not said else "said" if said and worst == "within its U" else worst
    return what, worst


def job(seed: int) -> Row:
    """A whole job on one pack, one sensor, nobody at the bench."""
    packs = [*PACKS, DEMO_PACK]
    return rehearse(packs[seed % len(packs)], seed, more=("--nothing-wired", "--sensor", "T1"))


def main() -> int:
    """Count and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--records", type=int, default=1000)
    parser.add_argument("--jobs", type=int, default=60)
    parser.add_argument("--accidents", type=int, default=210)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--first", type=int, default=1)
    options = parser.parse_args()
    held: Held = defaultdict(list)
    with ProcessPoolExecutor(options.processes) as pool:
        half = range(options.first, options.first + options.records // 2)
        for one in (*pool.map(of_ramps, half, chunksize=10), *pool.map(of_typed, half, chunksize=10)):
            for name, each in one.items():
                held[name] += each
        for name, each in held.items():
            print(f"{name:14} {100 * sum(each) / len(each):5.1f} % of {len(each)} hold the truth", flush=True)
        accidents = Counter(
            pool.map(of_accidents, range(options.first, options.first + options.accidents), chunksize=10)
        )
        for (what, came), count in sorted(accidents.items()):
            print(f"accident with a mark: {what:13} {came:13} {count:4}", flush=True)
        checked = within = unconfirmed = 0
        statuses: Counter[int] = Counter()
        for number, row in enumerate(pool.map(job, range(options.first, options.first + options.jobs))):
            checked, within = checked + row.checked, within + row.checked - len(row.misses)
            unconfirmed += row.unconfirmed
            statuses[row.status] += 1
            missed = "".join(
                f"; {procedure} {name} {sensor} {away:+.2f} U" for procedure, name, sensor, away in row.misses
            )
            print(
                f"job {options.first + number}: {row.procedures} runs, {row.checked} values, {len(row.misses)} miss{missed}",
                flush=True,
            )
    every = [each for one in held.values() for each in one]
    total, held_all = len(every) + checked, sum(every) + within
    if options.jobs:
        print(
            f"jobs: {within} of {checked} values hold the truth ({100 * within / max(checked, 1):.1f} %); status {dict(statuses)}"
        )
    print(
        f"together: {100 * held_all / max(total, 1):.1f} % of {total}; runs that did not end confirmed off: {unconfirmed}"
    )
    unsaid = sum(count for (_, came), count in accidents.items() if came == "MOVED UNSAID")
    return int(unconfirmed > 0 or unsaid > 0)


if __name__ == "__main__":
    sys.exit(main())
