"""Do the stated intervals hold on worlds that share nothing with the method? A table: finding × departure × coverage.

    python tests/benchmarks/foreign.py [--count 60] [--together 1000] [--seed 1] [--only "temperature;pack's noise"]
        [--keep FOLDER] [--json FILE]

A world (tests/foreign) draws a record and its truth; each departure from its plain case alone, then all together. ``--only`` names
worlds, departures or "world: departure", with a semicolon between them. ``--count`` is per departure, ``--together`` for all
of them together, where that is more; at the same ``--seed`` the same records are drawn. What ``--keep``
has is not worked out again, unless the method or the world has changed since.

A world joins by a line in WORLDS and one in tests/foreign/handed.py: a module with ``departures()`` and ``trial(seed, departure)``.

Columns: n findings; share measured, functional, not measured (of these, as far as the finding had a truth); coverage of those measured
with its 95 % interval (Wilson); of those functional; median expanded uncertainty; bias and scatter (standard deviation) of the error in
the finding's unit (of a charge or an energy in % of the truth), along the way in which what was measured moved (a lag that was not allowed for shows as a positive bias); the worst error in U with the number of its record, how many errors are above 2 U and above 4 U, and how many above 4 U Student's distribution with the finding's degrees of freedom expects. Exit status 1: a record broke the method.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import sys
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
from scipy.special import stdtr

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT))

WORLDS = {  # name -> its module
    "temperature": "tests.foreign.thermal.world",
    "box": "tests.foreign.box.world",
    "under-voltage": "tests.foreign.voltage.world",
    "discharge": "tests.foreign.discharge.world",
}
IN_PERCENT = (
    "A·s",
    "J",
)  # of what is as different from pack to pack as this, U and errors are shown as shares of the truth
KEPT = "records.jsonl"
LATEST = "table.json"
OWN = (
    ValueError,
    ArithmeticError,
    LookupError,
    TypeError,
    AttributeError,
    AssertionError,
)  # a record that breaks the method is counted

Work = tuple[str, str, int]  # world, departure, seed
Row = dict[str, Any]


def count_one(work: Work) -> Row:
    """One record through the method: its findings beside what is true."""
    from tests.foreign.handed import found

    world, departure, seed = work
    began = time.process_time()
    trial = import_module(WORLDS[world]).trial(seed, departure)
    row: Row = {"world": world, "departure": departure, "seed": seed, "findings": [], "failed": ""}
    try:
        for finding in found(trial):
            if finding.name not in trial.truth:
                continue
            row["findings"].append(
                {
                    "name": finding.name,
                    "seed": seed,
                    "unit": finding.unit,
                    "true": trial.truth[finding.name],
                    "value": finding.value,
                    "U": finding.expanded_uncertainty,
                    "k": finding.coverage_factor,
                    "dof": finding.as_json()["dof"],
                    "functional": finding.functional,
                    "along": trial.along.get(finding.name, 1.0),
                    "reason": finding.reason,
                }
            )
    except OWN as error:
        row["failed"] = f"{type(error).__name__}: {error}"
    return {**row, "cpu_s": round(time.process_time() - began, 4)}


def made_by() -> str:
    """What decides a row: the method and the worlds, as a digest."""
    from runner.evaluation.provenance import measuring

    world = hashlib.sha256(measuring().encode())
    for path in sorted((ROOT / "tests" / "foreign").rglob("*.py")):
        if not path.name.startswith("test_"):
            world.update(path.read_bytes())
    return world.hexdigest()[:16]


def wanted(only: str, count: int, first: int, together: int = 0) -> list[Work]:
    """All records to be counted. Raises SystemExit if ``only`` names what is not there."""
    from tests.foreign.trial import EVERYTHING

    named = [each.strip() for each in only.split(";") if each.strip()]
    work, used = [], set()
    for world, module in WORLDS.items():
        for departure in import_module(module).departures():
            names = {world, departure, f"{world}: {departure}"}
            if not named or names & set(named):
                used |= names & set(named)
                many = max(count, together) if departure == EVERYTHING else count
                work += [(world, departure, seed) for seed in range(first, first + many)]
    if missing := set(named) - used:
        raise SystemExit(f"no such world or departure: {', '.join(sorted(missing))}")
    return work


def rows(work: list[Work], keep: str, workers: int) -> Iterator[Row]:
    """The rows of all records; those that are kept are not worked out again, new ones are kept as they come."""
    stamp, there = made_by(), {}
    path = Path(keep) / KEPT if keep else None
    if path is not None and path.exists():
        for line in path.read_text(encoding="utf-8").splitlines():
            if not line.endswith("}"):
                continue  # the last one of a run that was stopped
            row = json.loads(line)
            if row["by"] == stamp:
                there[row["world"], row["departure"], row["seed"]] = row
    yield from (there[each] for each in work if each in there)
    left = [each for each in work if each not in there]
    if path is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor(workers) as pool:
        for row in pool.map(count_one, left, chunksize=8):
            if path is not None:
                with path.open("a", encoding="utf-8") as file:
                    file.write(json.dumps({**row, "by": stamp}, ensure_ascii=False) + "\n")
            yield row


def wilson(held: int, n: int) -> tuple[float, float]:
    """The 95 % interval of a share (Wilson 1927, J. Am. Stat. Assoc. 22, 209)."""
    if not n:
        return 0.0, 1.0
    z, p = 1.96, held / n
    middle, half = p + z * z / (2 * n), z * (p * (1 - p) / n + z * z / (4 * n * n)) ** 0.5
    return (middle - half) / (1 + z * z / n), (middle + half) / (1 + z * z / n)


def line_of(items: list[dict[str, Any]]) -> dict[str, Any]:
    """One line of the table."""
    n = len(items)
    seen = [each for each in items if each["value"] is not None]
    full = [each for each in seen if not each["functional"]]
    rough = [each for each in seen if each["functional"]]
    percent = items[0]["unit"] in IN_PERCENT
    sizes = [abs(each["true"]) / 100 if percent else 1.0 for each in full]
    errors = np.array([each["along"] * (each["value"] - each["true"]) / s for each, s in zip(full, sizes, strict=True)])
    wide = np.array([each["U"] / s for each, s in zip(full, sizes, strict=True)])
    held = int((np.abs(errors) <= wide).sum())
    ratios = np.abs(errors) / np.where(wide > 0, wide, np.nan)
    low, high = wilson(held, len(full))
    return {
        "n": n,
        "measured": len(full) / n,
        "functional": len(rough) / n,
        "not_measured": 1 - len(seen) / n,
        "coverage": held / len(full) if full else None,
        "coverage_low": low,
        "coverage_high": high,
        "coverage_functional": sum(abs(e["value"] - e["true"]) <= e["U"] for e in rough) / len(rough)
        if rough
        else None,
        "median_U": float(np.median(wide)) if full else None,
        "bias": float(np.mean(errors)) if full else None,
        "scatter": float(np.std(errors)) if full else None,
        "worst_in_U": float(np.nanmax(ratios)) if full else None,
        "worst_seed": full[int(np.nanargmax(ratios))]["seed"] if full else None,
        "above_2U": int((ratios > 2).sum()),
        "above_4U": int((ratios > 4).sum()),
        "above_4U_expected": float(sum(2 * stdtr(each["dof"] or 1e9, -4 * each["k"]) for each in full)),
        "unit": "%" if percent else items[0]["unit"],
    }


def table(all_rows: Iterable[Row]) -> dict[str, Any]:
    """The content of the JSON file: finding -> departure -> line, and what broke the method."""
    found: dict[str, dict[str, list[Row]]] = defaultdict(lambda: defaultdict(list))
    failed: dict[str, list[str]] = defaultdict(list)
    cpu = []
    for row in all_rows:
        cpu.append(row["cpu_s"])
        if row["failed"]:
            failed[f"{row['world']}: {row['departure']}"].append(f"seed {row['seed']}: {row['failed']}")
        for finding in row["findings"]:
            found[f"{row['world']}: {finding['name']}"][row["departure"]].append(finding)
    lines = {name: {each: line_of(items) for each, items in departures.items()} for name, departures in found.items()}
    return {
        "schema": 1,
        "findings": lines,
        "failed": failed,
        "records": len(cpu),
        "cpu_s": {"mean": float(np.mean(cpu)), "most": float(np.max(cpu))},
    }


HEAD = "  n  meas  func   not   coverage (95 %)    func.    median U      bias   scatter  worst/U (seed)  >2U >4U (expected)"


def printed(content: dict[str, Any]) -> None:
    """The table for people."""
    share = lambda value: "     -" if value is None else f"{100 * value:5.1f}%"  # noqa: E731
    for name, departures in content["findings"].items():
        print(f"\n{name:32}{HEAD}")
        for departure, a in departures.items():
            if a["coverage"] is None:
                numbers = ""
            else:
                numbers = f"{a['median_U']:11.4g} {a['bias']:+9.3g} {a['scatter']:9.3g} {a['worst_in_U']:8.2f} {a['worst_seed']:6} {a['above_2U']:4} {a['above_4U']:3} {a['above_4U_expected']:.2f}"
            print(
                f"{departure:31} {a['n']:4} {share(a['measured'])}{share(a['functional'])}{share(a['not_measured'])}  {share(a['coverage'])} "
                f"({100 * a['coverage_low']:3.0f}-{100 * a['coverage_high']:3.0f}) {share(a['coverage_functional'])} {numbers}"
            )
    for where, what in content["failed"].items():
        print(f"broke the method: {where}: {len(what)} ({what[0]})")
    print(
        f"\nrecords {content['records']}, CPU-s a record {content['cpu_s']['mean']:.3f}, at most {content['cpu_s']['most']:.2f}"
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--together", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1, help="the first number")
    parser.add_argument("--only", default="", metavar="NAMES")
    parser.add_argument("--keep", default="", metavar="FOLDER")
    parser.add_argument("--json", default="", metavar="FILE", help=f"default: {LATEST} in the folder that is kept")
    parser.add_argument("--workers", type=int, default=os.cpu_count())
    options = parser.parse_args()
    content = table(
        rows(wanted(options.only, options.count, options.seed, options.together), options.keep, options.workers)
    )
    from runner.evaluation.provenance import measuring

    content |= {
        "count": options.count,
        "together": max(options.together, options.count),
        "first_seed": options.seed,
        "method": measuring(),
    }
    printed(content)
    target = options.json or (str(Path(options.keep) / LATEST) if options.keep else "")
    if target:
        Path(target).write_text(json.dumps(content, ensure_ascii=False, indent=1), encoding="utf-8")
    return 1 if content["failed"] else 0


if __name__ == "__main__":
    sys.exit(main())
