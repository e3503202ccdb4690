"""JSON Schema for editors, from the same models that check the files."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel

from runner.sheets.answers import Answers
from runner.sheets.bench import BenchFile
from runner.sheets.dialect import Dialect
from runner.sheets.pack import PackSheet
from runner.sheets.procedure import Procedure

SHEETS: dict[str, type[BaseModel]] = {
    "pack": PackSheet,
    "bench": BenchFile,
    "procedure": Procedure,
    "dialect": Dialect,
    "answers": Answers,
}


def schema(kind: str) -> dict[str, Any]:
    """The JSON Schema (2020-12) of a kind of file. Quantities are strings with a unit."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **SHEETS[kind].model_json_schema()}
