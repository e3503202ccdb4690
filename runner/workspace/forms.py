"""Pack sheets and bench files from what is typed field by field: the YAML a person goes on editing afterwards.

Each field is checked as it is typed, the whole file by the same parser that reads it later.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from runner.errors import Problem, RecordError, SheetError
from runner.notation.quantity import QuantityError, parse_quantity
from runner.record.folder import write_whole
from runner.sheets.bench import parse_bench
from runner.sheets.pack import parse_pack
from runner.workspace.job import UserFile


@dataclass(frozen=True)
class Field:
    """One thing that is asked for. ``dimension`` empty: a text; "count": a whole number. ``needed``: may not be empty."""

    key: str
    ask: str
    example: str
    dimension: str = ""
    needed: bool = False

    def fault(self, text: str) -> str:
        """What is wrong with what was typed, or nothing."""
        text = text.strip()
        if not text:
            return "missing" if self.needed else ""
        if self.dimension == "count":
            return (
                "" if text.isdigit() and int(text) > 0 else f"is not a whole number; write for example {self.example}"
            )
        if not self.dimension:
            return "may not hold quotation marks" if '"' in text else ""
        try:
            parse_quantity(text, self.dimension)
        except QuantityError as error:
            return str(error)
        return ""


PACK = (
    Field("name", "type (as on the data sheet)", "AB-1234", needed=True),
    Field("serial", "serial number", "0417", needed=True),
    Field("customer", "customer", ""),
    Field("chemistry", "chemistry", "LFP", needed=True),
    Field("cells_in_series", "cells in series", "8", "count", True),
    Field("nominal_voltage", "nominal voltage", "25.6 V", "voltage", True),
    Field("full_charge_voltage", "full charge voltage", "29.2 V", "voltage", True),
    Field("cut_off_voltage", "cut-off voltage", "20 V", "voltage", True),
    Field("rated_capacity", "rated capacity", "40 Ah", "charge", True),
    Field("minimum_capacity", "minimum capacity, if one is declared", "38.8 Ah", "charge"),
    Field("maximum_charge_current", "maximum charge current", "12 A", "current", True),
    Field("sensors", "number of temperature sensors", "2", "count", True),
    Field("over_trip", "charge over-temperature: trip at", "55 degC", "temperature"),
    Field("over_tolerance", "… tolerance", "2 K", "temperature difference"),
    Field("over_release", "… release at", "45 degC", "temperature"),
    Field("over_delay", "… trip delay", "1 s", "time"),
    Field("low_trip", "under-voltage: cut-off at", "20.4 V", "voltage"),
    Field("low_tolerance", "… tolerance", "0.5 V", "voltage"),
    Field("low_release", "… release at", "22.4 V", "voltage"),
    Field("low_delay", "… trip delay", "1 s", "time"),
)
BENCH = (
    Field("name", "name of the bench", "bench 1", needed=True),
    Field("operator", "operator", ""),
    Field("supply", "supply address (empty: charger by hand)", "TCPIP::192.0.2.10::5025::SOCKET"),
    Field("supply_voltage", "maximum voltage of supply or charger", "31 V", "voltage", True),
    Field("supply_current", "maximum current of supply or charger", "18 A", "current", True),
    Field("clamp_gain", "clamp: accuracy (± part of the reading)", "2 %", "ratio"),
    Field("probe", "thermometer address (empty: read by hand)", "TCPIP::192.0.2.11::5025::SOCKET"),
    Field("probe_uncertainty", "thermometer: uncertainty (k = 2)", "0.2 K", "temperature difference", True),
    Field("coupling", "maximum difference of probe and sensor", "0.3 K", "temperature difference", True),
    Field("meter", "voltmeter address (empty: read by hand)", "TCPIP::192.0.2.12::5025::SOCKET"),
    Field("load", "load address (empty: switched by hand)", "TCPIP::192.0.2.13::5025::SOCKET"),
    Field("load_current", "load current (approximate)", "10 A", "current", True),
)
UNKNOWN_CLAMP = "3 %"  # of the reading, where nobody says (common practice, no source)
FORMS = {"pack": PACK, "bench": BENCH}


def written(kind: str, values: Mapping[str, str]) -> str:
    """The YAML of a form's values. Raises SheetError with everything that is wrong in it."""
    problems = [
        Problem("", 0, number, f"{field.ask}: {fault}")
        for number, field in enumerate(FORMS[kind], start=1)
        if (fault := field.fault(values.get(field.key, "")))
    ]
    for begins in ("over", "low"):
        if kind == "pack" and _given(values, f"{begins}_trip") and not _given(values, f"{begins}_delay"):
            field = next(field for field in PACK if field.key == f"{begins}_trip")
            problems.append(Problem("", 0, 0, f"{field.ask}: trip delay is missing", "write for example 1 s"))
    if problems:
        raise SheetError(problems)
    text = _pack(values) if kind == "pack" else _bench(values)
    (parse_pack if kind == "pack" else parse_bench)(text, f"{kind}.yaml")
    return text


def save(path: Path, text: str) -> UserFile:
    """Write a new file. Raises RecordError if there is one already or it cannot be written."""
    if path.exists():
        raise RecordError("exists already", str(path), "choose another name; files are never overwritten")
    write_whole(path, text.encode())
    return UserFile(str(path), text)


def _pack(values: Mapping[str, str]) -> str:
    lines = ["kind: pack"]
    for field in PACK[: [field.key for field in PACK].index("sensors")]:
        if _given(values, field.key):
            value = _given(values, field.key)
            lines.append(f"{field.key}: {value if field.dimension else _quoted(value)}")
    count = int(_given(values, "sensors"))
    lines += [
        "",
        "sensors:",
        *(f'  - {{name: T{n}, place: "e.g. between cells 2 and 3"}}' for n in range(1, count + 1)),
    ]
    protections = [
        *_protection(values, "over", "charge over-temperature", ("sensors: all",)),
        *_protection(values, "low", "under-voltage", ()),
    ]
    return "\n".join([*lines, *(["", "protections:", *protections] if protections else []), ""])


def _protection(values: Mapping[str, str], begins: str, name: str, more: tuple[str, ...]) -> list[str]:
    if not _given(values, f"{begins}_trip"):
        return []
    parts = [
        f"{part}: {_given(values, f'{begins}_{part}')}"
        for part in ("trip", "tolerance", "release", "delay")
        if _given(values, f"{begins}_{part}")
    ]
    return [f"  {name}:", *(f"    {part}" for part in [*parts, *more])]


def _bench(values: Mapping[str, str]) -> str:
    lines = ["kind: bench", f"name: {_quoted(_given(values, 'name'))}"]
    if _given(values, "operator"):
        lines.append(f"operator: {_quoted(_given(values, 'operator'))}")
    most = f"{{voltage: {_given(values, 'supply_voltage')}, current: {_given(values, 'supply_current')}}}"
    lines += ["instruments:", *_charged_by(values, most)]
    lines += ["  probe:", _reached(values, "probe")]
    lines.append(f"    accuracy: {{expanded_uncertainty: {_given(values, 'probe_uncertainty')}, coverage_factor: 2}}")
    lines.append(f"    coupling: {_given(values, 'coupling')}")
    lines += ["  meter:", _reached(values, "meter"), "  load:", _reached(values, "load")]
    lines.append(
        f"    limits: {{voltage: {_given(values, 'supply_voltage')}, current: {_given(values, 'load_current')}}}"
    )
    lines.append(f"    draws: {_given(values, 'load_current')}")
    return "\n".join([*lines, ""])


def _charged_by(values: Mapping[str, str], most: str) -> list[str]:
    """A supply with an address; else a charger that a person switches, and a clamp on which they read its current."""
    if _given(values, "supply"):
        return ["  supply:", f"    address: {_given(values, 'supply')}", f"    limits: {most}"]
    voltage, current = _given(values, "supply_voltage"), _given(values, "supply_current")
    gain = _given(values, "clamp_gain") or UNKNOWN_CLAMP
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
    address = _given(values, role)
    return f"    address: {address}" if address else "    by_hand: true"


def _given(values: Mapping[str, str], key: str) -> str:
    return values.get(key, "").strip()


def _quoted(text: str) -> str:
    return f'"{text}"'
