"""Which mistakes in measuring and in the engine would the fast tests let through? Random mutants, one at a time.

    python tests/benchmarks/mutants.py --count 200 --seed 1 [--keep FOLDER]

1.  The mutants are those of cosmic-ray. A place is drawn first and then one mutant of it: `a * b` weighs no more for its ten
    replacements.
2.  Left out by kind, because they change nothing or fall over at once whatever is tested: annotations; `strict=` and `frozen=`;
    `is` for `==` and back; bit operations on numbers; what does not compile without a warning.
3.  Judged by hand to change nothing: mutants_that_change_nothing.txt, each with its reason.
4.  A mutant is met by the tests that reach its line, the quickest first, as many as take BUDGET seconds together. One that
    takes far longer than they do is caught as well.
5.  All of it happens in a copy. What is kept in FOLDER is not run again, a survivor until a test has changed or come.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.pop(1)  # this folder, where coverage.py is another thing than the library of that name

from tests.benchmarks.choosing import Reached, chosen
from tests.benchmarks.mutating import Mutant, mutants
from tests.benchmarks.reaching import Child, Copy

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
ROOMS = ("runner/measure", "runner/engine")
BUDGET = 150.0  # s of tests a mutant, as they take while their lines are looked at: about 50 s without
WANTED = 0.85  # share that has to be caught
SAME = HERE / "mutants_that_change_nothing.txt"


def judged() -> dict[tuple[str, ...], str]:
    """The mutants that change nothing, and why: path, lines taken out, lines put in."""
    found = {}
    for block in SAME.read_text(encoding="utf-8").split("\n\n"):
        lines = [line for line in block.splitlines() if line and not line.startswith("#")]
        if lines:
            path, *rest = lines
            diff = [line[0] + line[1:].strip() for line in rest if line[0] in "-+"]
            found[(path, *diff)] = " ".join(line.strip() for line in rest if line[0] not in "-+")
    return found


def gone(same: dict[tuple[str, ...], str]) -> list[str]:
    """Those of ``judged`` whose line is no longer there: they say nothing of the program as it is."""
    found = []
    for path, *diff in same:
        file = ROOT / path
        lines = {line.strip() for line in file.read_text(encoding="utf-8").splitlines()} if file.exists() else set()
        found += [f"{path}: {line[1:]}" for line in diff if line[0] == "-" and line[1:] not in lines]
    return found


def drawn(seed: int) -> Iterator[Mutant]:
    """One mutant of each place, the places in random order."""
    places: dict[tuple[str, int, int], list[Mutant]] = {}
    for room in ROOMS:
        for path in sorted((ROOT / room).rglob("*.py")):
            for mutant in mutants(path, str(path.relative_to(ROOT))):
                places.setdefault(mutant.place, []).append(mutant)
    chance = random.Random(seed)
    order = sorted(places)
    chance.shuffle(order)
    for place in order:
        several = places[place]
        chance.shuffle(several)
        yield from (mutant for mutant in several[:1] if mutant.compiles)


class Kept:
    """What was found before, a line a mutant."""

    def __init__(self, path: Path, tests: str) -> None:
        """``tests``: the tests that there are now; others may catch what survived before."""
        self.path, self.tests = path, tests
        self.known: dict[str, dict[str, object]] = {}
        for line in path.read_text(encoding="utf-8").splitlines() if path.exists() else ():
            result = json.loads(line)
            if result["caught"] or result.get("tests") == tests:
                self.known[result["key"]] = result

    def add(self, result: dict[str, object]) -> None:
        result = {**result, "tests": self.tests}
        with self.path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(result, ensure_ascii=False) + "\n")
        self.known[str(result["key"])] = result


def meet(mutant: Mutant, copy: Copy, reached: Reached) -> dict[str, object]:
    """Put the mutant into the copy, run the tests that reach it, take it out."""
    tests = chosen(mutant, reached, BUDGET)
    usual = sum(reached.seconds[test] for test in tests)
    if not tests:
        return {"caught": False, "by": "no test reaches it", "seconds": 0.0}
    with copy.changed(mutant.path, mutant.mutated):
        child = Child(copy, tests, limit=min(180.0, 15.0 + 3.0 * usual))
    if child.status not in (0, 1, 2):
        raise SystemExit(f"pytest ended with {child.status} on {mutant.where}: see {child.log}")
    return {"caught": child.status != 0, "by": child.failed, "seconds": round(child.seconds, 1)}


def main() -> int:
    """Draw, meet, count; 1 if fewer than WANTED are caught."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=None)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="mutants-") as scratch:
        keep = options.keep or Path(scratch)
        keep.mkdir(parents=True, exist_ok=True)
        same = judged()
        for line in gone(same):
            print(f"{SAME.name}: no longer there: {line}")
        copy = Copy(ROOT, Path(scratch) / "copy")
        reached = Reached(copy, ROOMS, keep / "reached.json")
        kept = Kept(keep / "results.jsonl", reached.stamp)
        results: list[tuple[Mutant, dict[str, object]]] = []
        nothing = 0
        for mutant in drawn(options.seed):
            if len(results) == options.count:
                break
            if mutant.diff in same:
                nothing += 1
                continue
            key = sha256(mutant.mutated.encode()).hexdigest()[:16]
            if key not in kept.known:
                kept.add({"key": key, "where": mutant.where, "diff": mutant.diff, **meet(mutant, copy, reached)})
            result = kept.known[key]
            results.append((mutant, result))
            if not result["caught"]:
                print(f"{mutant.where} survives {result['seconds']} s: {result['by']}")
                print("    " + "\n    ".join(mutant.diff[1:]), flush=True)
            elif len(results) % 20 == 0:
                print(f"… {len(results)}", flush=True)
    caught = sum(bool(result["caught"]) for _, result in results)
    late = sum("too long" in str(result["by"]) for _, result in results)
    print(f"seed {options.seed}: {len(results)} mutants, {nothing} more change nothing")
    print(f"caught {caught} ({late} of them by taking too long): {caught / max(1, len(results)):.1%}")
    return int(caught < WANTED * len(results))


if __name__ == "__main__":
    sys.exit(main())
