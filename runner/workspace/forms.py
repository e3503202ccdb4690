"""Pack sheets and bench files from what is typed field by field: the YAML a person goes on editing afterwards.

Each field is checked as it is typed, the whole file by the same parser that reads it later.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from pathlib import Path

from runner.errors import Problem, RecordError, SheetError
from runner.record.folder import write_whole
from runner.sheets.bench import parse_bench
from runner.sheets.pack import parse_pack
from runner.workspace.form_fields import Field, given
from runner.workspace.job import UserFile
from runner.workspace.pack_form import PACK, pack_text

BENCH = (
    Field("name", "name of the bench", "bench 1", needed=True),
    Field("operator", "operator", ""),
    Field("supply", "supply address (empty: charger by hand)", "TCPIP::192.0.2.10::5025::SOCKET"),
    Field("supply_voltage", "voltage limit (charger: end of charge)", "31 V", "voltage", True),
    Field("supply_current", "maximum current of supply or charger", "18 A", "current", True),
    Field("clamp_gain", "clamp: accuracy (± part of the reading)", "2 %", "ratio"),
    Field("probe", "thermometer address (empty: read by hand)", "TCPIP::192.0.2.11::5025::SOCKET"),
    Field("probe_uncertainty", "thermometer: uncertainty (k = 2)", "0.2 K", "temperature difference", True),
    Field("coupling", "contact error of the probe (k = 1)", "0.2 K", "temperature difference", True),
    Field("meter", "voltmeter address (empty: read by hand)", "TCPIP::192.0.2.12::5025::SOCKET"),
    Field("load", "load address (empty: switched by hand)", "TCPIP::192.0.2.13::5025::SOCKET"),
    Field("load_current", "load current (approximate)", "10 A", "current", True),
)
UNKNOWN_CLAMP = "3 %"  # of the reading, where nobody says (common practice, no source)
FORMS = {"pack": PACK, "bench": BENCH}


def written(
    kind: str, values: Mapping[str, str], usual: Collection[str] = (), base: Mapping[str, object] | None = None
) -> str:
    """The YAML of a form's values. Raises SheetError with everything that is wrong in it.

    ``usual``: the fields whose value is the usual one of the chemistry and not the data sheet's, which the file then says.
    ``base``: the sheet that was copied, whose entries without a field of their own are kept.
    """
    problems = [
        Problem("", 0, number, f"{field.label}: {fault}")
        for number, field in enumerate(FORMS[kind], start=1)
        if (fault := field.fault(values.get(field.key, "")))
    ]
    if problems:
        raise SheetError(problems)
    text = pack_text(values, usual, base or {}) if kind == "pack" else _bench(values)
    (parse_pack if kind == "pack" else parse_bench)(text, f"{kind}.yaml")
    return text


def save(path: Path, text: str) -> UserFile:
    """Write a new file. Raises RecordError if there is one already or it cannot be written."""
    if path.exists():
        raise RecordError("exists already", str(path), "choose another name; files are never overwritten")
    write_whole(path, text.encode())
    return UserFile(str(path), text)


def _bench(values: Mapping[str, str]) -> str:
    lines = ["kind: bench", f"name: {_quoted(given(values, 'name'))}"]
    if given(values, "operator"):
        lines.append(f"operator: {_quoted(given(values, 'operator'))}")
    most = f"{{voltage: {given(values, 'supply_voltage')}, current: {given(values, 'supply_current')}}}"
    lines += ["instruments:", *_charged_by(values, most)]
    lines += ["  probe:", _reached(values, "probe")]
    lines.append(f"    accuracy: {{expanded_uncertainty: {given(values, 'probe_uncertainty')}, coverage_factor: 2}}")
    lines.append(
        f"    coupling: {given(values, 'coupling')}  # standard uncertainty. Only a largest difference known: divide it by 1.7"
    )
    lines += ["  meter:", _reached(values, "meter"), "  load:", _reached(values, "load")]
    lines.append(
        f"    limits: {{voltage: {given(values, 'supply_voltage')}, current: {given(values, 'load_current')}}}"
    )
    lines.append(f"    draws: {given(values, 'load_current')}")
    return "\n".join([*lines, ""])


def _charged_by(values: Mapping[str, str], most: str) -> list[str]:
    """A supply with an address; else a charger that a person switches, and a clamp on which they read its current."""
    if given(values, "supply"):
        return ["  supply:", f"    address: {given(values, 'supply')}", f"    limits: {most}"]
    voltage, current = given(values, "supply_voltage"), given(values, "supply_current")
    gain = given(values, "clamp_gain") or UNKNOWN_CLAMP
    return [
        "  charger:",
        "    by_hand: true",
        f"    voltage: {voltage}",
        f"    current: {current}",
        "  clamp:",
        "    by_hand: true",
        f"    current_accuracy: {{gain: {gain}, offset: 50 mA, resolution: 10 mA}}  # from its manual",
    ]


def _reached(values: Mapping[str, str], role: str) -> str:
    address = given(values, role)
    return f"    address: {address}" if address else "    by_hand: true"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
