"""Changes to a sealed folder, one class after the other, at random places: what somebody could do, or an accident.

Each change takes a folder and dice, changes one thing, and gives the name of the file that a verification has to name.
"""

from __future__ import annotations

import hashlib
import json
import random
import shutil
from collections.abc import Callable
from pathlib import Path

from runner.seal.sealing import EVIDENCE, SEAL, SIG, SUMS

Change = Callable[[Path, random.Random], str]


def _flip(path: Path, dice: random.Random, begin: float = 0.0, end: float = 1.0) -> None:
    """One bit of one byte within a part of a file."""
    content = bytearray(path.read_bytes())
    at = min(int(len(content) * dice.uniform(begin, end)), len(content) - 1)
    content[at] ^= 1 << dice.randrange(8)
    path.write_bytes(bytes(content))


def _in(name: str, begin: float = 0.0, end: float = 1.0) -> Change:
    def change(folder: Path, dice: random.Random) -> str:
        _flip(folder / name, dice, begin, end)
        return name

    return change


def _one_of(pattern: str) -> Change:
    def change(folder: Path, dice: random.Random) -> str:
        path = dice.choice(sorted(path for path in folder.glob(pattern) if path.is_file()))
        _flip(path, dice)
        return path.relative_to(folder).as_posix()

    return change


def a_sample(folder: Path, dice: random.Random) -> str:
    """A digit of one reading."""
    path = folder / "samples.csv"
    rows = path.read_text().splitlines(keepends=True)
    row = dice.randrange(1, len(rows))
    digits = [n for n, letter in enumerate(rows[row]) if letter.isdigit()]
    at = dice.choice(digits)
    rows[row] = rows[row][:at] + str((int(rows[row][at]) + dice.randrange(1, 10)) % 10) + rows[row][at + 1 :]
    path.write_text("".join(rows))
    return "samples.csv"


def row_order(folder: Path, dice: random.Random) -> str:
    path = folder / "samples.csv"
    rows = path.read_text().splitlines(keepends=True)
    row = dice.randrange(1, len(rows) - 1)
    rows[row], rows[row + 1] = rows[row + 1], rows[row]
    path.write_text("".join(rows))
    return "samples.csv"


def rows_gone(folder: Path, dice: random.Random) -> str:
    path = folder / "samples.csv"
    rows = path.read_text().splitlines(keepends=True)
    row = dice.randrange(1, len(rows))
    del rows[row : row + dice.randrange(1, 200)]
    path.write_text("".join(rows))
    return "samples.csv"


def last_lines(folder: Path, dice: random.Random) -> str:
    path = folder / "events.jsonl"
    path.write_text("".join(path.read_text().splitlines(keepends=True)[: -dice.randrange(1, 4)]))
    return "events.jsonl"


def chain_again(folder: Path, dice: random.Random) -> str:
    """A line of the journal changed, and the chain behind it worked out again."""
    path = folder / "events.jsonl"
    lines = [json.loads(line) for line in path.read_text().splitlines()]
    changed = dice.randrange(len(lines))
    lines[changed]["t"] = round(lines[changed]["t"] + 1.0, 6)
    _chained(path, lines)
    return "events.jsonl"


def _chained(path: Path, lines: list[dict[str, object]]) -> None:
    before, made = "0" * 64, b""
    for line in lines:
        text = json.dumps({**line, "prev": before}, ensure_ascii=False, separators=(",", ":")).encode()
        before = hashlib.sha256(text).hexdigest()
        made += text + b"\n"
    path.write_bytes(made)


def sums_again(folder: Path, dice: random.Random) -> str:
    """A finding changed, and every list of sums worked out again, as somebody without the key can."""
    path = folder / "findings.json"
    path.write_text(path.read_text().replace('"conformity": "pass"', '"conformity": "fail"'))
    for name in (EVIDENCE, SUMS):
        lines = (folder / name).read_text().splitlines()
        names = [line[66:] for line in lines]
        sums = [hashlib.sha256((folder / each).read_bytes()).hexdigest() for each in names]
        (folder / name).write_text("".join(f"{one}  {each}\n" for one, each in zip(sums, names, strict=True)))
    return EVIDENCE + SIG


def a_file_gone(folder: Path, dice: random.Random) -> str:
    path = dice.choice([each for each in sorted(folder.rglob("*")) if each.is_file()])
    path.unlink()
    return path.relative_to(folder).as_posix()


def a_file_added(folder: Path, dice: random.Random) -> str:
    name = dice.choice(("inputs/other.yaml", "attachments/photo.jpg", "notes.txt", "editions/0009/x"))
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text("not ours")
    return name


def simulated(folder: Path, dice: random.Random) -> str:
    """What says that it was a rehearsal."""
    path = folder / "findings.json"
    path.write_text(path.read_text().replace('"simulated": true', '"simulated": false'))
    return "findings.json"


CHANGES: dict[str, Change] = {
    "a sample": a_sample,
    "row order": row_order,
    "rows gone": rows_gone,
    "a bit of the samples": _in("samples.csv"),
    "an event": _in("events.jsonl"),
    "last lines": last_lines,
    "a recomputed chain": chain_again,
    "recomputed sums": sums_again,
    "an input": _one_of("inputs/*.yaml"),
    "resolved values": _in("inputs/resolved.json"),
    "a finding": _in("findings.json"),
    "simulated": simulated,
    "the truth": _in("truth.json"),
    "the certificate's text": _in("certificate.html"),
    "the certificate's PDF": _in("certificate.pdf"),
    "the seal": _in(SEAL),
    "a list of sums": _in(EVIDENCE),
    "the outer list": _in(SUMS),
    "a signature": _in(EVIDENCE + SIG, 0.2, 0.8),
    "an edition": _one_of("editions/0001/*"),
    "a file gone": a_file_gone,
    "a file added": a_file_added,
}


def copied(folder: Path, to: Path) -> Path:
    """A copy to be changed."""
    return Path(shutil.copytree(folder, to / folder.name))
