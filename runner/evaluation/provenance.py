"""Which measurement made a set of findings, and what another one makes of the same evidence."""

from __future__ import annotations

import ast
import hashlib
import io
import tokenize
from collections.abc import Mapping, Sequence
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

import runner

SIGNIFICANT = 0.05  # of the expanded uncertainty: a smaller difference is none


# What decides a finding between the record and findings.json: reading the record, judging it again, measuring, and what is known
# of pack and bench beforehand. Relative to runner/; a folder stands for every module in it.
DECIDES = (
    "engine/watch",
    "evaluation",
    "measure",
    "notation/quantity.py",
    "record/journal.py",
    "record/samples.py",
    "sheets",
    "vocabulary.py",
)


# What decides a finding of a record that is made directly, as those of the method's validation are: no sheet and no file is read.
MEASURES = ("engine/watch", "measure")
NOT_MEASURING = (
    "engine/watch/look.py",
    "engine/watch/watching.py",
)  # tell the watcher of a run what happens at its bench


@lru_cache(maxsize=2)
def digest(decides: tuple[str, ...] = DECIDES, but: tuple[str, ...] = ()) -> str:
    """SHA-256 over everything that ``decides`` a finding, in the order of the names, comments and docstrings left out."""
    root = Path(runner.__file__).parent
    whole = hashlib.sha256()
    for name in decides:
        paths = sorted((root / name).rglob("*.py")) if (root / name).is_dir() else [root / name]
        for path in paths:
            if path.relative_to(root).as_posix() in but:
                continue
            whole.update(f"{path.relative_to(root).as_posix()}\0{_bare(path)}\0".encode())
    return whole.hexdigest()


def measuring() -> str:
    """The same over what measures: the method that a validation record belongs to, whatever sheets and files become."""
    return digest(MEASURES, NOT_MEASURING)


@cache
def _bare(path: Path) -> str:
    return without_comments(path.read_text(encoding="utf-8"))


def without_comments(source: str) -> str:
    """Python source without its comments, docstrings, blank lines, and spaces at the ends of lines."""
    lines = source.splitlines()
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type == tokenize.COMMENT:
            row, column = token.start
            lines[row - 1] = lines[row - 1][:column]
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str):
            for row in range(node.lineno, (node.end_lineno or node.lineno) + 1):
                lines[row - 1] = ""
    return "\n".join(line.rstrip() for line in lines if line.strip())


def changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    """What is different between two findings.json of one run, and why, in sentences; none if nothing is."""
    old, new = (_by_name(each["findings"]) for each in (before, after))
    said = [f"{_called(key)}: gone" for key in old if key not in new]
    said += [f"{_called(key)}: new" for key in new if key not in old]
    said += [f"{_called(key)}: {what}" for key in new if key in old for what in _differences(old[key], new[key])]
    return [_why(before, after), *said] if said else []


def _why(before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    then, now = str(before.get("method", "")), str(after["method"])
    if then == now:
        return "the measurement is the same: the evidence or the inputs have changed"
    versions = f"version {before.get('version', '?')} then, {after['version']} now"
    return f"the measurement has changed: {then[:12] or 'not recorded'} then, {now[:12]} now ({versions})"


def _by_name(findings: Sequence[Mapping[str, Any]]) -> dict[tuple[str, str], Mapping[str, Any]]:
    return {(each["name"], each["sensor"] or ""): each for each in findings}


def _called(key: tuple[str, str]) -> str:
    return " ".join(part for part in key if part)


def _differences(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[str]:
    said = []
    if old["conformity"] != new["conformity"]:
        said.append(f"{old['conformity'] or 'no statement'} → {new['conformity'] or 'no statement'}")
    if (old["value"] is None) != (new["value"] is None):
        said.append("has a value now" if old["value"] is None else "no longer has a value")
    elif new["value"] is not None:
        scale = max(new["expanded_uncertainty"], 1e-12)
        moved = abs(new["value"] - old["value"]) > SIGNIFICANT * scale
        if moved or abs(new["expanded_uncertainty"] - old["expanded_uncertainty"]) > SIGNIFICANT * scale:
            was = f"{old['value']:.6g} ± {old['expanded_uncertainty']:.2g}"
            said.append(f"{was} → {new['value']:.6g} ± {new['expanded_uncertainty']:.2g} {new['unit']}")
    return said
