"""Faults of every kind, at every kind of step, through the real program: what is left on, invented or lost by them.

    python tests/benchmarks/faults.py [--only TEXT] [--list] [--jobs 2] [--seed 1] [--keep FOLDER] [--line KIND] [--count N]

Each trial is a run in a process of its own, on a fresh faulty bench with a warm sensor. Soon after a step has begun an instrument
falls ill, or something goes wrong in the program, its guard, its clock or its disk: for so many seconds of the run's time, or for
ever. Then the bench is well again, what the program said is done, and a run that a passing fault ended early is gone on with.
Printed, a line a trial: exit status, real seconds from the fault to everything off, what was told, what was wrong. Exit status 1:
something was wrong. ``--only`` takes the trials with that text in their names, ``--count`` so many of them, drawn; ``--keep`` keeps
the folders of those gone wrong; ``--line`` puts the supply on serial, modbus tcp or modbus rtu, for faults of it, program and guard.
"""

from __future__ import annotations

import argparse
import builtins
import contextlib
import datetime
import json
import math
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import product, starmap
from pathlib import Path
from signal import SIGKILL, SIGTERM, SIGUSR1, signal
from types import SimpleNamespace

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

from runner.bench.dialect import BUILT_IN
from runner.errors import RecordError
from runner.events import Faulted, Resumed, Started
from runner.orders import Conclude
from runner.record.journal import read_journal
from tests.benchmarks.faulty_bench import WORDS, FaultyBench
from tests.benchmarks.faulty_lines import NO_LINES, bench_on, can_have
from tests.builders import SHORT_PROCEDURE
from tests.processes import ANSWERS, PROGRAM, until

# who: what is wrong: in which step: for how many s of the run
TABLE = """
supply: silent deaf_but_acting endless drip garbled huge closed half late extra frozen not_a_number rebooted replaced error_queue: ramp: 10 ever
supply: silent garbled closed rebooted: fast cool hold charge: 10
supply: silent late closed not_a_number: ramp: 3
supply: silent closed: charge hold cool: ever
supply: silent closed error_queue: before: 10
supply: silent closed late rebooted: setting: 3 10
supply: no_status error_queue: start: ever
probe meter: silent closed garbled rebooted: ramp: 10
probe: silent closed: fast: 3
probe: silent frozen: ramp cool: ever
meter: silent: ramp: ever
load: silent closed garbled rebooted: loaded: 10
load: silent rebooted: drain: 10
load: silent closed: loaded: 3 ever
actuator: silent closed garbled: ramp: 10
actuator: rebooted: hold ramp cool: 10
actuator: silent closed: fast: ever
supply: silent closed rebooted: stage: 3 10 ever
program: read-RuntimeError read-AssertionError read-MemoryError read-KeyError read-SystemExit read-OSError: ramp: ever
program: write-RuntimeError write-AssertionError write-MemoryError write-KeyError write-SystemExit write-OSError: ramp: ever
program: open-RuntimeError open-AssertionError open-MemoryError open-KeyError open-SystemExit open-OSError: ramp: ever
program: read-RuntimeError write-SystemExit open-MemoryError: ramp: 3
clock: set-86400 set--3600: ramp: 10 ever
guard: killed: ramp hold: ever
folder: removed: ramp: ever
dialect: no-such-name a-format open-brace left-out: start: ever
disk: 4k 12k 20k 24k 28k 32k 40k 48k 56k 64k 96k 160k: start: ever
"""
SHORT = SHORT_PROCEDURE.replace("trip - 5 K", "trip - 3 K").replace("release + 5 K", "release + 3 K")
CHARGE = "- charge: {voltage: full charge voltage, current: 0.1 C, steady: 10 s}"
DRAIN = "- drain: {current: 0.1 C, until: steady, steady: 10 s, floor: cut-off voltage + 3 V}"
STAGE = "path: charge, voltage: full charge voltage, from: trip - 1.4 A, to: trip + 1.6 A, step: 0.5 A, dwell: 15 s"
STAGED = SHORT.partition("steps:")[0].replace("over-temperature", "over-current").replace("trip + 12 K", "50 degC")
TEXTS = {
    "charge": SHORT,
    "hold": SHORT.replace(CHARGE, f"{CHARGE}\n        - confirm: {{say: Wait.}}"),
    "drain": SHORT.replace(CHARGE, DRAIN).replace(" charge over", " discharge over").replace("[supply", "[load"),
    "stage": STAGED.replace("0.15 C", "trip + 2.9 A")
    + f"steps:\n  - confirm: {{say: Ready?}}\n  - stage: {{{STAGE}, beyond: current, until: stopped}}\n  - off\nfindings: [trip]\n",
}
ABOUT = {"drain": ("discharge over-temperature", 61.0), "stage": ("charge over-current", 23.0)}  # and °C as it begins
# a step's name = its procedure, and the line of the program from which on it is going on
STEPS = "start=charge:,before=charge:HOLD   Ready?,setting=charge:STEP   Charge,charge=charge:WATCH  steady,"
STEPS += "fast=charge:DO     The actuator heats,ramp=charge:RAMP   +,cool=charge:RAMP   -,hold=hold:HOLD   Wait.,drain=drain:WATCH  steady,"
STEPS += "loaded=drain:RAMP   +,stage=stage:LEVEL"
EASY = ("before", "setting", "stage")  # no ramp goes on: an early end that is gone on with loses nothing
TYPOS = {
    "no-such-name": ("commands", "output_off", "OUTP {chan} OFF"),
    "a-format": ("commands", "output_off", "OUTP {channel:d} OFF"),
    "open-brace": ("commands", "output_off", "OUTP {channel OFF"),
    "left-out": ("queries", "output", {"ask": "OUTP?", "reply": "(?:([01]))?.*"}),
}
GAP_SPEED, SPEED, TIMEOUT = 4.0, 20.0, 0.2  # times real time: for faults that pass, and others; s of an exchange
LONGEST_DELAY = 4.0  # s of the run from the beginning of a step to the fault
SEEN_WITHIN = 5.0  # s of the run, and the gap, from what the pack did to what the program concludes
SAID_WITHIN = 2.0 + TIMEOUT + 5.0  # s from giving up to the words: an opening and an exchange may be going on
BY_HAND = "SWITCH ([A-Z ]*)OFF BY HAND"
COUNTED = (
    "unsaid=outputs left on unsaid,invented=invented trips,traceback=tracebacks,lost=gaps in which a ramp was lost"
)
COUNTED += ",not resumed=early ends that did not resume to all findings,heat=heat left on unsaid"
COUNTED += ",untrue=findings that are not the truth,other=other mistakes"
MARK = "FAULTS_BENCHMARK"  # in the environment of all that is started here
BROKEN = (AssertionError, RecordError, OSError, ValueError, LookupError, StopIteration, subprocess.SubprocessError)
OVER = threading.Event()  # nothing more is to be started


class Program(contextlib.AbstractContextManager["Program"]):
    """The program in a process, and what it says, each line with its moment. It is gone when this is left."""

    def __init__(self, inside: str, *arguments: str) -> None:
        assert not OVER.is_set(), "the benchmark was ended"
        command = [sys.executable, __file__, "--inside", inside] if inside else PROGRAM
        ends = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.STDOUT, "text": True}
        env = os.environ | {MARK: f"{os.getpid()}:{threading.get_ident()}"}
        self.process = subprocess.Popen([*command, *arguments], cwd=sys.path[0], env=env, **ends)
        self.lines: list[tuple[float, str]] = []
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()

    def _read(self) -> None:
        for line in self.process.stdout:
            self.lines.append((time.monotonic(), line.rstrip()))

    text = property(lambda self: "\n".join(line for _, line in self.lines))
    ended = property(lambda self: self.process.poll() is not None)

    def first(self, pattern: str) -> tuple[float, str] | None:
        return next((each for each in self.lines if re.search(pattern, each[1])), None)

    def finished(self, seconds: float) -> int:
        until(lambda: self.ended, seconds, "the end of the run")
        self.reader.join(0.3)  # a guard that goes on keeps the pipe open
        return self.process.returncode

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.wait()


class Trial:
    """One trial. ``wrong`` has what went wrong, each with its key in COUNTED."""

    def __init__(self, role: str, kind: str, step: str, lasts: str) -> None:
        self.role, self.kind, self.step = role, kind, step
        self.name = f"{role} {kind} {step} {lasts}"
        self.lasts = None if lasts == "ever" else float(lasts)
        self.speed = SPEED if self.lasts is None else GAP_SPEED
        self.procedure, self.line = dict(each.split("=") for each in STEPS.split(","))[step].split(":")
        self.about, self.warm = ABOUT.get(self.procedure, ("charge over-temperature", 51.0))
        self.wrong: list[tuple[str, str]] = []
        self.status, self.again, self.told, self.off_after, self.said_after = -1, None, "", math.nan, math.nan

    def carry_out(self, bench: FaultyBench, folder: Path, dice: random.Random) -> None:
        self.bench, self.folder, self.runs = bench, folder, folder / "runs"
        seconds = 1e9 if self.lasts is None else self.lasts / self.speed
        inside = f"{self.kind.replace('-', ' ', 1)} {seconds}" if self.role in ("program", "clock") else ""
        with Program(inside, *self._files()) as program:
            self._begin(program, dice)
            self.status = program.finished(60 + 2400 / self.speed)
            self._afterwards(program)
        refused = self.role == "dialect" or self.kind == "no_status"
        self._expect(not refused or (not bench.stamps and self.status in (2, 4)), "other", "it was not refused")
        if (bench.stamps or self.step in EASY) and self.kind != "removed":
            if self.status in (4, -SIGKILL) and (self.lasts is not None or self.role not in WORDS):
                self._go_on()
            self._record()

    run = property(lambda self: next(self.runs.iterdir()))  # its folder

    def _expect(self, good: object, name: str, otherwise: str) -> None:
        self.wrong += [] if good else [(name, otherwise)]

    def _files(self) -> list[str]:
        """Everything the run needs; its command line."""
        changes: dict[str, dict[str, str]] = {role: {"timeout": f"{TIMEOUT} s"} for role in WORDS}
        if self.role == "dialect":
            dialect, (words, name, text) = (
                BUILT_IN["supply"].model_dump(mode="json", exclude_defaults=True),
                TYPOS[self.kind],
            )
            dialect[words][name] = text
            (self.folder / "typo.yaml").write_text(json.dumps(dialect))
            changes["supply"]["dialect"] = "typo.yaml"
        if self.role == "disk":
            self.runs.mkdir()
            mount = ["mount", "-t", "tmpfs", "-o", f"size={self.kind}", "tmpfs", str(self.runs)]
            assert not subprocess.run(mount, capture_output=True).returncode, "a small disk cannot be mounted here"
        answers = ANSWERS.replace("wait: 1 s", "wait: 20 s") if self.procedure == "hold" else ANSWERS
        texts = {"procedure": TEXTS[self.procedure], "bench": self.bench.bench_file(**changes), "answers": answers}
        for name, text in texts.items():
            (self.folder / f"{name}.yaml").write_text(text)
        procedure, bench, answers = (str(self.folder / f"{name}.yaml") for name in texts)
        self.answers, sensor = ["--plain", "--answers", answers], ["--sensor", "T1"] * (self.procedure != "stage")
        files = [procedure, "--pack", "procedures/demo/tim-840.yaml", "--bench", bench]
        return ["run", *files, *self.answers, *sensor, "--out", str(self.runs)]

    def _begin(self, program: Program, dice: random.Random) -> None:
        """The sensor is warm as the run begins; then the fault, when it is time for it."""
        bench, quiet, line, self.since = self.bench, self.step in EASY[:2], re.escape(self.line), math.inf
        if self.step == "start" and self.role in WORDS:
            bench.fault(self.role, self.kind)
        until(lambda: program.first("HOLD ") or program.ended, 60, "the first hold point")
        with bench.lock:
            bench.advance().is_at |= dict.fromkeys(("T1 spot", "T1 half", "T1", "probe"), self.warm)
        if self.step == "start":
            return
        until(lambda: program.ended or (program.first(line) and (quiet or any(bench.on.values()))), 120, self.line)
        assert not program.ended, f"it ended before {self.line}: {program.text}"
        time.sleep(0.0 if quiet else dice.uniform(0.0, LONGEST_DELAY / self.speed))
        self.since = time.monotonic()
        if self.role in WORDS:
            bench.fault(self.role, self.kind, self.lasts and self.lasts / self.speed)
        elif self.role == "guard":
            tasks = Path(f"/proc/{program.process.pid}/task").glob("*/children")
            os.kill(next(int(child) for task in tasks for child in task.read_text().split()), SIGKILL)
        elif self.role == "folder":
            shutil.rmtree(self.run)
        else:
            program.process.send_signal(SIGUSR1)
        if self.role == "clock" and self.lasts is None and not time.sleep(1.0):
            program.process.terminate()

    def _afterwards(self, program: Program) -> None:
        """Right after the end: what is on, and what was said of it. Then all is well again, and what was said is done."""
        bench, text = self.bench, program.text
        if (said := program.first(BY_HAND)) and (gave_up := program.first("Switching the bench off|  END  ")):
            self.said_after = max(0.0, said[0] - gave_up[0])
            self._expect(self.said_after <= SAID_WITHIN, "unsaid", f"words only after {self.said_after:.1f} s")
        for role in [role for role, on in bench.advance().on.items() if on]:
            named = any(role.upper() in found for found in re.findall(BY_HAND, text))
            kind = "heat" if role == "actuator" else "unsaid"
            self._expect(named, kind, f"the {role} is on, and the words were not said")
        end = [line for _, line in program.lines if "  END  " in line] or [line for line in text.split("\n") if line]
        self.told = end[-1].strip() if end else ""
        self._expect(self.status in (0, 1, 2, 3, 4), "other", f"exit status {self.status}")
        time.sleep(2.0 * any(bench.on.values()))  # the guard is at it
        off = [moment for moment, _, on in bench.stamps if not on and moment >= self.since and self.status == 4]
        self.off_after = math.nan if any(bench.on.values()) else max(off, default=math.nan) - self.since
        if self.role in WORDS:
            bench.heal(self.role)
        if self.role == "disk":
            subprocess.run(["mount", "-o", "remount,size=50m", str(self.runs)], check=True)
        bench.on["actuator"] = False
        until(lambda: not (bench.supply_on or bench.load_on), 15, "the guard to switch it off")
        self._look_through(text, "said.txt")

    def _look_through(self, text: str, name: str) -> None:
        (self.folder / name).write_text(text)
        self._expect("Traceback" not in text and "a defect of" not in text, "traceback", text[-300:])

    def _go_on(self) -> None:
        """Resume the run, as soon as the guard lets go of it."""
        text, tries, over = "is in use by", 20, "all steps done" in self.told  # all but the evaluation
        while "is in use by" in text and (tries := tries - 1):
            time.sleep(0.5)
            with Program("", *(["evaluate"] if over else ["resume", *self.answers]), str(self.run)) as program:
                self.again = program.finished(60 + 6000 / self.speed)
                text = program.text
        self._look_through(text, "said-again.txt")
        self._expect(not any(self.bench.on.values()), "unsaid", "something is on after the resumed run")
        self._expect(self.again == 0, "not resumed", f"exit {self.again}: {text[-300:]}")

    def _record(self) -> None:
        """What the run's folder says, held against the bench's truth. Times on its clock, from where a run began or went on."""
        truth, behind = self.bench.truth(), time.time() - time.monotonic() + self.bench.began
        for what in [entry.what for entry in read_journal(self.run / "events.jsonl")]:
            if isinstance(what, Started | Resumed):
                real = datetime.datetime.fromisoformat(what.utc).timestamp() - behind
                offset = real * self.speed - what.t
            elif isinstance(what, Faulted):
                self._expect(", line " not in what.what, "traceback", what.what)
            elif isinstance(what, Conclude) and what.outcome in ("stopped", "returned"):
                change, at = "trip" if what.outcome == "stopped" else "release", what.at + offset
                moments = [t for t, *of, did in truth["changes"] if (*of, did) == (self.about, what.sensor, change)]
                seen = any(-1.0 <= at - moment <= SEEN_WITHIN + (self.lasts or 0.0) for moment in moments)
                self._expect(seen, "invented", f"{what.outcome} at {at:.1f} s, the pack did at {moments}")
        found = {each["name"]: each for each in json.loads((self.run / "findings.json").read_text())["findings"]}
        without = "; ".join(f"{name}: {each['reason']}" for name, each in found.items() if each["value"] is None)
        self._expect(self.again is None or not without, "not resumed", without)
        early = self.status == 4 and self.step not in EASY
        self._expect(self.lasts is None or not (early or without), "lost", f"exit {self.status} {without}")
        limits = truth["thresholds"]["" if self.procedure == "stage" else "T1"][self.about]
        for name, each in found.items():
            value, width = each["value"], 1.5 * (each["expanded_uncertainty"] or 0.0)
            good = each["conformity"] != "fail" and (value is None or abs(value - limits[name]) <= width)
            self._expect(good, "untrue", f"{name} {value} {each['conformity']}, in truth {limits[name]:.2f}")


def one(trial: Trial, options: argparse.Namespace) -> None:
    dice = random.Random(f"{options.seed} {trial.name}")
    with (
        tempfile.TemporaryDirectory(prefix="faults-") as name,
        bench_on(options.line, Path(name), dice.randrange(10**6), trial.speed) as bench,
    ):
        try:
            trial.carry_out(bench, Path(name), dice)
        except BROKEN as error:
            trial.wrong.append(("other", f"{type(error).__name__}: {error}"))
        if trial.wrong and options.keep:
            (Path(name) / "truth.json").write_text(json.dumps(bench.truth() | {"stamps": bench.stamps}))
            kept = Path(options.keep) / trial.name.replace(" ", "-")
            shutil.copytree(name, kept, ignore=NO_LINES, dirs_exist_ok=True)
        sweep(threading.get_ident())  # a guard that goes on locks the ports of its bench, and another gets them
        subprocess.run(["umount", "-l", f"{name}/runs"], capture_output=True)
    off, said = trial.off_after, trial.said_after
    shown = [f"{trial.name:34}", f"exit {trial.status}", f"off {off:6.2f} s" if off == off else " " * 12]
    shown += [f"resumed {trial.again}"] * (trial.again is not None) + [f"words {said:.1f} s"] * (said == said)
    verdict = "; ".join(f"{what.upper()}: {how}" for what, how in trial.wrong) or "good"
    print("  ".join([*shown, f"{trial.told[:120]}  → {'broken off' if OVER.is_set() else verdict}"]), flush=True)


def inside(broken: str, arguments: list[str]) -> int:
    """Run the program; from SIGUSR1 on, for some seconds, a call of its transport raises, or its wall clock is wrong."""
    from runner import cli
    from runner.bench.transports.modbus import ModbusTransport
    from runner.bench.transports.serial_port import SerialTransport
    from runner.bench.visa import VisaTransport
    from runner.conduct import clock

    call, value, seconds = broken.split()
    ends = [-math.inf]
    signal(SIGUSR1, lambda *_: ends.append(time.monotonic() + float(seconds)))

    class Wrong(datetime.datetime):
        @classmethod
        def now(cls, tz=None):
            return datetime.datetime.now(tz) + datetime.timedelta(seconds=float(value) * (time.monotonic() < ends[-1]))

    def raising(kind: type, name: str) -> Callable[..., object]:
        real, error = getattr(kind, name), getattr(builtins, value) if name == call else ConnectionError

        def instead(self: object, *given: object) -> object:
            if time.monotonic() < ends[-1]:
                raise error("put in by the benchmark")
            return real(self, *given)

        return instead

    if call == "set":
        clock.datetime = SimpleNamespace(datetime=Wrong, UTC=datetime.UTC, timedelta=datetime.timedelta)
    for name in {"open": ("open", "read"), "set": ()}.get(call, (call,)):  # what cannot be read is opened again
        for kind in (VisaTransport, SerialTransport, ModbusTransport):
            setattr(kind, name, raising(kind, name))
    return cli.main(arguments)


def sweep(thread: object = "") -> None:
    """End whatever was started here, or in this thread, and still runs: programs, and guards that go on trying."""
    for path in Path("/proc").glob("[0-9]*/environ"):
        with contextlib.suppress(OSError):
            if f"\0{MARK}={os.getpid()}:{thread}".encode() in b"\0" + path.read_bytes():
                os.kill(int(path.parent.name), SIGKILL)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name, default in {"only": "", "jobs": 2, "seed": 1, "keep": "", "line": "", "count": 1000}.items():
        parser.add_argument(f"--{name}", type=type(default), default=default)
    parser.add_argument("--list", action="store_true")
    options = parser.parse_args()
    lines = [[part.split() for part in line.split(":")] for line in TABLE.strip().split("\n")]
    trials = [trial for line in lines for trial in starmap(Trial, product(*line)) if options.only in trial.name]
    trials = [trial for trial in trials if can_have(options.line, trial.role, trial.kind)]
    trials = random.Random(options.seed).sample(trials, min(options.count, len(trials)))
    if options.list:
        print("\n".join([*(trial.name for trial in trials), f"{len(trials)} trials"]))
        return 0
    signal(SIGTERM, lambda *_: sys.exit(1))
    pool = ThreadPoolExecutor(options.jobs)
    try:
        for done in [pool.submit(one, trial, options) for trial in trials]:
            done.result()
    finally:
        OVER.set()
        sweep()
        pool.shutdown(cancel_futures=True)
        sweep()
    for what, of in (("everything off", "off_after"), ("the words", "said_after")):
        figures = [figure for trial in trials if (figure := getattr(trial, of)) == figure]
        print(f"longest to {what}: {max(figures, default=math.nan):.2f} s")
    print(f"{len(trials):5}  trials\n{sum(trial.again is not None for trial in trials):5}  gone on with")
    counts = Counter(what for trial in trials for what in dict(trial.wrong))
    print("\n".join(f"{counts[what]:5}  {words}" for what, words in (each.split("=") for each in COUNTED.split(","))))
    return 1 if counts else 0


if __name__ == "__main__":
    sys.exit(inside(sys.argv[2], sys.argv[3:]) if sys.argv[1:2] == ["--inside"] else main())
