"""The form of a pack sheet: its fields, the chemistry's usual values, and the sheet from and to them.

Rule 1: a usual value that was taken is marked in the file, line by line and under ``usual:``, which plans and certificates
        repeat: nobody is to read it as declared.
Rule 2: what a copied sheet holds and the form has no field for is kept as it is.
"""

from __future__ import annotations

import io
from collections.abc import Collection, Mapping

from ruamel.yaml.comments import CommentedMap

from runner.notation.source import normal_key, read, writer
from runner.sheets.chemistry import NAMES, canonical, find
from runner.sheets.parts.protections import KINDS, protection_name
from runner.workspace.form_fields import Field, counted, given

UNKNOWN_PLACE = "place not noted"
RATINGS = (
    Field("name", "type (as on the data sheet)", "AB-1234", needed=True, section="PACK"),
    Field("serial", "serial number", "0417", needed=True),
    Field("maker", "maker", ""),
    Field("customer", "customer", ""),
    Field("customer_address", "customer's address", ""),
    Field("received", "date of receipt", "2026-11-26", "date"),
    Field("note", "note", ""),
    Field("chemistry", "chemistry", "LFP", needed=True, section="RATINGS", among=NAMES),
    Field("cells_in_series", "cells in series", "8", "count", True),
    Field("nominal_voltage", "nominal voltage", "25.6 V", "voltage", True),
    Field("full_charge_voltage", "full charge voltage", "29.2 V", "voltage", True),
    Field("cut_off_voltage", "cut-off voltage (end of discharge)", "20 V", "voltage", True),
    Field("rated_capacity", "rated capacity", "40 Ah", "charge", True),
    Field("minimum_capacity", "minimum capacity, if declared", "38.8 Ah", "charge"),
    Field("rated_energy", "rated energy, if declared", "1024 Wh", "energy"),
    Field("minimum_energy", "minimum energy, if declared", "960 Wh", "energy"),
    Field("maximum_charge_current", "maximum charge current", "12 A", "current", True),
    Field("maximum_discharge_current", "maximum discharge current", "40 A", "current"),
    Field("state_of_charge_on_arrival", "state of charge on arrival", "50 %", "ratio"),
    Field("sensors", "temperature sensors: number, or places", "cell 2; cell 7", "sensors", True, "SENSORS"),
)
# what is known of all of them alike; a decade box needs the last two. Of each by itself it is written into the sheet by hand
OF_SENSORS = (
    Field("sensors.lag", "sensors: lag, if known", "8 s", "time"),
    Field("sensors.resistance_at_25", "sensors: resistance at 25 degC", "10 kohm", "resistance"),
    Field("sensors.b", "sensors: B of their curve", "3435 K", "temperature difference"),
)
_UNIT = {"temperature": ("degC", "temperature", "temperature difference"), "voltage": ("V", "voltage", "voltage")}
_UNIT["current"] = ("A", "current", "current")
_EXAMPLES = {
    "charge_over_temperature": ("55 degC", "2 K", "45 degC"),
    "charge_under_temperature": ("0 degC", "2 K", "5 degC"),
    "discharge_over_temperature": ("65 degC", "2 K", "55 degC"),
    "discharge_under_temperature": ("-20 degC", "2 K", "-15 degC"),
    "over_voltage": ("29.8 V", "0.3 V", "28 V"),
    "under_voltage": ("20.4 V", "0.5 V", "22.4 V"),
    "charge_over_current": ("15 A", "1 A", ""),
    "discharge_over_current": ("48 A", "3 A", ""),
}


def _of_protection(kind: str) -> tuple[Field, ...]:
    """The fields of one protection; all may be left empty, and then the sheet does not declare it."""
    name, dimension = protection_name(kind), KINDS[kind]
    trip, tolerance, release = _EXAMPLES[kind]
    of_trip, of_width = _UNIT[dimension][1:]
    found = [
        Field(
            f"{kind}.trip", "… trip (or a range)", trip, of_trip, section=f"PROTECTION: {name}", ranged=True, of=name
        ),
        Field(f"{kind}.tolerance", "… tolerance", tolerance, of_width, of=name),
    ]
    if release:
        found.append(Field(f"{kind}.release", "… release", release, of_trip, of=name))
    found.append(Field(f"{kind}.delay", "… delay (empty: not declared)", "1 s", "time", of=name))
    found.append(Field(f"{kind}.polling", "… measured every (empty: not declared)", "1 s", "time", of=name))
    if dimension == "temperature":
        found.append(Field(f"{kind}.sensors", "… sensors (empty: all)", "T1, T2", of=name))
    return tuple(found)


PACK = (*RATINGS, *OF_SENSORS, *(field for kind in KINDS for field in _of_protection(kind)))
# V of a cell: cut-off, over-voltage trip and release, under-voltage trip and release (common practice, no source)
_CELL = {
    "LFP": (2.5, 3.75, 3.45, 2.5, 2.9),
    "NMC": (2.8, 4.28, 4.1, 2.8, 3.1),
    "NCA": (2.8, 4.28, 4.1, 2.8, 3.1),
    "NMC HV": (2.8, 4.48, 4.3, 2.8, 3.1),
    "LCO": (3.0, 4.28, 4.1, 2.9, 3.2),
    "LMO": (3.0, 4.28, 4.1, 2.9, 3.2),
    "LTO": (1.6, 2.9, 2.7, 1.6, 1.9),
    "Na-ion": (1.8, 4.15, 3.9, 1.8, 2.2),
}
RELEASE = {"over": -5.0, "under": 5.0}  # K from the trip (common practice, no source)
DISCHARGE = (-20.0, 65.0)  # °C (common practice, no source)


def usual_values(values: Mapping[str, str]) -> dict[str, str]:
    """The usual values of the chemistry and the cells in series that were typed, by field; nothing while they are not known."""
    chemistry, cells = find(canonical(given(values, "chemistry"))), given(values, "cells_in_series")
    count = counted(cells)
    if chemistry is None or not count or chemistry.name not in _CELL:
        return {}

    def volts(cell: float) -> str:
        return f"{cell * count:.4g} V"

    cut_off, over, over_back, under, under_back = _CELL[chemistry.name]
    found = {
        "nominal_voltage": volts(chemistry.nominal[0]),
        "full_charge_voltage": volts(chemistry.highest[1] if chemistry.name == "LFP" else sum(chemistry.highest) / 2),
        "cut_off_voltage": volts(cut_off),
        "over_voltage.trip": volts(over),
        "over_voltage.release": volts(over_back),
        "under_voltage.trip": volts(under),
        "under_voltage.release": volts(under_back),
    }
    for path, (low, high) in (("charge", chemistry.charge), ("discharge", DISCHARGE)):
        for side, trip in (("over", high), ("under", low)):
            found[f"{path}_{side}_temperature.trip"] = f"{trip:g} degC"
            found[f"{path}_{side}_temperature.release"] = f"{trip + RELEASE[side]:g} degC"
    return found


# ---- to the sheet --------------------------------------------------------------------------------------------------


def pack_text(values: Mapping[str, str], usual: Collection[str], base: Mapping[str, object]) -> str:
    """The YAML of a pack sheet. ``usual`` and ``base`` as in ``written``."""
    said = f"usual for {canonical(given(values, 'chemistry'))}, not from the data sheet"
    sheet = CommentedMap({"kind": "pack"})
    for field in RATINGS:
        value = given(values, field.key)
        if value and field.key != "sensors":
            sheet[field.key] = int(value) if field.dimension == "count" else value
            if field.key in usual:
                sheet.yaml_add_eol_comment(said, field.key)
    sheet.update({key: value for key, value in base.items() if key not in sheet and key not in _HAVE_FIELDS})
    names = [said_of(field) for field in PACK if field.key in usual and given(values, field.key)]
    if names:
        sheet["usual"] = names
    sheet["sensors"] = [_known(each, values) for each in _sensors(given(values, "sensors"), base)]
    sheet["protections"] = CommentedMap()
    kept = base.get("protections")
    for kind in KINDS:
        if given(values, f"{kind}.trip"):
            more = kept.get(kind) if isinstance(kept, dict) else None
            sheet["protections"][protection_name(kind)] = _protection(kind, values, usual, said, more or {})
    return _dumped(sheet)


_HAVE_FIELDS = {*(field.key for field in RATINGS), "kind", "protections", "usual"}


def said_of(field: Field) -> str:
    """A field as the list of usual values names it."""
    return field.label.partition(" (")[0]


def _sensors(text: str, base: Mapping[str, object]) -> list[object]:
    """The sensors, by their number or by their places; those of a copied sheet keep what else is known of them."""
    old = base.get("sensors")
    before = [each for each in old if isinstance(each, dict)] if isinstance(old, list) else []
    count, places = counted(text), [part.strip() for part in text.split(";") if part.strip()]
    if count and count == len(before):
        return list(before)
    wanted = [UNKNOWN_PLACE] * count if count else places
    if [each.get("place") for each in before] == wanted:
        return list(before)
    return [{"name": f"T{number}", "place": place} for number, place in enumerate(wanted, start=1)]


def _known(sensor: object, values: Mapping[str, str]) -> object:
    """A sensor with what was typed of all of them; where nothing was, it keeps what a copied sheet knows of it."""
    if not isinstance(sensor, dict):
        return sensor
    lag, at_25, b = (given(values, field.key) for field in OF_SENSORS)
    curve = {name: value for name, value in (("resistance_at_25", at_25), ("b", b)) if value}
    return {**sensor, **({"lag": lag} if lag else {}), **({"curve": curve} if curve else {})}


def _protection(
    kind: str, values: Mapping[str, str], usual: Collection[str], said: str, more: Mapping[str, object]
) -> CommentedMap:
    found = CommentedMap()
    for field in _of_protection(kind):
        name, text = field.key.partition(".")[2], given(values, field.key)
        if not text:
            continue
        parts = field.parts(text)
        if name == "sensors":
            found[name] = [part.strip() for part in text.split(",")]
        elif len(parts) == 2:
            name = "between"
            found[name] = list(parts)
        else:
            found[name] = text
        if field.key in usual:
            found.yaml_add_eol_comment(said, name)
    if KINDS[kind] == "temperature" and "sensors" not in found:
        found["sensors"] = "all"
    found.update({key: value for key, value in more.items() if key not in _OF_PROTECTION and key not in found})
    return found


_OF_PROTECTION = {"trip", "between", "tolerance", "release", "delay", "polling", "sensors"}


def _dumped(sheet: CommentedMap) -> str:
    yaml, out = writer(plain=False), io.StringIO()
    yaml.width = 130
    yaml.dump(sheet, out)
    return out.getvalue()


# ---- from a sheet --------------------------------------------------------------------------------------------------


def usual_of(sheet: Mapping[str, object]) -> set[str]:
    """The fields that hold usual values in a sheet."""
    names = sheet.get("usual")
    return {field.key for field in PACK if isinstance(names, list) and said_of(field) in names}


def copied(text: str, file: str) -> tuple[dict[str, str], dict[str, object]]:
    """What the fields of a form hold that copies this sheet, less serial number and date of receipt; and all of the sheet."""
    raw = read(text, file).values
    sheet: dict[str, object] = raw if isinstance(raw, dict) else {}
    values = {
        field.key: str(sheet[field.key])
        for field in RATINGS
        if field.key not in ("serial", "received", "sensors") and sheet.get(field.key) is not None
    }
    sensors = sheet.get("sensors")
    if isinstance(sensors, list):
        values["sensors"] = "; ".join(
            str(each.get("place", UNKNOWN_PLACE)) for each in sensors if isinstance(each, dict)
        )
    protections = sheet.get("protections")
    for kind, found in protections.items() if isinstance(protections, dict) else ():
        for name, value in found.items() if isinstance(found, dict) else ():
            if name == "between" and isinstance(value, list):
                values[f"{kind}.trip"] = " to ".join(str(each) for each in value)
            elif name == "sensors":
                values[f"{kind}.sensors"] = ", ".join(map(str, value)) if isinstance(value, list) else ""
            elif name in _OF_PROTECTION:
                values[f"{kind}.{name}"] = str(value)
    known = {field.key for field in PACK}
    return {key: value for key, value in values.items() if key in known}, {
        normal_key(str(k)): v for k, v in sheet.items()
    }
