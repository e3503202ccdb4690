"""JSON Schema for editors, from the same models that check the files; schema_rules.py has what models say in code.

Rule 1: what ``check`` takes is valid by the schema: keys in every spelling, numbers where a text is meant, ``on`` for true.
Rule 2: what the schema takes ``check`` refuses only for what no schema can say: what a value means, and what two say together.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from runner.notation.problems import as_written
from runner.sheets.answers import Answers
from runner.sheets.bench import BenchFile
from runner.sheets.dialect import Dialect
from runner.sheets.pack import PackSheet
from runner.sheets.parts.schema_rules import RULES, any_spelling, has, spelling_of
from runner.sheets.procedure import Procedure

SHEETS: dict[str, type[BaseModel]] = {
    "pack": PackSheet,
    "bench": BenchFile,
    "procedure": Procedure,
    "dialect": Dialect,
    "answers": Answers,
}
_YES_OR_NO = ("0", "1", "on", "off", "t", "f", "true", "false", "y", "n", "yes", "no")
_TRUTH = {"type": "string", "pattern": "|".join(spelling_of(each, "") for each in _YES_OR_NO)}
_NUMBER = {"type": "string", "pattern": r"^\s*[+-]?(\d[\d_]*\.?\d*|\.\d+)([eE][+-]?\d+)?\s*$"}
_WHOLE = {"type": "string", "pattern": r"^\s*\+?0*[1-9]\d*(\.0*)?\s*$"}
_LOOSER: Mapping[str, list[dict[str, Any]]] = {
    "boolean": [{"enum": [0, 1]}, _TRUTH],
    "number": [_NUMBER, {"type": "boolean"}],
    "integer": [_WHOLE],
}


def schema(kind: str) -> dict[str, Any]:
    """The JSON Schema (2020-12) of a kind of file. Quantities are strings with a unit."""
    made = SHEETS[kind].model_json_schema()
    defined = {name: _opened(each, name) for name, each in made.pop("$defs", {}).items()}
    whole = _opened(made, SHEETS[kind].__name__)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **whole, "$defs": defined}


def _opened(node: Any, name: str = "") -> Any:
    """A part of the schema as files are written; ``name`` is that of its model."""
    if isinstance(node, list):
        return [_opened(each) for each in node]
    if not isinstance(node, dict):
        return node
    node = {
        key: each if key in ("default", "examples", "enum", "const") else _opened(each) for key, each in node.items()
    }
    kind = node.get("type")
    if kind == "object" and "properties" in node:
        node = _object(node)
    elif isinstance(kind, str) and kind in _LOOSER and "enum" not in node:
        node = _either(node, _LOOSER[kind])
    elif node.get("format") == "date":
        node["pattern"] = r"^\d{4}-\d{2}-\d{2}"
    elif kind == "string" and not {"enum", "const", "pattern", "format"} & set(node):
        node["type"] = ["string", "number"]
    rule = RULES.get(name)
    return rule(node) if rule is not None else node


def _either(node: dict[str, Any], others: list[dict[str, Any]]) -> dict[str, Any]:
    about: dict[str, Any] = {
        key: node.pop(key) for key in ("title", "description", "default", "examples") if key in node
    }
    return {**about, "anyOf": [node, *others]}


def _object(node: dict[str, Any]) -> dict[str, Any]:
    """Keys as files write them: with spaces, hyphens or underscores."""
    found = node["properties"]
    node["properties"] = {as_written(key): each for key, each in found.items()}
    spelled = {any_spelling(key): each for key, each in found.items() if re.search("[_ ]", key)}
    if spelled:
        node["patternProperties"] = spelled
    required = node.pop("required", [])
    plain = [key for key in required if "_" not in key]
    if plain:
        node["required"] = plain
    conditions = [has(key) for key in required if "_" in key]
    if conditions:
        node["allOf"] = conditions
    return node
