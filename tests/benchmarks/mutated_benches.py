"""Mutated bench files and dialects: what is called valid is checked on the instrument, and what passes the check runs.

    python tests/benchmarks/mutated_benches.py [--count 2000] [--seed 1] [--list]

A bench of three personalities in turn: a supply of few words on a pseudo terminal, one in registers over Modbus TCP, one with two
outputs in SCPI; the thermometer is the simulated bench's. One to three accidents change the bench file or the dialect. Each is
refused with a place; or it fails at the check of the instruments, with the question named; or it runs a charge of twenty seconds, or
that ends with the reason. Wrong is: an exception, a problem without a place, a fault without its question, an instrument that is on at
the end although nothing was said. Exit status 1 if anything was wrong.
"""

import argparse
import contextlib
import random
import re
import sys
import tempfile
import threading
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

from runner.bench.assembly import Bench
from runner.conduct.clock import VirtualClock
from runner.conduct.execute import execute
from runner.conduct.interfaces import StopFlag
from runner.conduct.site import Site
from runner.errors import BenchError, BenchNotReady, SheetError
from runner.rehearsal.scripted import ScriptedOperator
from runner.sheets.answers import parse_answers
from runner.workspace.job import DEMO_PACK, UserFile, load, read_file
from tests.benchmarks.mutated_files import mutated
from tests.instruments import bench as personalities
from tests.instruments.modbus import OverTcp
from tests.instruments.ten import TwoOutputs
from tests.instruments.texts import POWER
from tests.processes import ANSWERS

PROCEDURE = """\
kind: procedure
name: a-charge
title: A charge
purpose: to be quick
needs: [supply]
cautions: [Be careful.]
ceilings: {voltage: full charge voltage + 0.4 V, current: 0.15 C, time: 1 h}
steps:
  - charge: {voltage: full charge voltage, current: 0.1 C, until: time, for: 20 s, give_up: 2 min}
  - off
findings: []
"""
ALIKE = ("voltage", "current", "overvoltage", "overcurrent", "output", "holding", "input", "coil", "u16", "s32", "0.01", "0.001", "CR", "LF", "true", "false", "VOLT", "CURR")  # fmt: skip
NAMED = (
    "refused",
    "address",
    "missing",
    "identity",
    "noise",
)  # kinds of fault that are of the connection and of no question
QUIET_PAST = 1.0  # s: what is on then is left on


def bench_text(supply):
    return f"kind: bench\nname: bench\ninstruments:\n  supply:\n    address: {supply}{POWER}\n"


def made(kind, world):
    """(the instrument, its bench file, its dialect by name)."""
    if kind == "few words":
        supply = personalities.few_words(world)
        said = f"{supply.address}\n    dialect: d.yaml\n    timeout: 0.1 s\n    serial: {{write_end: CR, read_end: CR, echo: true, quiet: 0.05 s}}"
        return supply, bench_text(said), personalities.FEW_WORDS
    if kind == "registers":
        supply = OverTcp(personalities.modbus_supply(world, 5))
        return (
            supply,
            bench_text(f"{supply.address}\n    unit: 5\n    dialect: d.yaml\n    timeout: 0.1 s"),
            personalities.MODBUS_SUPPLY,
        )
    supply = TwoOutputs(world, lambda whole: whole)
    return supply, bench_text(f'{supply.address}\n    timeout: 0.1 s\n    channel: "2"'), ""


def accident(text, dice):
    """The text with one to three accidents, most of them such that a person could have made them."""
    for _ in range(dice.randint(1, 3)):
        how = dice.random()
        if how < 0.1:
            text = mutated(text, dice)
            continue
        if how < 0.6:  # a digit is another one, a letter of a quoted or sent word another letter
            kind = r"\d" if how < 0.4 else r"(?<=[A-Z])[A-Z]|(?<=[\"' ])[A-Z](?=[\d{])"
            if places := list(re.finditer(kind, text)):
                at = dice.choice(places).start()
                text = text[:at] + dice.choice("0123456789" if how < 0.4 else "ABCDEFIORTVX") + text[at + 1 :]
                continue
        words = list(re.finditer(r"[\w.]+", text)) or [re.match("", text)]
        found = dice.choice(words)
        other = dice.choice([dice.choice(ALIKE), dice.choice(words)[0], found[0][:-1], found[0] + dice.choice("019V?")])
        text = text[: found.start()] + other + text[found.end() :]
    return text


def one(kind, dice, folder):
    """(what became of it, what was wrong)."""
    clock = VirtualClock()
    world = personalities.World(clock=clock)
    supply, bench, dialect = made(kind, world)
    if dialect and dice.random() < 0.7:
        dialect = accident(dialect, dice)
    else:
        bench = accident(bench, dice)
    files = f"--- bench\n{bench}\n--- dialect\n{dialect}"
    try:
        (folder / "d.yaml").write_text(dialect, encoding="utf-8", errors="replace")
        return (*carried(world, bench, clock, folder), files)
    except SheetError as error:
        good = error.problems and all(each.line >= 1 and each.what for each in error.problems)
        return "refused", "" if good else f"no place: {error}", files
    except Exception as error:  # noqa: BLE001 - this is what is looked for
        return "exception", f"{type(error).__name__}: {error}", files
    finally:
        with contextlib.suppress(Exception):
            supply.close()
        world.close()


def unnamed(error):
    """What is wrong with a fault that does not say which question it is about."""
    faults = error.faults if isinstance(error, BenchNotReady) else [error]
    without = [fault for fault in faults if not fault.command and getattr(fault, "kind", "") not in NAMED]
    return f"no question named: {without[0]}" if without else ""


def carried(world, bench, clock, folder):
    pack = read_file(DEMO_PACK)
    job = load(UserFile("p.yaml", PROCEDURE), pack, UserFile(str(folder / "bench.yaml"), bench))
    opened = Bench(job.bench, job.dialects, clock)
    try:
        opened.ready()
    except BenchNotReady as error:
        return "at the check", unnamed(error)
    finally:
        opened.close()
    before = threading.active_count()
    operator = ScriptedOperator(
        parse_answers(ANSWERS + "agree: it is a test\n", "a"), lambda *_: None, lambda *_: None, None
    )
    try:
        result = execute(job, operator, Site(clock, simulated=True), folder / "runs", StopFlag())
    except BenchError as error:
        return "at the check", unnamed(error)
    outcome = result.outcome
    said = not outcome.off or "BY HAND" in outcome.urgent or "supply" in job.program.looked_at  # then a person looks
    on = world.world.supply_on
    deadline = time.monotonic() + QUIET_PAST
    while threading.active_count() > before and time.monotonic() < deadline:
        time.sleep(0.01)
    wrong = "left on, and nothing said" if on and not said else ""
    if outcome.early:
        return "ended early, not confirmed off" if not outcome.off else "ended early, off", wrong
    return "ran to its end", wrong


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--list", action="store_true", help="print each that was wrong whole")
    options = parser.parse_args()
    dice, counts, wrong, began = random.Random(options.seed), Counter(), [], time.monotonic()
    for number in range(options.count):
        kind = dice.choice(("few words", "registers", "two outputs"))
        own = random.Random(f"{options.seed} {number}")
        with tempfile.TemporaryDirectory() as folder:
            how, what, files = one(kind, own, Path(folder))
        counts[f"{kind:12} {how}"] += 1
        if what:
            wrong.append(number)
            print(f"{number} {kind}: {what}", *([files] if options.list else []), sep="\n", flush=True)
    print(*(f"{count:5}  {name}" for name, count in sorted(counts.items())), sep="\n")
    print(f"{len(wrong)} of {options.count} wrong; {time.monotonic() - began:.0f} s")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
