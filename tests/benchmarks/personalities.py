"""Ten instruments, each through the whole program to a certificate, with nothing wrong and with everything that goes wrong with one.

    python tests/benchmarks/personalities.py [--only NAME] [--trouble KIND] [--shipped PROCEDURE] [--speed 20] [--seed 0] [--keep FOLDER]

Troubles come once the supply or the load is on: late replies, halves, noise, unplugged for 5 s of the instrument's time, off and on
again with its settings lost, the same and its output on again. Survived: a certificate; or an end that the record tells, with the reason. In any case everything is off at
the end, nothing was sent to another output, and what was found is within 3 K of the truth. With a ``--seed`` the pack is another one, and
when the trouble begins is drawn. Exit status 1 if any did not.
"""

import argparse
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

from runner.orders import End
from runner.record.journal import read_journal
from tests.builders import a_file
from tests.instruments.bench import World
from tests.instruments.ten import TEN, TIMEOUT, bench_file, reset
from tests.instruments.trouble import KINDS, Trouble
from tests.processes import ANSWERS, DEMO_PACK, PROGRAM

LATE = 1.5 * TIMEOUT  # s
WITHIN = 3.0  # K of the truth
LONGEST = 170.0  # s of real time


def one(name, kind, folder, speed, shipped="", seed=0):
    """(how it ended, what was wrong) of one run; its folder is ``folder/runs``."""
    with World(speed, seed or 1) as world:
        dice = random.Random(f"{seed} {name} {kind}") if seed else None
        on = (lambda: world.world.load_on) if "load" in name else (lambda: world.world.supply_on)
        trouble = Trouble(kind, on, speed, LATE, lambda kind: reset(world, name, kind), dice)
        ready = TEN[name](world, trouble, folder)
        bench = bench_file(folder, ready, speed)
        procedure = shipped or a_file(folder / "procedure.yaml", ready.procedure)
        answers = a_file(folder / "answers.yaml", ANSWERS)
        named = ["--pack", DEMO_PACK, "--bench", bench, "--answers", answers, "--out", folder / "runs"]
        command = [*PROGRAM, "run", procedure, *named, "--plain", "--sensor", "T1"]
        try:
            done = subprocess.run(list(map(str, command)), text=True, capture_output=True, timeout=LONGEST)
        except subprocess.TimeoutExpired as late:
            return "no end", [f"did not end within {LONGEST:g} s: {(late.stdout or b'')[-300:]}"]
        finally:
            trouble.close()
            for each in ready.closed:
                each.close()
        wrong = [f"sent to the other output: {text}" for text in ready.wrong]
        wrong += ["something is on at the end"] if world.world.supply_on or world.world.load_on else []
        wrong += ["nothing went wrong with it"] if kind != "none" and not trouble.done else []
        truth = world.world.report()["thresholds"]
    return judged(folder, done, truth, wrong, kind)


def judged(folder, done, truth, wrong, kind):
    runs = list((folder / "runs").glob("*"))
    if len(runs) != 1 or done.returncode not in (0, 1, 3, 4):
        return "no run", [*wrong, f"exit status {done.returncode}: {done.stdout[-300:]} {done.stderr[-300:]}"]
    ends = [entry.what for entry in read_journal(runs[0] / "events.jsonl") if isinstance(entry.what, End)]
    end = ends[-1] if ends else None
    if end is None or not end.safe:
        return "no end", [*wrong, f"the record ends with {end}: {done.stderr[-300:]}"]
    if not (runs[0] / "certificate.html").is_file():
        wrong.append("no certificate")
    findings = json.loads((runs[0] / "findings.json").read_text())["findings"]
    for each in findings:
        true = truth.get(each["protection"], {}).get(each["sensor"], {}).get(each["name"])
        if each["value"] is not None and true is not None and abs(each["value"] - true) > WITHIN:
            wrong.append(f"{each['name']} {each['value']:.2f}, in truth {true:.2f}")
    if end.early:
        wrong += [f"ended early with nothing wrong: {end.reason}"] if kind == "none" else []
        return f"ended: {end.reason}", wrong
    missing = [each["name"] for each in findings if each["value"] is None]
    return "certificate" + (f", not measured: {', '.join(missing)}" if missing else ""), wrong


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name, default in {"only": "", "trouble": "", "shipped": "", "speed": 20.0, "seed": 0, "keep": ""}.items():
        parser.add_argument(f"--{name}", type=type(default), default=default)
    options = parser.parse_args()
    failed = 0
    for name in (each for each in TEN if options.only in each):
        for kind in (each for each in KINDS if options.trouble in each):
            with tempfile.TemporaryDirectory() as made:
                how, wrong = one(name, kind, Path(made), options.speed, options.shipped, options.seed)
                if wrong and options.keep:
                    shutil.copytree(made, Path(options.keep) / f"{name} {kind}".replace(" ", "-"), symlinks=True)
            failed += bool(wrong)
            print(f"{name:26} {kind:12} {how[:160]}", *(f"    WRONG {each}" for each in wrong), sep="\n", flush=True)
    print(f"{failed} of the runs did not survive" if failed else "all survived")
    return 1 if failed else 0


if __name__ == "__main__":
    os.environ.setdefault("PYTHONWARNINGS", "ignore")
    sys.exit(main())
