"""How long the run's loop is ever held up, while a giant file is attached and hours of record are worked through beside it.

A run in real time on the simulated bench: charge on, then a hold point answered with a file of 95 MB, then an offer whose
forecast goes through a record of hours (that of a rehearsal, put in its place). Turns of the loop and the spaces between two
readings of the current are timed; the bound is three sample intervals. Then the guard's size and share of a core.

    python tests/benchmarks/turns.py [--seconds 20]
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from itertools import pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from runner.bench.off import Asked, OffWords
from runner.bench.replies import Reading
from runner.bench.transports.choose import Wiring
from runner.conduct.clock import ScaledClock
from runner.conduct.execute import execute
from runner.conduct.forecast import Foresight
from runner.conduct.interfaces import StopFlag
from runner.conduct.loop import Loop
from runner.conduct.site import Site
from runner.events import SUPPLY_CURRENT
from runner.guard.handle import Guard
from runner.guard.plan import Target
from runner.record.folder import RunFolder
from runner.record.samples import read_samples
from runner.rehearsal.scripted import ScriptedOperator
from runner.rehearsal.simulated_bench import Rehearsal
from runner.sheets.answers import Answers
from runner.workspace.job import DEMO_PACK, find_procedure, read_file
from tests.builders import SHORT_PROCEDURE, rehearsed, user_file

INTERVAL = 0.25  # s between two readings of the current while a trip may come
PACE = 1.0  # s between two while nothing is about to happen, as in this procedure
MEGABYTES = 95
PROCEDURE = (
    SHORT_PROCEDURE[: SHORT_PROCEDURE.index("        - heat")]
    + """\
        - inspect: {say: "Look at the lid. Is it", items: [whole]}
        - offer:
            say: Ten minutes.
            steps:
              - off
        - wait: {for: 5 s, say: Wait.}
        - off
findings: [trip]
"""
)


def main() -> int:
    """Measure, print, and say whether the bounds hold."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=20.0, help="how long the guard's share of a core is taken")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        hours = rehearsed(folder / "hours", procedure=find_procedure("charge-over-temperature"), sensors=())
        record = hours.result.folder
        rows = len(read_samples(record.path / "samples.csv"))
        turns, late, took = timed_run(folder, record)
    print(f"a file of {MEGABYTES} MB attached, a forecast from {rows} samples: {took:.0f} s in real time")
    print(
        f"turns of the loop: {len(turns)}, median {sorted(turns)[len(turns) // 2] * 1e3:.1f} ms, longest {max(turns):.3f} s"
    )
    print(f"readings of the current: late by at most {max(late):.3f} s; bound {3 * INTERVAL:g} s for both")
    size, share = guard_costs(options.seconds)
    print(f"guard: {size:.1f} MB (bound 60), {share:.2%} of a core (bound 1 %)")
    return int(max(*turns, *late) > 3 * INTERVAL or size > 60 or share > 0.01)


def timed_run(folder: Path, record: RunFolder) -> tuple[list[float], list[float], float]:
    """Seconds of each turn, by how many seconds each reading was late, seconds of the whole."""
    photo = folder / "lid.jpg"
    photo.write_bytes(os.urandom(1_000_000) * MEGABYTES)
    turns: list[float] = []
    once, foreseen = Loop._once, Foresight.__init__

    def timed(self: Loop) -> None:
        began = time.monotonic()
        once(self)
        turns.append(time.monotonic() - began)

    def with_hours(self: Foresight, program: object, _: RunFolder) -> None:
        foreseen(self, program, record)  # type: ignore[arg-type]

    Loop._once, Foresight.__init__ = timed, with_hours  # type: ignore[method-assign, assignment]
    began = time.monotonic()
    try:
        clock = ScaledClock(1.0)
        with Rehearsal(read_file(DEMO_PACK), "sound", 1, clock) as rehearsal:
            job = rehearsal.job(user_file("p.yaml", PROCEDURE), ("T1",))
            script = Answers(kind="answers", answers=("go on", "go on", f"good @{photo}"), then="go on", wait="2 s")
            result = execute(job, ScriptedOperator(script), Site(clock), folder / "runs", StopFlag())
    finally:
        Loop._once, Foresight.__init__ = once, foreseen  # type: ignore[method-assign]
    table = read_samples(result.folder.path / "samples.csv")
    times = table["t_s"][table[SUPPLY_CURRENT].notna()].tolist()
    return turns, [b - a - PACE for a, b in pairwise(times)], time.monotonic() - began


def guard_costs(seconds: float) -> tuple[float, float]:
    """(MB of memory, share of a core) of a guard that stands by."""
    words = OffWords("OUTP OFF", None, Asked("OUTP?", Reading("([01])")))
    guard = Guard([Target("supply", Wiring("TCPIP::127.0.0.1::9::SOCKET", "@py", 1.0), words)])
    with tempfile.TemporaryDirectory() as name:
        guard.armed(Path(name))
        guard.own()
        before, began = _processor(guard.process), time.monotonic()
        while time.monotonic() - began < seconds:
            guard.beat(0.2)
            time.sleep(0.05)
        share = (_processor(guard.process) - before) / (time.monotonic() - began)
        status = Path(f"/proc/{guard.process}/status").read_text()
        guard.stand_down()
    size = next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS"))
    return size / 1024, share


def _processor(process: int) -> float:
    fields = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


if __name__ == "__main__":
    sys.exit(main())
