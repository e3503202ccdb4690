"""Changes at random places in a sealed run, session and PDF, each class by itself: how many are found and named.

    python tests/benchmarks/tampered.py [--count 500] [--seed 1] [--only "a sample,row order"]

Each class is changed in one copy, in process, and put back; "nothing" is looked at as often. A change that happens to give the
same bytes is drawn again. ``sha256sum --check`` has to agree with what was put back. Exit status 1: a change was not found, not
named, or what was untouched was said to be changed.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

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
        return _all(Path(place), options)


def _all(place: Path, options: argparse.Namespace) -> int:
    from runner.seal.pdf import verify_pdf
    from runner.seal.signers import known
    from runner.seal.verify import verify
    from tests.tampering import PDFS, RUN, SESSIONS, Copy, sealed_run, sealed_session

    run = Copy(sealed_run(place / "out"), place / "run")
    session = Copy(sealed_session(place / "sessions"), place / "session")
    keys = known()
    groups: list[tuple[Mapping[str, Any], Copy, Callable[[], Any]]] = [
        (RUN, run, lambda: verify(run.path, keys)),
        (SESSIONS, session, lambda: verify(session.path, keys)),
        (PDFS, run, lambda: verify_pdf(run.path / "certificate.pdf", keys)),
    ]
    wanted, missed = [name for name in options.only.split(",") if name], 0
    for classes, copy, look in groups:
        for name, change in classes.items():
            if not wanted or name in wanted:
                missed += not _row(name, change, copy, look, options)
        if not wanted:
            missed += not _untouched(copy, look, options.count)
    return 1 if missed else 0


def _row(name: str, change: Any, copy: Any, look: Callable[[], Any], options: argparse.Namespace) -> bool:
    """One line of the table; whether it is as it must be."""
    began, found, named, number, drawn = time.process_time(), 0, 0, 0, 0
    while number < options.count:
        expected = change(copy, random.Random(f"{name} {options.seed} {drawn}"))
        drawn += 1
        if copy.changed:
            differences = _differences(look)
            found += bool(differences)
            named += any(expected in each for each in differences)
            number += 1
            if expected not in str(differences):
                print(f"  {name} {drawn - 1}: {expected} is not in {differences}")
        copy.restore()
    seconds = time.process_time() - began
    print(f"{name:30} {number:5}  found {found:5}  named {named:5}  {seconds:6.1f} CPU-s", flush=True)
    return found == named == number


def _differences(look: Callable[[], Any]) -> list[str]:
    """What is said to differ; a file that is refused altogether is one difference."""
    from runner.errors import RecordError

    try:
        return look().differences
    except RecordError as error:
        return [str(error)]


def _untouched(copy: Any, look: Callable[[], Any], count: int) -> bool:
    """That what was put back is whole as often as it is looked at, by this program and by sha256sum."""
    found = sum(look().status != 0 for _ in range(count))
    print(f"{'nothing':30} {count:5}  found {found:5}", flush=True)
    lists = [path for name in ("EVIDENCE.SHA256SUMS", "SHA256SUMS") for path in copy.path.glob(name)]
    for path in lists if shutil.which("sha256sum") else []:
        command = ["sha256sum", "--check", "--strict", "--quiet", path.name]
        found += subprocess.run(command, cwd=copy.path, check=False).returncode
    return not found


if __name__ == "__main__":
    sys.exit(main())
