"""Does drawing hold up sampling, and what does it cost? A run at 20 samples a second with and without its screen.

    python tests/benchmarks/drawing.py [--seconds 60]

The simulated bench is a process of its own at real speed. Three times the same: a bare PyVISA loop paced at 20 Hz and a run
that nobody watches, a minute each at most; and the same run with the app, 140 × 45, drawing ten times a second. Printed: the rates as ratios to the bare
loop's, the longest gap in intervals, and the processor time that the screen adds, as a share of one core.
"""

from __future__ import annotations

import argparse
import csv
import subprocess
import sys
import tempfile
import threading
import time
from itertools import pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

INTERVAL = 0.05  # s
COMPARED = 60.0  # s for which the runs without a screen go on at most
SLOW = 0.5  # s between two readings of the slow channels
PROCEDURE = """\
kind: procedure
name: drawing
title: Charging, to be drawn
purpose: to be drawn
needs: [supply]
cautions: [Be careful.]
ceilings: {{voltage: full charge voltage + 0.4 V, current: 0.15 C, time: 2 h}}
steps:
  - charge: {{voltage: full charge voltage, current: 0.1 C, until: time, for: {seconds} s, give_up: 2 h}}
findings: []
"""


def bare_loop(address: str, seconds: float) -> list[float]:
    """The times of a plain loop that asks for what one poll of the supply asks for."""
    import pyvisa

    manager = pyvisa.ResourceManager("@py")
    instrument = manager.open_resource(address, read_termination="\n", write_termination="\n", timeout=2000)
    times, due = [], time.monotonic()
    end = due + seconds
    while (now := time.monotonic()) < end:
        if now < due:
            time.sleep(min(due - now, 0.05))
            continue
        instrument.query("MEAS:VOLT?;:MEAS:CURR?;:OUTP?")
        instrument.query("STAT:QUES:COND?")
        times.append(time.monotonic())
        due = due + INTERVAL if due + INTERVAL > now else now + INTERVAL
    instrument.close()
    manager.close()
    return times


def run(folder: Path, bench: Path, seconds: float, *, screen: bool) -> tuple[list[float], float]:
    """(times of the supply's samples, processor seconds a second) of a run with or without its screen."""
    from runner.conduct.clock import ScaledClock
    from runner.conduct.execute import execute
    from runner.conduct.interfaces import StopFlag
    from runner.conduct.run_thread import RunThread
    from runner.conduct.sampling import Sampler
    from runner.conduct.site import Site
    from runner.console_output import finding_line
    from runner.orders import Pace
    from runner.rehearsal.scripted import UNATTENDED, ScriptedOperator
    from runner.screen.app import RunApp
    from runner.screen.feed import ScreenOperator
    from runner.workspace.job import DEMO_PACK, UserFile, load, read_file

    paced = Sampler.pace
    Sampler.pace = lambda self, order: paced(self, Pace(INTERVAL, SLOW, order.path))  # type: ignore[method-assign]
    procedure = UserFile("drawing.yaml", PROCEDURE.format(seconds=seconds))
    job = load(procedure, read_file(DEMO_PACK), read_file(bench))
    operator, stop, clock = ScreenOperator("benchmark"), StopFlag(), ScaledClock()
    script = ScriptedOperator(UNATTENDED, operator.told if screen else None, operator.show if screen else None)
    thread = RunThread(lambda: execute(job, script, Site(clock), folder, stop))
    began, cpu = time.monotonic(), time.process_time()
    if screen:
        app = RunApp(job, ["BENCHMARK"], operator, stop, thread, finding_line, watching=True)

        def leave() -> None:
            while not thread.done:
                time.sleep(0.2)
            app.call_from_thread(app.exit)

        threading.Thread(target=leave, daemon=True).start()
        app.run(headless=True, size=(140, 45))
    else:
        thread.start()
        while not thread.done:
            time.sleep(0.2)
    result = thread.leave(stop, "the end")
    share = (time.process_time() - cpu) / (time.monotonic() - began)
    if result.outcome.early:
        raise SystemExit(f"the run ended early: {result.outcome.reason}")
    with (result.folder.path / "samples.csv").open() as file:
        rows = list(csv.DictReader(file))
    Sampler.pace = paced  # type: ignore[method-assign]
    return [float(row["t_s"]) for row in rows if row["supply_output"] == "1"], share


def rate(times: list[float]) -> float:
    return (len(times) - 1) / (times[-1] - times[0])


def longest(times: list[float]) -> float:
    """The longest gap, in intervals."""
    return max(b - a for a, b in pairwise(times)) / INTERVAL


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=60.0)
    seconds = parser.parse_args().seconds
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        bench = folder / "bench.yaml"
        twin = subprocess.Popen(
            [sys.executable, "-m", "runner", "twin", "--listen", "--bench-file", str(bench)], stdout=subprocess.DEVNULL
        )
        try:
            while not bench.exists():
                time.sleep(0.1)
            address = next(line.split(": ")[1] for line in bench.read_text().splitlines() if "address: TCPIP" in line)
            bare = bare_loop(address, min(seconds, COMPARED))
            alone, share_alone = run(folder / "alone", bench, min(seconds, COMPARED), screen=False)
            drawn, share_drawn = run(folder / "drawn", bench, seconds, screen=True)
        finally:
            twin.kill()
            twin.wait()
    print(f"bare loop: {rate(bare):.2f} samples/s, longest gap {longest(bare):.1f} intervals")
    print(f"unwatched: {rate(alone) / rate(bare):.3f} of it, longest gap {longest(alone):.1f} intervals")
    print(f"with app:  {rate(drawn) / rate(bare):.3f} of it, longest gap {longest(drawn):.1f} intervals")
    print(f"drawing:   {share_drawn - share_alone:.3f} of a core ({share_drawn:.3f} less {share_alone:.3f})")
    good = rate(drawn) >= 0.95 * rate(bare) and longest(drawn) <= 3 and share_drawn - share_alone <= 0.15
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
