"""Each departure of packs and supplies rehearsed through the whole program: is every ramp measured, and what is stated right?

    python tests/benchmarks/through_program.py [--seeds 30] [--first 1] [--only "noisy-pack,averages 1 s"] [--keep FILE]

Three ramps of one sensor in this process, without transport: engine, watcher, journal and evaluation as in a run. What ``--keep`` has
is not rehearsed again. Counted of each departure: rehearsals in which all three trips and all three releases were measured;
findings that hold the truth of the simulated bench; statements (pass, fail) that the truth contradicts. Exit status 1: a statement
is wrong, or ramps are missing.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

APERTURES = {"averages 0.1 s": 0.1, "averages 1 s": 1.0}  # departures that are no scenario: s of the supply's window
DEPARTURES = (
    "sound",
    *APERTURES,
    "averaging-supply",
    "noisy-pack",
    "filtering-pack",
    "soft-turn-off",
    "keep-alive",
    "derating",
    "retrying",
    "pre-charge",
    "as-they-come",
)
NAMES = ("trip", "release", "hysteresis")
RAMPS, SEEDS_APART = 3, 1000
Row = dict[str, Any]


def one(work: tuple[str, int]) -> Row:
    """One rehearsal, as what is counted of it."""
    from runner.rehearsal.truth import truth_of
    from runner.workspace.job import find_procedure
    from tests.builders import rehearsed

    departure, seed = work
    aperture = APERTURES.get(departure)
    with tempfile.TemporaryDirectory() as out:
        run = rehearsed(
            Path(out),
            "sound" if aperture else departure,
            seed,
            procedure=find_procedure("charge-over-temperature"),
            changed=lambda truth: (
                truth if aperture is None else replace(truth, bench=replace(truth.bench, aperture=aperture))
            ),
        )
    row: Row = {"departure": departure, "seed": seed, "findings": []}
    for finding in run.result.evaluation.findings:
        if finding.name in NAMES:
            true = truth_of(finding.as_json(), run.truth)
            row["findings"].append(
                {
                    "name": finding.name,
                    "ramps": len(finding.repeats),
                    "value": finding.value,
                    "U": finding.expanded_uncertainty,
                    "true": true,
                    "inside": true is not None
                    and (finding.lower is None or true >= finding.lower)
                    and (finding.upper is None or true <= finding.upper),
                    "said": finding.conformity,
                    "reason": finding.reason,
                }
            )
    return row


def rows(work: list[tuple[str, int]], keep: str, workers: int) -> Iterator[Row]:
    """All rows; those that are kept first, new ones kept as they come."""
    path = Path(keep) if keep else None
    there = {}
    if path is not None and path.exists():
        lines = path.read_text(encoding="utf-8").splitlines()
        there = {
            (row["departure"], row["seed"]): row
            for row in map(json.loads, (each for each in lines if each.endswith("}")))
        }
    yield from (there[each] for each in work if each in there)
    with ProcessPoolExecutor(workers) as pool:
        for row in pool.map(one, [each for each in work if each not in there]):
            if path is not None:
                with path.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(row, ensure_ascii=False) + "\n")
            yield row


def counted(row: Row) -> tuple[Counter[str], list[str]]:
    """What a row adds to its departure's counts, and in words what is wrong with it."""
    count, wrong = Counter({"runs": 1}), []
    short = [each for each in row["findings"] if each["name"] != "hysteresis" and each["ramps"] < RAMPS]
    count["whole"] += not short
    wrong += [f"{each['name']}: {each['ramps']} ramps {each['reason']}".strip() for each in short]
    for each in row["findings"]:
        if each["value"] is None:
            continue
        count["measured"] += 1
        count["held"] += abs(each["value"] - each["true"]) <= each["U"]
        if (each["said"] == "pass" and not each["inside"]) or (each["said"] == "fail" and each["inside"]):
            wrong.append(f"{each['name']}: {each['said']}, true {each['true']:.2f}")
            count["wrong"] += 1
    return count, [f"{row['departure']}, seed {row['seed']}: {each}" for each in wrong]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=30)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--only", default="")
    parser.add_argument("--keep", default="", metavar="FILE")
    parser.add_argument("--workers", type=int, default=os.cpu_count())
    options = parser.parse_args()
    named = [each.strip() for each in options.only.split(",") if each.strip()] or list(DEPARTURES)
    if missing := set(named) - set(DEPARTURES):
        parser.error(f"no such departure: {', '.join(sorted(missing))}")
    seeds = {
        each: options.first + SEEDS_APART * DEPARTURES.index(each) for each in named
    }  # packs and probes of its own for each
    counts: dict[str, Counter[str]] = {}
    wrong: list[str] = []
    for row in rows(
        [(each, seeds[each] + number) for number in range(options.seeds) for each in named],
        options.keep,
        options.workers,
    ):
        count, said = counted(row)
        counts.setdefault(row["departure"], Counter()).update(count)
        wrong += said
    for departure in named:
        count = counts[departure]
        held = count["held"] / max(count["measured"], 1)
        print(
            f"{departure:18} runs {count['runs']:3}  all ramps {count['whole']:3}  findings {count['measured']:3}  "
            f"hold {100 * held:5.1f} %  statements that are wrong {count['wrong']}",
        )
    print("\n".join(wrong))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
