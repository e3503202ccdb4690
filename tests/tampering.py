"""Changes to a sealed folder, session or PDF, one class after the other, at random places: what somebody could do, or an accident.

Each change takes a copy and dice, changes one thing, and gives the name that a verification has to name. The copy remembers
what was touched and puts it back.
"""

from __future__ import annotations

import hashlib
import json
import random
import re
import shutil
from collections.abc import Callable, Iterable
from fnmatch import fnmatchcase
from pathlib import Path
from unittest import mock

from runner.certifying import certificate_of, make_certificate
from runner.evaluation.evaluate import evaluate
from runner.evaluation.provenance import digest
from runner.record.folder import RunFolder
from runner.seal.sealing import EVIDENCE, SEAL, SEALS, SIG, SUMS, seal_evidence
from tests.builders import short_rehearsal


class Copy:
    """A copy of a folder that is changed and put back. ``content`` is what it was, by name."""

    def __init__(self, source: Path, to: Path) -> None:
        self.path = Path(shutil.copytree(source, to / source.name))
        files = (path for path in sorted(self.path.rglob("*")) if path.is_file())
        self.content = {path.relative_to(self.path).as_posix(): path.read_bytes() for path in files}
        self._touched: set[str] = set()

    def names(self, pattern: str) -> list[str]:
        return [name for name in self.content if fnmatchcase(name, pattern)]

    def read(self, name: str) -> bytes:
        """What a file is now."""
        return (self.path / name).read_bytes() if name in self._touched else self.content[name]

    def write(self, name: str, content: bytes) -> str:
        self._touched.add(name)
        (self.path / name).parent.mkdir(parents=True, exist_ok=True)
        (self.path / name).write_bytes(content)
        return name

    def remove(self, names: Iterable[str]) -> None:
        for name in names:
            self._touched.add(name)
            (self.path / name).unlink()

    @property
    def changed(self) -> bool:
        return any(
            not (self.path / name).exists() or self.content.get(name) != self.read(name) for name in self._touched
        )

    def restore(self) -> None:
        """Everything as it was."""
        for name in self._touched:
            path = self.path / name
            if name in self.content:
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(self.content[name])
            else:
                path.unlink()
                for folder in path.relative_to(self.path).parents:
                    if folder != Path() and not any((self.path / folder).iterdir()):
                        (self.path / folder).rmdir()
        self._touched.clear()


Change = Callable[[Copy, random.Random], str]


def _flipped(content: bytes, dice: random.Random) -> bytes:
    """One bit of one byte."""
    changed = bytearray(content)
    changed[dice.randrange(len(changed))] ^= 1 << dice.randrange(8)
    return bytes(changed)


def _in(pattern: str) -> Change:
    """A bit of one of the files of a pattern."""

    def change(copy: Copy, dice: random.Random) -> str:
        name = dice.choice(copy.names(pattern))
        return copy.write(name, _flipped(copy.read(name), dice))

    return change


def _rows(copy: Copy, name: str) -> list[str]:
    return copy.read(name).decode().splitlines(keepends=True)


def a_sample(copy: Copy, dice: random.Random, name: str = "samples.csv") -> str:
    """A digit of one reading."""
    rows = _rows(copy, name)
    row = dice.randrange(1, len(rows))
    at = dice.choice([n for n, letter in enumerate(rows[row]) if letter.isdigit()])
    rows[row] = rows[row][:at] + str((int(rows[row][at]) + dice.randrange(1, 10)) % 10) + rows[row][at + 1 :]
    return copy.write(name, "".join(rows).encode())


def row_order(copy: Copy, dice: random.Random) -> str:
    rows = _rows(copy, "samples.csv")
    row = dice.randrange(1, len(rows) - 1)
    rows[row], rows[row + 1] = rows[row + 1], rows[row]
    return copy.write("samples.csv", "".join(rows).encode())


def rows_gone(copy: Copy, dice: random.Random) -> str:
    rows = _rows(copy, "samples.csv")
    row = dice.randrange(1, len(rows))
    del rows[row : row + dice.randrange(1, 200)]
    return copy.write("samples.csv", "".join(rows).encode())


def colder(copy: Copy, dice: random.Random) -> str:
    """Every temperature shifted by the same."""
    rows = _rows(copy, "samples.csv")
    at, by = rows[0].rstrip("\n").split(",").index("probe_temperature_degC"), dice.choice((-1.5, 0.5, 0.01))
    made = [rows[0]]
    for row in rows[1:]:
        cells = row.split(",")
        cells[at] = f"{float(cells[at]) + by:.4f}" if cells[at] else ""
        made.append(",".join(cells))
    return copy.write("samples.csv", "".join(made).encode())


def last_lines(copy: Copy, dice: random.Random) -> str:
    return copy.write("events.jsonl", "".join(_rows(copy, "events.jsonl")[: -dice.randrange(1, 4)]).encode())


def chain_again(copy: Copy, dice: random.Random) -> str:
    """A line of the journal changed, and the chain behind it worked out again."""
    lines = [json.loads(line) for line in _rows(copy, "events.jsonl")]
    changed = dice.randrange(len(lines))
    lines[changed]["t"] = round(lines[changed]["t"] + 1.0, 6)
    before, made = "0" * 64, b""
    for line in lines:
        text = json.dumps({**line, "prev": before}, ensure_ascii=False, separators=(",", ":")).encode()
        before = hashlib.sha256(text).hexdigest()
        made += text + b"\n"
    return copy.write("events.jsonl", made)


def _sums_again(copy: Copy, inside: str, lists: Iterable[str]) -> None:
    for each in lists:
        names = [line[66:] for line in _rows(copy, inside + each)]
        sums = [hashlib.sha256(copy.read(inside + name.rstrip("\n"))).hexdigest() for name in names]
        copy.write(inside + each, "".join(f"{one}  {name}" for one, name in zip(sums, names, strict=True)).encode())


def sums_again(copy: Copy, dice: random.Random) -> str:
    """Something changed, and every list of sums worked out again, as somebody without the key can."""
    change = dice.choice((a_sample, rows_gone, chain_again, _in("inputs/*"), _in("findings.json")))
    change(copy, dice)
    _sums_again(copy, "", (EVIDENCE, SUMS))
    return EVIDENCE + SIG


def _words(pattern: str, before: str, after: str) -> Change:
    """Words of a file replaced by others."""

    def change(copy: Copy, dice: random.Random) -> str:
        name = dice.choice(copy.names(pattern))
        found = list(re.finditer(before.encode(), copy.read(name)))
        at = dice.choice(found)
        return copy.write(name, copy.read(name)[: at.start()] + after.encode() + copy.read(name)[at.end() :])

    return change


def a_file_gone(copy: Copy, dice: random.Random) -> str:
    name = dice.choice(list(copy.content))
    copy.remove([name])
    return name


def a_file_added(copy: Copy, dice: random.Random) -> str:
    name = dice.choice(
        ("inputs/other.yaml", "attachments/photo.jpg", "notes.txt", "editions/0009/x", "editions/0001/x")
    )
    return copy.write(name, b"not ours" + dice.randbytes(8))


RUN: dict[str, Change] = {
    "a sample": a_sample,
    "row order": row_order,
    "rows gone": rows_gone,
    "all temperatures": colder,
    "a bit of the samples": _in("samples.csv"),
    "an event": _in("events.jsonl"),
    "last lines": last_lines,
    "a recomputed chain": chain_again,
    "recomputed sums": sums_again,
    "an input": _in("inputs/*.yaml"),
    "a tolerance": _words("inputs/pack.yaml", r"tolerance: \d", "tolerance: 9"),
    "resolved values": _in("inputs/resolved.json"),
    "a finding": _in("findings.json"),
    "conformity": _words("findings.json", '"conformity": "[a-z ]+"', '"conformity": "fail"'),
    "simulated": _words("findings.json", '"simulated": true', '"simulated": false'),
    "an attachment": _in("attachments/*"),
    "the truth": _in("truth.json"),
    "the guard's record": _in("guard.jsonl"),
    "the certificate's text": _in("certificate.html"),
    "the certificate's PDF": _in("certificate.pdf"),
    "the certificate's number": _in("certificate-number.json"),
    "the seal": _in(SEAL),
    "a list of sums": _in(EVIDENCE),
    "the outer list": _in(SUMS),
    "a signature": _in(EVIDENCE + SIG),
    "the outer signature": _in(SUMS + SIG),
    "an edition": _in("editions/0001/*"),
    "a file gone": a_file_gone,
    "a file added": a_file_added,
}


# ---- a session -------------------------------------------------------------------------------------------------


def _runs(copy: Copy) -> list[str]:
    return sorted({name.split("/")[0] for name in copy.names(f"*/{EVIDENCE}")})


def a_run_gone(copy: Copy, dice: random.Random) -> str:
    run = dice.choice(_runs(copy))
    copy.remove(copy.names(f"{run}/*"))
    return run


def a_run_added(copy: Copy, dice: random.Random) -> str:
    """Another whole and sealed run, which nobody put into the session."""
    run, name = dice.choice(_runs(copy)), f"2026-{dice.randrange(10_000)}-added"
    for each in copy.names(f"{run}/*"):
        copy.write(each.replace(run, name, 1), copy.read(each))
    return name


def runs_exchanged(copy: Copy, dice: random.Random) -> str:
    """Two runs under each other's names, each whole and sealed."""
    one, other = dice.sample(_runs(copy), 2)
    for a, b in ((one, other), (other, one)):
        for each in copy.names(f"{a}/*"):
            copy.write(each.replace(a, b, 1), copy.content[each])
    return one


def session_sums_again(copy: Copy, dice: random.Random) -> str:
    """A run's evidence changed and all sums worked out again, those of the run and those of the session."""
    run = dice.choice(_runs(copy))
    a_sample(copy, dice, f"{run}/samples.csv")
    _sums_again(copy, f"{run}/", (EVIDENCE, SUMS))
    _sums_again(copy, "", (SUMS,))
    return f"{run}/{EVIDENCE}{SIG}"


SESSIONS: dict[str, Change] = {
    "session: its list of runs": _in("session.json"),
    "session: its certificate": _in("certificate.*"),
    "session: its sums": _in(SUMS),
    "session: its signature": _in(SUMS + SIG),
    "session: an edition": _in("editions/0001/*"),
    "session: sums of a run": _in(f"2026*/*{SUMS}"),
    "session: signature of a run": _in(f"2026*/*{SIG}"),
    "session: evidence of a run": _in("2026*/[ifst]*"),
    "session: recomputed sums": session_sums_again,
    "session: a run gone": a_run_gone,
    "session: a run added": a_run_added,
    "session: runs exchanged": runs_exchanged,
    "session: a file gone": a_file_gone,
    "session: a file added": lambda copy, dice: copy.write("inputs/other.yaml", dice.randbytes(8)),
}


# ---- a PDF -----------------------------------------------------------------------------------------------------


def _of_the_pdf(change: Callable[[bytes, random.Random], bytes]) -> Change:
    def changed(copy: Copy, dice: random.Random) -> str:
        copy.write("certificate.pdf", change(copy.read("certificate.pdf"), dice))
        return "PDF"

    return changed


MARK = b"% seal of the bytes before this line"


def _overwritten(content: bytes, dice: random.Random) -> bytes:
    at, some = dice.randrange(len(content)), dice.randbytes(dice.randrange(1, 64))
    return content[:at] + some + content[at + len(some) :]


def _an_update(content: bytes, dice: random.Random) -> bytes:
    """Appended as an incremental update is (ISO 32000-1, 7.5.6): the bytes before are as they were."""
    at = len(content)
    return content + b"9999 0 obj\n<< /Note (%d) >>\nendobj\nstartxref\n%d\n%%%%EOF\n" % (dice.randrange(10**6), at)


def _signature_moved(content: bytes, dice: random.Random) -> bytes:
    """The signature, taken from behind the document and put behind the document with other bytes in it."""
    at = content.index(MARK)
    return _flipped(content[:at], dice) + content[at:]


PDFS: dict[str, Change] = {
    "PDF: a bit": _of_the_pdf(_flipped),
    "PDF: a bit of its end": _of_the_pdf(lambda c, dice: c[:-600] + _flipped(c[-600:], dice)),
    "PDF: bytes": _of_the_pdf(_overwritten),
    "PDF: cut short": _of_the_pdf(
        lambda c, dice: c[: dice.randrange(len(c) - 1)] if dice.random() < 0.9 else c[: c.index(MARK)]
    ),
    "PDF: an update behind it": _of_the_pdf(_an_update),
    "PDF: another document": _of_the_pdf(_signature_moved),
    "PDF: bytes behind it": _of_the_pdf(lambda c, dice: c + dice.randbytes(dice.randrange(1, 99))),
}


# ---- what is changed -------------------------------------------------------------------------------------------


def sealed_run(place: Path) -> Path:
    """A run with an attachment and a guard's record, its certificate issued twice."""
    folder = short_rehearsal(place).result.folder
    for name in SEALS:
        (folder.path / name).unlink()
    folder.keep_attachment(str(Path(__file__)))
    (folder.path / "guard.jsonl").write_text('{"what": "watching"}\n')
    assert seal_evidence(folder.path, digest(), simulated=True) == ""
    for _ in range(2):
        make_certificate([evaluate(folder)], folder.path)
    return folder.path


def sealed_session(place: Path) -> Path:
    """A session of two runs, its certificate issued twice, without the PDF that a run has already."""
    folder = place / "a-session"
    runs = [short_rehearsal(folder, seed=seed).result.folder.path.name for seed in (1, 2)]
    entry = {"procedure": "short", "source": "short", "why": "", "state": "done", "status": 0}
    content = {"pack": "p", "bench": "b", "sensors": [], "state_of_charge": None, "left_out": []}
    RunFolder(folder).write_json("session.json", {**content, "entries": [{**entry, "run": run} for run in runs]})
    with mock.patch("reports.certificate.write_pdf", return_value="not asked for"):
        for _ in range(2):
            certificate_of([folder])
    return folder


def copied(folder: Path, to: Path) -> Path:
    """A copy to be changed."""
    return Path(shutil.copytree(folder, to / folder.name))
