"""What is asked once a session and not for every run: customer, date of receipt, who operates the bench.

Customer and date belong to the pack: they are written into its sheet, and never asked again. The operator's name is kept for
the session.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TextIO

from runner.errors import TripwitnessError
from runner.record.folder import write_whole
from runner.sheets.bench import BenchFile
from runner.sheets.pack import PackSheet, parse_pack
from runner.workspace.form_fields import Field

ONCE = "Once for this session"
OPERATOR = Field("operator", "operator: your name", "")
OF_THE_PACK = (Field("customer", "customer", ""), Field("received", "date of receipt", "2026-11-26", "date"))


def to_ask(pack: PackSheet, bench: BenchFile) -> tuple[Field, ...]:
    """What neither of the files says."""
    of_pack = [field for field in OF_THE_PACK if not getattr(pack, field.key)]
    return (*([] if bench.operator else [OPERATOR]), *of_pack)


def taken(path: Path, fields: Sequence[Field], said: Mapping[str, str]) -> list[str]:
    """What is wrong with what was typed into ``fields``; if nothing is, customer and date stand in the pack sheet at ``path``."""
    wrong = [f"{field.ask}: {fault}" for field in fields if (fault := field.fault(said[field.key]))]
    try:
        if not wrong:
            write_into_sheet(path, said)
    except (TripwitnessError, OSError) as error:
        wrong = [str(error)]
    return wrong


def about(path: Path, fields: Sequence[Field]) -> str:
    """What whoever is asked is told of it."""
    into = f" Customer and date are written into {path.name}." if any(field in OF_THE_PACK for field in fields) else ""
    return f"Leave empty what is not known.{into}"


def asked_in_lines(path: Path, fields: Sequence[Field], out: TextIO) -> str:
    """Who operates the bench, or nothing. Asks on ``out``, reads standard input; what is wrong is asked again."""

    def typed(field: Field) -> str:
        example = f" (e.g. {field.example})" if field.example else ""
        print(f"{field.ask}{example}: ", end="", flush=True, file=out)
        return sys.stdin.readline().strip()

    print(f"{ONCE}. {about(path, fields)}", file=out)
    said: dict[str, str] = {}
    for field in fields:
        said[field.key] = typed(field)
        while fault := field.fault(said[field.key]):
            print(f"{field.ask}: {fault}", file=out)
            said[field.key] = typed(field)
    for fault in taken(path, fields, said):
        print(fault, file=out)
    return said.get(OPERATOR.key, "")


def write_into_sheet(path: Path, said: Mapping[str, str]) -> None:
    """Write customer and date of receipt into a pack sheet. Raises SheetError if that would break it, RecordError if it fails."""
    text = before = path.read_text(encoding="utf-8")
    for field in OF_THE_PACK:
        if not said.get(field.key, "").strip():
            continue
        value = said[field.key].strip()
        line = f"{field.key}: {value if field.dimension == 'date' else json.dumps(value, ensure_ascii=False)}"
        empty = re.search(rf"^{field.key}:.*$", text, re.MULTILINE)
        text = f"{text.rstrip()}\n{line}\n" if empty is None else text[: empty.start()] + line + text[empty.end() :]
    if text != before:
        parse_pack(text, str(path))
        write_whole(path, text.encode())
