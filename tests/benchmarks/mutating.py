"""Every mutant of a file, by the operators of cosmic-ray, without those that change nothing by their kind."""

from __future__ import annotations

import ast
import difflib
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from cosmic_ray.ast import get_ast_from_path
from cosmic_ray.commands.init import _all_work_items
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator

Span = tuple[tuple[int, int], tuple[int, int]]
BITS = ("BitOr", "BitAnd", "BitXor", "LShift", "RShift")
ALIKE = ("_Is_Eq", "_Eq_Is", "_IsNot_NotEq", "_NotEq_IsNot")
NO_MATTER = ("strict", "frozen")


@dataclass(frozen=True)
class Mutant:
    """One mutant of one file."""

    path: str
    source: str
    operator: str
    occurrence: int
    span: Span

    @property
    def place(self) -> tuple[str, int, int]:
        return (self.path, *self.span[0])

    @property
    def where(self) -> str:
        return f"{self.path}:{self.span[0][0]}"

    @cached_property
    def mutated(self) -> str:
        return mutate_code(self.source, get_operator(self.operator)(), self.occurrence)

    @property
    def compiles(self) -> bool:
        """Whether it compiles without so much as a warning, and is not the same text."""
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                compile(self.mutated, self.path, "exec")
        except (SyntaxError, SyntaxWarning):
            return False
        return bool(self.diff[1:])

    @cached_property
    def diff(self) -> tuple[str, ...]:
        """The path, the lines taken out and the lines put in, without their indentation."""
        lines = difflib.unified_diff(self.source.splitlines(), self.mutated.splitlines(), lineterm="", n=0)
        changed = (line for line in lines if line[0] in "-+" and line[:3] not in ("---", "+++"))
        return (self.path, *(line[0] + line[1:].strip() for line in changed))


def _span(node: ast.AST, source: list[str]) -> Span:
    """Where a node is, in lines and characters: ast counts bytes."""

    def column(line: int, octets: int) -> int:
        return len(source[line - 1].encode()[:octets].decode())

    return (
        (node.lineno, column(node.lineno, node.col_offset)),
        (node.end_lineno, column(node.end_lineno, node.end_col_offset)),
    )


def _without_effect(tree: ast.Module) -> Iterator[ast.AST]:
    """What is never carried out, or only where the program is wrong already."""
    for node in ast.walk(tree):
        if isinstance(node, ast.AnnAssign | ast.arg) and node.annotation:
            yield node.annotation
        if isinstance(node, ast.FunctionDef) and node.returns:
            yield node.returns
        if isinstance(node, ast.keyword) and node.arg in NO_MATTER:
            yield node
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.BinOp | ast.Subscript) and _is_type(node.value):
            yield node.value


def _is_type(node: ast.expr) -> bool:
    """An alias of types: ``Answer = Reading | None``."""
    names = [each for each in ast.walk(node) if isinstance(each, ast.Name)]
    plain = all(
        isinstance(each, ast.BinOp | ast.BitOr | ast.Name | ast.Constant | ast.Load | ast.Subscript | ast.Tuple)
        for each in ast.walk(node)
    )
    return plain and bool(names) and all(each.id[0].isupper() and not each.id.isupper() for each in names)


def mutants(path: Path, name: str) -> Iterator[Mutant]:
    """Every mutant of a file, as far as its kind may change something. ``name`` is its path in the project."""
    source = path.read_text(encoding="utf-8")
    lines = source.splitlines()
    without = [_span(node, lines) for node in _without_effect(ast.parse(source))]
    assert get_ast_from_path(path).get_code() == source
    for item in _all_work_items([path], {}):
        (each,) = item.mutations
        span = (each.start_pos, each.end_pos)
        if any(start <= span[0] and span[1] <= end for start, end in without):
            continue
        kind = each.operator_name
        if kind.endswith(ALIKE) or ("BinaryOperator" in kind and kind.endswith(BITS)):
            continue
        yield Mutant(name, source, kind, each.occurrence, span)
