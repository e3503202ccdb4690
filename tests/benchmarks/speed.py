"""How long an evaluation takes, as ratios measured in one run.

    python tests/benchmarks/speed.py [--hours 24] [--long]

A run folder is made in which a pack trips every ten minutes, at 10 Hz and with all channels. Printed: folder to findings
against what pandas needs to read the CSV; from 1 h to the hours asked for (``--long``: to 100 h), how the time grows; and the
search for trips against a general change-point library (ruptures, a benchmark extra) on the same 50,000 samples. Reading and
evaluating take turns, and of each the quickest of five counts.
"""

from __future__ import annotations

import argparse
import math
import shutil
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

from runner.engine.watch.watcher import Watcher
from runner.evaluation.evaluate import evaluate
from runner.events import CHARGE, SUPPLY_CURRENT, SUPPLY_VOLTAGE, Sampled
from runner.measure.fits.edge import find_edge
from runner.measure.recording import Series
from runner.record.folder import RunFolder
from runner.record.journal import Journal
from runner.record.samples import COLUMNS
from tests.builders import short_rehearsal

RATE, EVERY = 10.0, 600.0  # Hz, s
TIMES = 5


def a_folder(out: Path, hours: float) -> RunFolder:
    """A folder of so many hours: the inputs and the beginning are those of a rehearsal, the rest is made."""
    from runner import orders
    from runner.events import Started

    template = short_rehearsal(out / f"template-{hours:g}").result.folder
    path = out / f"run-{hours:g}"
    shutil.copytree(template.path, path)
    (path / "events.jsonl").unlink()
    count = int(hours * 3600 * RATE)
    t = np.arange(count) / RATE
    phase = t % EVERY
    temperature = 50.0 + np.where(phase < 300, phase / 300 * 8.0, 8.0 - (phase - 300) / 300 * 16.0)
    stopped = (phase > 180) & (phase < 450)
    table = pd.DataFrame({name: pd.Series([np.nan] * count) for name in COLUMNS})
    noise = np.random.default_rng(1)
    table["t_s"] = t
    table[SUPPLY_VOLTAGE] = np.where(stopped, 29.2, 26.6) + noise.normal(0, 0.002, count)
    table[SUPPLY_CURRENT] = np.where(stopped, 0.0, 4.0) + noise.normal(0, 0.003, count)
    table["load_voltage_V"] = table[SUPPLY_VOLTAGE]
    table["load_current_A"] = 0.0
    table["meter_voltage_V"] = table[SUPPLY_VOLTAGE]
    table["probe_temperature_degC"] = temperature + noise.normal(0, 0.01, count)
    table["supply_mode"], table["supply_output"] = "CC", 1.0
    table.to_csv(path / "samples.csv", index=False, float_format="%.6f")
    journal = Journal(path / "events.jsonl")
    journal.append(0.0, "2026-11-25T08:00:00Z", Started(0.0, "2026-11-25T08:00:00Z"))
    for cycle in range(int(hours * 3600 / EVERY)):
        begin = cycle * EVERY
        for kind, outcome, at, rate in (("heat", "stopped", 180.1, 8 / 300), ("cool", "returned", 450.0, -16 / 300)):
            journal.append(begin, "", orders.BeginStep(cycle, kind, kind, "T1", cycle))
            journal.append(begin + 1, "", orders.BeginRamp(cycle, "T1", cycle, rate))
            journal.append(begin + at, "", orders.Conclude(cycle, kind, "T1", cycle, rate, outcome, "", begin + at))
    journal.append(hours * 3600, "2026-11-26T08:00:00Z", orders.End(False, True, "all steps done"))
    journal.close()
    return RunFolder.existing(path)


def timed(act) -> float:
    began = time.perf_counter()
    act()
    return time.perf_counter() - began


def trip_search() -> tuple[float, float]:
    """Seconds for the watcher with the edge, and for the library, on the same 50,000 samples with one trip."""
    import ruptures

    count = 50_000
    t = np.arange(count) / RATE
    current = np.where(t < 3000.0, 4.0, 0.0) + np.random.default_rng(2).normal(0, 0.003, count)
    series = Series(t, current)

    def ours() -> None:
        at = float(t[np.flatnonzero(current < 0.2)[0]])
        assert abs(find_edge(series, at, rising=False).instant - 3000.0) < 0.1

    def theirs() -> None:
        (change, _) = ruptures.Binseg(model="l2", jump=1).fit(current).predict(n_bkps=1)
        assert abs(change / RATE - 3000.0) < 0.2

    return min(timed(ours) for _ in range(5)), timed(theirs)


def live_watcher() -> float:
    """Seconds of the live watcher for 50,000 samples."""
    watcher = Watcher({CHARGE: 0.03})
    watcher.expect(CHARGE, 29.2, 4.0, 0.0)
    samples = [Sampled(i / RATE, {SUPPLY_CURRENT: 4.0, SUPPLY_VOLTAGE: 26.6}, {}, "CC", True) for i in range(50_000)]
    return timed(lambda: [watcher.take(sample) for sample in samples])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--long", action="store_true")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as directory:
        out = Path(directory)
        taken = {}
        for hours in (1.0, options.hours, *([100.0] if options.long else [])):
            folder = a_folder(out, hours)
            reading = whole = math.inf  # s: of what another process held up, the quickest of a few knows least
            for _ in range(TIMES):
                reading = min(reading, timed(lambda folder=folder: pd.read_csv(folder.path / "samples.csv")))
                whole = min(whole, timed(lambda folder=folder: evaluate(folder)))
            taken[hours] = whole
            print(
                f"{hours:5g} h: folder to findings = {whole / reading:.2f} × pandas reading the CSV ({whole:.2f} s, {reading:.2f} s)"
            )
            print(f"         {whole / hours / (taken[1.0]):.2f} × the time of one hour, for each hour")
            shutil.rmtree(folder.path)
    ours, theirs = trip_search()
    print(f"trip search: the library takes {theirs / ours:,.0f} × as long on the same 50,000 samples")
    print(f"live watcher: {50_000 / live_watcher():,.0f} samples a second")
    return 0


if __name__ == "__main__":
    sys.exit(main())
