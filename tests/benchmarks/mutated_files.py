"""Twenty thousand mutated pack sheets, bench files, procedures, dialects and answers: each is wrong with a place, or valid.

Characters are flipped, doubled, dropped and swapped, lines moved, repeated and taken away, numbers grown and negated, units
exchanged. What is valid is planned with the other files, and what can be planned runs on the simulated world directly, for
ten minutes of its time. Counted: exceptions other than SheetError, problems without a place,
and the slowest.

    python tests/benchmarks/mutated_files.py [--count 20000] [--seed 1]
"""

from __future__ import annotations

import argparse
import random
import re
import resource
import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from runner.conduct.clock import VirtualClock
from runner.engine.program import Program
from runner.errors import SheetError
from runner.rehearsal.simulated_bench import Rehearsal, declared_for_twin
from runner.sheets.pack import parse_pack
from runner.twin.parameters import draw
from runner.twin.world import World
from runner.workspace.job import DEMO_PACK, PARSERS, UserFile, find_procedure, load, procedure_names, read_file
from tests.bench.test_dialect import OWN
from tests.builders import user_file
from tests.harmless import Direct

SLOWEST, LARGEST = 5.0, 500.0  # s, MB
LONGEST_RUN = 600.0  # s of the world's time
WORDS = ("null", "true", "[]", "{}", "-1", "0", "1e999", ".nan", ".inf", "'", '"', "*a", "&a x", "!!python/object:x", "\t", "é", "- - -", "0 V", "-5 degC", "1e9 h", "trip / (1 - 1)")  # fmt: skip
ANSWERS = "kind: answers\nby: me\nanswers: [go on, 26.4 V, good]\nthen: go on\nwait: 2 s\nagree: because\n"


def mutated(text: str, dice: random.Random) -> str:
    """The text after one to four accidents."""
    for _ in range(dice.randint(1, 4)):
        lines = text.split("\n")
        at, line = dice.randrange(len(text)), dice.randrange(len(lines))
        what = dice.randrange(9)
        if what == 0:
            text = text[:at] + chr(dice.randrange(32, 127)) + text[at + 1 :]
        elif what == 1:
            text = text[:at] + text[at + dice.randint(1, 5) :]
        elif what == 2:
            text = text[:at] + text[at : at + 8] + text[at:]
        elif what == 3:
            lines.insert(dice.randrange(len(lines)), lines.pop(line))
        elif what == 4:
            lines.pop(line)
        elif what == 5:
            lines.insert(line, lines[line])
        elif what == 6:
            text = text[:at] + dice.choice(WORDS) + text[at:]
        elif what == 7:
            key, colon, _ = lines[line].partition(":")
            lines[line] = f"{key}{colon} {dice.choice(WORDS)}"
        else:
            number = list(re.finditer(r"\d+", text))
            if number:
                found = dice.choice(number)
                text = text[: found.start()] + dice.choice(("0", "-", "99999", "1e30", "")) + text[found.end() :]
        if what in (3, 4, 5, 7):
            text = "\n".join(lines)
        text = text or "x"
    return text


def run(program: Program, pack: UserFile) -> None:
    """The program on a world like its pack. Raises whatever engine or world raise."""
    sheet, now = parse_pack(pack.text, pack.name), [0.0]
    world = World(draw(declared_for_twin(sheet), "sound", 1), lambda: now[0])
    Direct(program, sheet, world, now).carry_out(LONGEST_RUN)


def main() -> int:
    """Mutate, count, print; 1 if something went wrong."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=20000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    dice, counts, slowest, bad = random.Random(options.seed), Counter[str](), 0.0, []
    with Rehearsal(read_file(DEMO_PACK), "sound", 1, VirtualClock(), sockets=False) as rehearsal:
        pack, bench = rehearsal.pack, rehearsal.bench
        procedures = [find_procedure(name) for name in procedure_names()]
    kinds = {
        "pack": lambda: pack.text,
        "bench": lambda: bench.text,
        "procedure": lambda: dice.choice(procedures).text,
        "dialect": lambda: OWN,
        "answers": lambda: ANSWERS,
    }
    for number in range(options.count):
        kind = dice.choice(tuple(kinds))
        file = user_file(f"{kind}.yaml", mutated(kinds[kind](), dice))
        began, ran = time.monotonic(), 0.0
        try:
            PARSERS[kind](file.text, file.name)
            files = {"procedure": dice.choice(procedures), "pack": pack, "bench": bench, kind: file}
            if kind in ("pack", "bench", "procedure"):
                program = load(files["procedure"], files["pack"], files["bench"]).program
                planned = time.monotonic()
                try:
                    run(program, files["pack"])
                except SheetError as error:
                    bad.append((number, kind, "valid, and cannot run", str(error)[:200]))
                counts[f"{kind} run"] += 1
                ran = time.monotonic() - planned
            counts[f"{kind} valid"] += 1
        except SheetError as error:
            counts[f"{kind} wrong"] += 1
            if not error.problems or any(each.line < 1 or each.column < 1 or not each.what for each in error.problems):
                bad.append((number, kind, "a problem without a place", str(error)[:200]))
        except Exception as error:  # noqa: BLE001 - this is what is looked for
            bad.append((number, kind, f"{type(error).__name__}: {error}"[:160], file.text))
        slowest = max(slowest, time.monotonic() - began - ran)
    for name, count in sorted(counts.items()):
        print(f"{name:18} {count}")
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"slowest {slowest:.2f} s; at most {memory:.0f} MB; went wrong: {len(bad)}")
    for number, kind, what, text in bad[:20]:
        print(f"--- {number} {kind}: {what}\n{text if len(text) < 400 else text[:400]}")
    return int(bool(bad) or slowest > SLOWEST or memory > LARGEST)


if __name__ == "__main__":
    sys.exit(main())
