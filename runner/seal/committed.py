"""What the journal of a run commits to, beside its own chain: the inputs at its beginning, the samples stretch by stretch."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

from runner.errors import BrokenChain, RecordError
from runner.events import InputsKept, SamplesKept
from runner.record.folder import EVENTS, INPUTS, SAMPLES
from runner.record.journal import read_journal


def has_sum(path: Path, digest: str, size: object = None) -> bool:
    """Whether a file, or its first ``size`` bytes, has this sum."""
    try:
        content = path.read_bytes()
    except (OSError, ValueError):  # a list may name what can be no file
        return False
    part = content[:size] if isinstance(size, int) and 0 <= size <= len(content) else content
    return hashlib.sha256(part).hexdigest() == digest


def against_the_journal(folder: Path) -> tuple[int, list[str]]:
    """(how many lines its chain is whole for, what differs): inputs and samples are what the journal says they were, or not."""
    path = folder / EVENTS
    inputs: tuple[str, ...] = ()
    kept: list[SamplesKept] = []
    lines = 0
    differences: list[str] = []
    try:
        for entry in read_journal(path):
            if isinstance(entry.what, InputsKept):
                inputs = _names(entry.what.files)
            elif isinstance(entry.what, SamplesKept):
                kept.append(_stretch(entry.what))
            lines += 1
    except RecordError as error:
        differences.append(f"{EVENTS}: line {lines + 1}: {error.what}")
        if isinstance(error, BrokenChain):  # it may be the line before that was changed
            lines = max(lines - 1, 0)
    for each in inputs:
        name, _, digest = each.rpartition(" ")
        if not has_sum(folder / INPUTS / name, digest):
            differences.append(f"{INPUTS}/{name}: is not what the journal says the run began with")
    return lines, [*differences, *_stretches(folder, kept)]


def _names(files: object) -> tuple[str, ...]:
    if not isinstance(files, tuple) or not all(isinstance(each, str) for each in files):
        raise RecordError("does not say which inputs were kept")
    return files


def _stretch(kept: SamplesKept) -> SamplesKept:
    if not all(isinstance(each, int) for each in (kept.begin, kept.size, kept.rows)):
        raise RecordError("does not say which samples were kept")
    return kept


def _stretches(folder: Path, kept: list[SamplesKept]) -> Iterator[str]:
    if not kept:
        return
    try:
        content = (folder / SAMPLES).read_bytes()
    except OSError:
        yield f"{SAMPLES}: is missing"
        return
    rows = {0: 0} | {each.size: each.rows for each in kept}  # before which byte, how many rows
    for each in kept:
        if hashlib.sha256(content[each.begin : each.size]).hexdigest() != each.sha256:
            first = rows.get(each.begin, 0) + 1
            yield f"{SAMPLES}: rows {first} to {each.rows}: not what the journal says was recorded"
