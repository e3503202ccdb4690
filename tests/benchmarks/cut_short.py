"""Records cut at random bytes, as kills leave them, verified, gone on with and verified again.

    python tests/benchmarks/cut_short.py [--cuts 50] [--seed 1]

Beside real kills (tests/benchmarks/kill_trials.py), whose instants are few. Counted: "no seal; whole up to line n" before, whole
after. Exit status 1: one was otherwise.
"""

from __future__ import annotations

import argparse
import os
import random
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))


def main() -> int:
    """Print the counts; the exit status."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cuts", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        os.environ["TRIPWITNESS_KEYS"] = f"{place}/keys"
        counts = _counted(Path(place), options)
    for what, number in sorted(counts.items()):
        print(f"{number:5}  {what}")
    return int(counts["whole up to its line before"] != options.cuts or counts["whole after"] != options.cuts)


def _counted(place: Path, options: argparse.Namespace) -> Counter[str]:
    from runner.seal.signers import known
    from runner.seal.verify import verify
    from tests.builders import short_rehearsal
    from tests.cut_records import cut, finished

    source, counts = short_rehearsal(place / "out").result.folder.path, Counter[str]()
    for number in range(options.cuts):
        folder, lines = cut(source, place / str(number), random.Random(f"{options.seed} {number}"))
        before = verify(folder, known())
        right = before.status == 3 and f"events.jsonl: whole up to line {lines}" in before.said
        right = right and any("no seal" in each for each in before.unknown)
        finished(folder)
        after = verify(folder, known())
        counts["whole up to its line before"] += right
        counts["whole after"] += after.status == 0
        if not right or after.status != 0:
            print(number, lines, *before.lines(), *after.lines(), sep="\n")
    return counts


if __name__ == "__main__":
    sys.exit(main())
