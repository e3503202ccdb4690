"""Changes at random places in a sealed run, each class by itself: how many are found and named, and how many untouched copies are.

    python tests/benchmarks/tampered.py [--count 500] [--seed 1] [--only "a sample,row order"]

Exit status 1: a change was not found, not named, or an untouched copy was.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))


def main() -> int:
    """Print the table; the exit status."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        os.environ["TRIPWITNESS_KEYS"] = f"{place}/keys"
        return _count(Path(place), options)


def _count(place: Path, options: argparse.Namespace) -> int:
    from runner.certifying import make_certificate
    from runner.evaluation.evaluate import evaluate
    from runner.seal.signers import known
    from runner.seal.verify import verify
    from tests.builders import short_rehearsal
    from tests.tampering import CHANGES, copied

    run = short_rehearsal(place / "out").result.folder
    for _ in range(2):
        make_certificate([evaluate(run)], run.path)
    keys, missed = known(), 0
    names = [name for name in options.only.split(",") if name] or [*CHANGES, "nothing"]
    for name in names:
        began, found, named = time.process_time(), 0, 0
        for number in range(options.count):
            folder = copied(run.path, place / "copy")
            before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
            dice = random.Random(f"{name} {options.seed} {number}")
            expected = CHANGES[name](folder, dice) if name in CHANGES else ""
            after = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
            verified = verify(folder, keys)
            found += bool(verified.differences) or (name in CHANGES and before == after)
            named += any(expected in each for each in verified.differences) if expected else 0
            shutil.rmtree(place / "copy")
        right = found == named == options.count if name in CHANGES else found == 0
        missed += not right
        print(
            f"{name:24} {options.count:5}  found {found:5}  named {named:5}  {time.process_time() - began:6.1f} CPU-s"
        )
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
