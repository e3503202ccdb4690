"""The whole job of a person with nothing on a cable, by keys in a terminal: the procedures of the program, at their own length.

    python -m tests.benchmarks.by_keys [--speed 40] [--sensor T1] [--keep FOLDER] [PROCEDURE …]

One session on the demo pack; without names all procedures that such a bench allows. The person reads everything off the screen
(tests/by_keys.py) and their keys are as late as the machine lets them be, times the speed. Prints what each run found beside
what was true, and the keys; 1 if a run ended early, or with something not confirmed off.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import tempfile
import time
from pathlib import Path

from runner.rehearsal.truth import truth_of
from tests.by_keys import Person
from tests.terminals import Terminal

STUCK = 600.0  # s without anything to do: a rest of 30 min at speed 4


def carried_out(folder: Path, arguments: str) -> tuple[int, float]:
    """(keys, s) of the session of a person at a terminal in a folder."""
    terminal = Terminal(folder)
    began = since = time.monotonic()
    try:
        terminal.begin(f"rehearse {arguments}")
        person, did = Person(terminal), 0
        while not re.search(r"runs?, certificate in:|run folder:", terminal.screen):
            if person.looks():
                person.gives("to the next procedure", terminal.screen, "Escape")
            if len(person.did) > did:
                did, since = len(person.did), time.monotonic()
            if time.monotonic() > since + STUCK:
                raise TimeoutError(f"{person.did[-10:]}\n{terminal.screen}")
        return terminal.keys, time.monotonic() - began
    finally:
        terminal.close()


def told(run: Path) -> bool:
    """Print what came of a run; whether it ended as it should."""
    found = json.loads((run / "findings.json").read_text())["findings"]
    truth = json.loads((run / "truth.json").read_text())
    entries = [json.loads(line) for line in (run / "events.jsonl").read_text().splitlines()]
    end = next(each for each in entries if each.get("order") == "End")
    print(f"{run.name}: {end['reason']}{'' if end['safe'] else ' NOT CONFIRMED OFF'}")
    for each in found:
        name, true = f"{each['name']} {each['sensor'] or ''}", truth_of(each, truth)
        if each["value"] is None:
            print(f"    {name:24} not measured: {each['reason']}")
        elif true is not None:
            away = (each["value"] - true) / each["expanded_uncertainty"]
            print(
                f"    {name:24} {each['value']:.5g} ± {each['expanded_uncertainty']:.2g} {each['unit']}, {away:+.2f} U away"
            )
    return bool(end["safe"]) and not end["early"]


def main() -> int:
    """Carry out and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("procedures", nargs="*")
    parser.add_argument("--speed", type=float, default=40.0)
    parser.add_argument("--sensor", default="T1")
    parser.add_argument("--keep", type=Path)
    options = parser.parse_args()
    names = " ".join(options.procedures or ["--all"])
    with tempfile.TemporaryDirectory() as kept:
        folder = options.keep or Path(kept)
        folder.mkdir(parents=True, exist_ok=True)
        keys, seconds = carried_out(
            folder, f"{names} --nothing-wired --sensor {options.sensor} --speed {options.speed:g} --out runs"
        )
        ends = [told(path.parent) for path in sorted(folder.glob("runs/**/truth.json"))]
    print(f"{len(ends)} runs, {keys} keys, {seconds / 60:.0f} min")
    return int(not ends or not all(ends))


if __name__ == "__main__":
    sys.exit(main())
