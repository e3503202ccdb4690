"""Kill and halt runs at random instants: how long the bench stays on, and what is left of the record.

    python tests/benchmarks/kill_trials.py [--kills 200] [--halts 40] [--resumed 20] [--speed 10] [--seed 1] [--keep FOLDER] [--line KIND]

Each trial is a run of the short procedure in a process of its own, on a fresh simulated bench with a warm pack. The signal
comes while something is on, charging, heating or cooling, as drawn. Counted: seconds from just before the signal to the bench's
own stamp of the last switch off. After a kill the journal is whole and holds every line that was printed, the samples go up to
the kill, the guard has read back off and says what to do, and the run is gone on with: the first ones to their end, the others
until a step begins, where SIGTERM stops them. What goes on with a pack still tripped may not measure everything: counted, and
no failure. ``--line`` puts the supply on a serial line, or on Modbus TCP or RTU. Then the guard's memory and share of a core. Exit status 1: a bound is broken; ``--keep`` keeps failed trials' folders.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import re
import select
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path
from signal import SIGKILL, SIGQUIT, SIGSTOP, SIGTERM, SIGTSTP, Signals, pidfd_send_signal, signal

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

from runner.conduct.log_lines import said
from runner.conduct.texts.runs import BY_SIGNAL
from runner.errors import RecordError
from runner.orders import BeginStep, End, Order, Pace
from runner.record.journal import JournalEntry, read_journal
from runner.record.samples import read_samples
from tests.instruments.lines import LINES
from tests.processes import PROGRAM, LiveBench, until

WARM = 51.0  # °C of the pack as the program starts: it cools a little until the run begins, and heating is short
WINDOWS = ((0.0, 11.0), (11.0, 130.0), (140.0, 280.0))  # s of the run with something on: charging, heating, cooling
MEDIAN, LONGEST, HALTED = 0.1, 0.5, 1.0 + 2.5  # s from the signal to off; 1 s is the deadline of an exchange
BEHIND = 1.0  # s of real time, and one poll, that the samples may be behind a kill
GUARD_MB, GUARD_SHARE, GUARD_WATCHED = 60.0, 0.01, 30.0  # MB, of a core, s
TOLD = re.compile(r"^ *\d+:\d\d  ((?:STEP|WATCH|RESULT|RAMP|HOLD|NOTED) .*)\n", re.MULTILINE)
BROKEN = (AssertionError, subprocess.SubprocessError, RecordError, OSError, ValueError, LookupError)


class Program(contextlib.AbstractContextManager):
    """One process of the program, its output in files of the bench's folder. It and its guard are gone when this is left."""

    def __init__(self, live: LiveBench, *arguments: str) -> None:
        self.out, self.err = (live.folder / f"{arguments[0]}-{name}.txt" for name in ("out", "err"))
        with self.out.open("w") as out, self.err.open("w") as err:
            self.process = subprocess.Popen([*PROGRAM, *arguments], stdin=subprocess.DEVNULL, stdout=out, stderr=err)
        self.guard: int | None = None  # a descriptor that shows its end

    def find_guard(self) -> int:
        """The process id of the guard, which is the only child; 0 if there is none."""
        with contextlib.suppress(OSError):
            for task in Path(f"/proc/{self.process.pid}/task").glob("*/children"):
                for child in map(int, task.read_text().split()):
                    self.guard = self.guard or os.pidfd_open(child)
                    return child
        return 0

    def finished(self, seconds: float) -> int:
        """The exit status, once it and its guard have ended."""
        status = self.process.wait(seconds)
        assert self.guard is None or select.select([self.guard], [], [], 10)[0], "the guard has not ended in 10 s"
        return status

    def __exit__(self, *_: object) -> None:
        self.find_guard()
        self.process.kill()
        self.process.wait()
        if self.guard is not None:
            if not select.select([self.guard], [], [], 6)[0]:  # it makes the bench safe, and ends by itself
                pidfd_send_signal(self.guard, SIGKILL)
            os.close(self.guard)


class Trial:
    """One run that gets one signal. ``wrong`` and ``notes`` are in words, the notes to be counted."""

    def __init__(self, sent: Signals, live: LiveBench) -> None:
        self.sent, self.live, self.wrong, self.notes = sent, live, [], []
        self.seconds = self.behind = float("nan")  # from the signal to off, from the last sample to a kill

    def carry_out(self, after: float, to_the_end: bool) -> bool:
        """Send the signal so many seconds after something is on. False if everything was off by then."""
        with Program(self.live, *self.live.arguments()) as program:
            until(lambda: program.find_guard() * self.live.anything_on or program.process.poll(), 30, "something on")
            time.sleep(after)
            utc, began = datetime.now(UTC), time.monotonic()
            program.process.send_signal(self.sent)
            until(lambda: not self.live.anything_on, 20, "everything to be off")
            self.seconds = self._switched_off() - began
            if self.seconds < 0:
                said_by_guard = program.err.read_text()
                self._expect("overdue" not in said_by_guard, f"ended before the signal: {said_by_guard!r}")
                return bool(self.wrong)
            status = program.finished(60)
        self._expect(self.seconds <= (LONGEST if self.sent == SIGKILL else HALTED), f"off after {self.seconds:.3f} s")
        safe = not self.live.anything_on and self.live.world.hands.action == "still"
        self._expect(safe, "something is on again, or something heats")
        (folder,) = (self.live.folder / "runs").iterdir()
        entries = self._record(folder)
        self.notes.append(f"in {[entry.what.kind for entry in entries if isinstance(entry.what, BeginStep)][-1]}")
        if self.sent in (SIGKILL, SIGSTOP):
            self._ask_the_guard(folder, program.err.read_text())
        else:
            self._expect_stopped(self.sent, entries, status)
        if self.sent == SIGKILL:
            self._samples(utc, entries, folder)
            self._go_on(folder, to_the_end)
        return True

    def _expect(self, good: bool, otherwise: str) -> None:
        self.wrong += [] if good else [otherwise]

    def _switched_off(self) -> float:
        """The bench's stamp of the last switch off as monotonic seconds, counted from now and not from its making."""
        world = self.live.world
        with world.lock:
            off = [0.0, *(float(each["t"]) for each in world.switched if not each["on"])]
            return time.monotonic() - (world.now() - world.began - off[-1]) / self.live.speed

    def _record(self, folder: Path) -> list[JournalEntry]:
        """The journal, whole, with every line that people have seen."""
        entries = list(read_journal(folder / "events.jsonl"))
        told = Counter(found for file in self.live.folder.glob("*-out.txt") for found in TOLD.findall(file.read_text()))
        for line, count in (told - Counter(line for entry in entries for line in said(entry.what))).items():
            self.wrong.append(f"told {count} times more than journaled: {line}")
        return entries

    def _ask_the_guard(self, folder: Path, err: str) -> None:
        record = [json.loads(line) for line in (folder / "guard.jsonl").read_text().splitlines()]
        why = "overdue" if self.sent == SIGSTOP else "the program has stopped"
        done = [each["not confirmed"] for each in record if each["what"] == "done"]
        self._expect(why in str(record) and done == [[]], f"the guard's record: {record}")
        words = ["TRIPWITNESS GUARD", "switched off and read back", f"tripwitness resume {folder.resolve()}"]
        self.wrong += [f"the guard did not say “{each}”: {err!r}" for each in words if each not in err]

    def _expect_stopped(self, by: Signals, entries: list[JournalEntry], status: int) -> None:
        end = entries[-1].what
        good = isinstance(end, End) and end.early and end.safe and end.reason == f"stopped by {BY_SIGNAL[by.name]}"
        self._expect(good and status == 4, f"exit status {status}, and the record ends with {end}")

    def _samples(self, killed: datetime, entries: list[JournalEntry], folder: Path) -> None:
        last = [entry for entry in entries if isinstance(entry.what, Order)][-1]
        sampled = float(read_samples(folder / "samples.csv")["t_s"].max())
        self.behind = (killed - datetime.fromisoformat(last.utc)).total_seconds() + (last.t - sampled) / self.live.speed
        poll = [entry.what.interval for entry in entries if isinstance(entry.what, Pace)][-1] / self.live.speed
        self._expect(self.behind <= BEHIND + poll, f"the last sample is {self.behind:.2f} s before the kill")

    def _go_on(self, folder: Path, to_the_end: bool) -> None:
        """Resume the run, to its end or until a step begins."""
        with Program(self.live, "resume", str(folder), "--plain", "--answers", str(self.live.answers)) as again:
            if not to_the_end:
                until(lambda: "  STEP " in again.out.read_text() or again.process.poll(), 60, "a step after the resume")
                again.process.send_signal(SIGTERM)
            status = again.finished(60 + 6000 / self.live.speed)
        self._expect(not self.live.anything_on, "something is on after the resumed run")
        entries = self._record(folder)
        if not to_the_end:
            self.notes.append("resumed up to a step")
            self._expect_stopped(SIGTERM, entries, status)
            return
        findings = json.loads((folder / "findings.json").read_text())["findings"]
        without = [f"{each['name']}: {each['reason']}" for each in findings if each["value"] is None]
        self.notes += ["resumed to the end", *(["resumed to the end, not everything measured"] if without else [])]
        self.notes += [f"not measured, {each}" for each in without]
        good = status == (3 if without else 0) and {each["name"] for each in findings} == {"trip", "release"}
        self._expect(good, f"resumed to the end: exit status {status}; {without or again.err.read_text()}")


def one(sent: Signals, name: str, options: argparse.Namespace, to_the_end: bool) -> Trial:
    """One trial, drawn again if everything was off by the instant that was drawn."""
    dice = random.Random(name)
    after, seed = dice.uniform(*dice.choice(WINDOWS)) / options.speed, dice.randrange(1, 1_000_000)
    with tempfile.TemporaryDirectory() as out, LINES[options.line](Path(out), options.speed, seed) as live:
        for spot in live.world.spots.values():
            spot.spot = spot.sensor = live.world.probe = WARM
        trial = Trial(sent, live)
        try:
            missed = not trial.carry_out(after, to_the_end)
        except BROKEN as error:
            missed = trial.wrong.append(f"{type(error).__name__}: {error}")
        if trial.wrong and options.keep:
            shutil.copytree(out, Path(options.keep) / name.replace(" ", "-"), dirs_exist_ok=True)
    if missed:
        return one(sent, f"{name} again", options, to_the_end)
    trial.notes += ["was off already, drawn again"] * name.count(" again")
    trial.wrong = [f"{name}, {after:.2f} s after on: {each}" for each in trial.wrong]
    print(f"{name}: {trial.seconds:.3f} s; {'; '.join(trial.notes + trial.wrong)}", file=sys.stderr, flush=True)
    return trial


def watch_a_guard(live: LiveBench) -> tuple[float, float]:
    """The most memory (MB) and the share of a core that the guard of a run takes that nothing happens to."""
    with Program(live, *live.arguments()) as program:
        until(lambda: live.anything_on, 30, "something to be on")
        proc, looks = Path(f"/proc/{program.find_guard()}"), []
        while not looks or looks[-1][0] - looks[0][0] < GUARD_WATCHED:
            size = re.search(r"VmRSS:\s+(\d+) kB", (proc / "status").read_text())
            ticks = sum(map(int, (proc / "stat").read_text().rpartition(")")[2].split()[11:13]))
            looks.append((time.monotonic(), int(size[1]) * 1024 / 1e6, ticks / os.sysconf("SC_CLK_TCK")))
            time.sleep(0.5)
        assert live.anything_on, "the run went on all the while"
    return max(look[1] for look in looks), (looks[-1][2] - looks[0][2]) / (looks[-1][0] - looks[0][0])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    defaults = {"kills": 200, "halts": 40, "resumed": 20, "speed": 10.0, "seed": 1, "keep": "", "line": ""}
    for name, default in defaults.items():
        parser.add_argument(f"--{name}", type=type(default), default=default)
    options = parser.parse_args()
    signal(SIGTERM, lambda *_: sys.exit(1))  # so that whatever was started is ended
    counts = {SIGKILL: options.kills, **dict.fromkeys((SIGSTOP, SIGTSTP, SIGQUIT), options.halts)}
    trials, figures = [], {}
    for sent, count in counts.items():
        made = [one(sent, f"{options.seed} {sent.name} {n}", options, n < options.resumed) for n in range(count)]
        figures |= {f"{sent.name} to off": [each.seconds for each in made]}
        trials += made
    figures["last sample to SIGKILL"] = [each.behind for each in trials]
    wrong = [each for trial in trials for each in trial.wrong]
    for name, each in figures.items():
        if values := [value for value in each if value >= 0]:
            middle, high = np.percentile(values, (50, 95))
            print(f"{name:24} n {len(values):3}  median {middle:.3f} s  95 % {high:.3f} s  maximum {max(values):.3f} s")
            wrong += [f"{name}: median {middle:.3f} s"] if name == "SIGKILL to off" and middle > MEDIAN else []
    for note, count in sorted(Counter(f"{each.sent.name} {note}" for each in trials for note in each.notes).items()):
        print(f"{count:5}  {note}")
    with tempfile.TemporaryDirectory() as out, LiveBench(Path(out), min(options.speed, 10.0)) as live:
        memory, share = watch_a_guard(live)
    print(f"guard: {memory:.1f} MB, {share:.2%} of a core")
    wrong += [f"guard: {memory:.1f} MB, {share:.2%}"] if memory >= GUARD_MB or share >= GUARD_SHARE else []
    print("\n".join(wrong) or "nothing went wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
