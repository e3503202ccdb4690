"""The JSON Schema against ``check``: shipped files, and files with accidents.

What ``check`` takes has to be valid by the schema. What the schema takes and ``check`` refuses is counted and shown: it may only be
what no schema can say.

    python -m tests.benchmarks.schema_both_ways [COUNT]
"""

from __future__ import annotations

import datetime
import random
import sys
from collections import Counter
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from runner.conduct.clock import VirtualClock
from runner.errors import SheetError
from runner.rehearsal.simulated_bench import Rehearsal
from runner.sheets.schema import schema
from runner.workspace.job import DEMO_PACK, PARSERS, PROCEDURES, read_file
from tests.bench.test_dialect import OWN
from tests.benchmarks.mutated_files import ANSWERS, mutated

PACKS = Path(__file__).parents[1] / "data" / "packs"


@cache
def validator(kind: str) -> jsonschema.Draft202012Validator:
    """Of a kind of file."""
    found = schema(kind)
    jsonschema.Draft202012Validator.check_schema(found)
    return jsonschema.Draft202012Validator(found)


@dataclass(frozen=True)
class Verdicts:
    """What both say of a text: None where it is no YAML that an editor can read."""

    check: bool
    schema: bool | None
    why: str


def verdicts(kind: str, text: str) -> Verdicts:
    """Of ``check`` and of the schema, as an editor applies it to the file as it is written."""
    why = ""
    try:
        PARSERS[kind](text, "file")
    except SheetError as error:
        why = str(error.problems[0])
    try:
        values = _plain(YAML(typ="safe", pure=True).load(text))
    except (YAMLError, ValueError, RecursionError, TypeError):
        return Verdicts(not why, None, why)
    first = next(validator(kind).iter_errors(values), None)
    said = "" if first is None else f"{first.message[:200]} at {'/'.join(map(str, first.absolute_path))}"
    return Verdicts(not why, first is None, why or said)


def shipped() -> list[tuple[str, str, str]]:
    """(name, kind, text) of every file that travels with the program or its tests."""
    files = [(path.stem, "procedure", path.read_text(encoding="utf-8")) for path in sorted(PROCEDURES.glob("*.yaml"))]
    files += [
        (path.stem, "pack", path.read_text(encoding="utf-8")) for path in [DEMO_PACK, *sorted(PACKS.glob("*.yaml"))]
    ]
    for hands in ((), ("probe", "meter", "load")):
        with Rehearsal(read_file(DEMO_PACK), "sound", 1, VirtualClock(), hands, sockets=False) as rehearsal:
            files.append((f"bench by hand: {hands}", "bench", rehearsal.bench.text))
    return [*files, ("own", "dialect", OWN), ("answers", "answers", ANSWERS)]


def _plain(value: Any) -> Any:
    """As JSON has it: keys are texts, a date is its text."""
    if isinstance(value, dict):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, list):
        return [_plain(each) for each in value]
    return value.isoformat() if isinstance(value, datetime.date) else value


def run(count: int, seed: int = 1) -> int:
    """Prints the table; 1 if the schema refuses what ``check`` takes."""
    dice, files = random.Random(seed), shipped()
    counts: Counter[tuple[bool, bool | None]] = Counter()
    refused = 0
    for _ in range(count):
        name, kind, text = dice.choice(files)
        found = verdicts(kind, mutated(text, dice))
        counts[found.check, found.schema] += 1
        if found.check and found.schema is False:
            refused += 1
            print(f"the schema refuses {name}: {found.why}")
        elif found.schema and not found.check:
            print(f"only check refuses {name}: {found.why[:150]}")
    for (check, valid), number in sorted(counts.items(), key=str):
        print(f"check takes it: {check!s:5}  schema takes it: {valid!s:5}  {number}")
    return int(refused > 0)


if __name__ == "__main__":
    sys.exit(run(int(sys.argv[1]) if len(sys.argv) > 1 else 2000))
