"""What is asked once a session and not for every run: customer, date of receipt, who operates the bench.

Customer and date belong to the pack: they are written into its sheet, and never asked again. The operator's name is kept for
the session.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path

from runner.record.folder import write_whole
from runner.sheets.bench import BenchFile
from runner.sheets.pack import PackSheet, parse_pack
from runner.workspace.form_fields import Field

OPERATOR = Field("operator", "operator: your name", "")
OF_THE_PACK = (Field("customer", "customer", ""), Field("received", "date of receipt", "2026-11-26", "date"))


def to_ask(pack: PackSheet, bench: BenchFile) -> tuple[Field, ...]:
    """What neither of the files says."""
    of_pack = [field for field in OF_THE_PACK if not getattr(pack, field.key)]
    return (*([] if bench.operator else [OPERATOR]), *of_pack)


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
