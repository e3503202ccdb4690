"""What evidence costs: the time of a certificate with and without it, the size of its PDF, and verifying against reading.

    python tests/benchmarks/evidence_cost.py SESSION [--repeats 3]

SESSION is a session folder (``tripwitness rehearse --all --unattended`` makes one); it is copied. Printed are CPU seconds, medians of
the repeats, which take turns. Exit status 1: the PDF has more than 3 MB, evidence more than doubles the time, or verifying the
longest run takes more than twice what reading its records takes.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

LARGEST_MB, MOST_TIMES = 3.0, 2.0


def main() -> int:
    """Print the figures; the exit status."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("session")
    parser.add_argument("--repeats", type=int, default=3)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        os.environ["TRIPWITNESS_KEYS"] = f"{place}/keys"
        return _measured(Path(shutil.copytree(options.session, f"{place}/session")), Path(place), options.repeats)


def _measured(session: Path, place: Path, repeats: int) -> int:
    from reports.certificate import write_certificate
    from runner.evaluation.evaluate import worked_out
    from runner.record.folder import RunFolder
    from runner.record.journal import read_journal
    from runner.record.samples import read_samples
    from runner.seal.pdf import carried, signed
    from runner.seal.station_key import station_key
    from runner.seal.verify import verify
    from runner.workspace.session import Session

    opened = Session.of(session)
    assert opened is not None
    runs = [worked_out(folder) for folder in opened.folders()]
    key = station_key()
    folders = {name: place / name for name in ("plain", "sealed")}
    for folder in folders.values():
        folder.mkdir()

    def with_evidence() -> Any:
        attached = carried(session)
        finish = lambda document: signed(document, key)  # noqa: E731
        return write_certificate(
            runs, folders["sealed"], "2026-11-26", attached=attached, finish=finish, evidence="0" * 64
        )

    ways = {"without": lambda: write_certificate(runs, folders["plain"], "2026-11-26"), "with": with_evidence}
    taken = _in_turns(ways, repeats)
    size = (folders["sealed"] / "certificate.pdf").stat().st_size / 1e6
    ratio = taken["with"] / taken["without"]
    print(
        f"certificate of {len(runs)} runs: {taken['without']:.2f} s without evidence, {taken['with']:.2f} s with: x {ratio:.2f}"
    )
    print(f"its PDF: {size:.2f} MB (at most {LARGEST_MB:g})")
    longest = max(opened.folders(), key=lambda each: (each.path / "samples.csv").stat().st_size)
    files = [path for path in longest.path.rglob("*") if path.is_file()]
    ways = {
        "verify": lambda: verify(longest.path, None),
        "bytes": lambda: [path.read_bytes() for path in files],
        "records": lambda: (
            list(read_journal(longest.path / "events.jsonl")),
            read_samples(longest.path / "samples.csv"),
        ),
    }
    taken |= _in_turns(ways, 20 * repeats)
    times = taken["verify"] / (taken["records"] + taken["bytes"])
    lasted = worked_out(RunFolder(longest.path)).recording.channels["supply_current_A"].t[-1] / 60
    print(
        f"verify of {longest.number} ({lasted:.0f} min): {1e3 * taken['verify']:.1f} ms; reading bytes {1e3 * taken['bytes']:.1f} ms, "
        f"reading journal and samples {1e3 * taken['records']:.1f} ms: x {times:.2f}"
    )
    return int(size > LARGEST_MB or ratio > MOST_TIMES or times > MOST_TIMES)


def _in_turns(ways: dict[str, Callable[[], Any]], repeats: int) -> dict[str, float]:
    """The median CPU seconds of each, one after the other again and again."""
    found: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(repeats):
        for name, way in ways.items():
            began = time.process_time()
            way()
            found[name].append(time.process_time() - began)
    return {name: statistics.median(each) for name, each in found.items()}


if __name__ == "__main__":
    sys.exit(main())
