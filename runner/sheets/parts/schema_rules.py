"""What the models of the files say in code, as conditions of a JSON Schema, by the name of the model."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from runner.sheets.chemistry import NAMES, OTHER
from runner.sheets.parts.meters import COUPLES, RESERVED
from runner.sheets.parts.protections import KINDS

Schema = dict[str, Any]
NOT_NULL: Schema = {"not": {"type": "null"}}


def any_spelling(key: str) -> str:
    """A pattern of a key with spaces, hyphens or underscores between its words."""
    return "^" + "[ _-]".join(key.split("_")) + "$"


def has(key: str) -> Schema:
    """That a key is there, in whatever spelling, and is not null."""
    if "_" not in key:
        return {"required": [key], "properties": {key: NOT_NULL}}
    pattern = any_spelling(key)
    return {"not": {"propertyNames": {"not": {"pattern": pattern}}}, "patternProperties": {pattern: NOT_NULL}}


def _is(key: str, *values: object) -> Schema:
    """That a key is there and has one of these values."""
    pattern = any_spelling(key)
    return {**has(key), "patternProperties": {pattern: {"enum": list(values)}}}


def _no(condition: Schema) -> Schema:
    return {"not": condition}


def _when(condition: Schema, then: Schema) -> Schema:
    return {"if": condition, "then": then}


def _both(*conditions: Schema) -> Schema:
    return {"allOf": list(conditions)}


def _any(*conditions: Schema) -> Schema:
    return {"anyOf": list(conditions)}


def _one(*conditions: Schema) -> Schema:
    return {"oneOf": list(conditions)}


def _never_both(first: Schema, second: Schema) -> Schema:
    return _no(_both(first, second))


def _all(*conditions: Schema) -> Callable[[Schema], Schema]:
    return lambda node: {**node, "allOf": [*node.get("allOf", ()), *conditions]}


def _until(default: str, needed: Mapping[str, Sequence[str]]) -> Schema:
    """What a step needs by its ``until``, which is ``default`` where it is not written."""
    cases = []
    for value, names in needed.items():
        mine = _is("until", value)
        mine = _any(mine, _no({"required": ["until"]})) if value == default else mine
        cases.append(_when(mine, _both(*(has(name) for name in names))))
    return _both(*cases)


def spelling_of(name: str, between: str = "[^A-Za-z0-9]*") -> str:
    """A pattern of a word whatever its capitals and what stands between its letters and digits."""
    letters = [f"[{each.upper()}{each.lower()}]" if each.isalpha() else each for each in name if each.isalnum()]
    return f"^{between}{between.join(letters)}{between}$"


def _pack(node: Schema) -> Schema:
    chemistry = node["properties"]["chemistry"]
    words = {key: chemistry.pop(key) for key in ("title", "description") if key in chemistry}
    spelled = [{"type": "string", "pattern": spelling_of(name)} for name in NAMES]
    node["properties"]["chemistry"] = {**words, "anyOf": [chemistry, *spelled]}
    other = {"required": ["chemistry"], "properties": {"chemistry": {"type": "string", "pattern": spelling_of(OTHER)}}}
    return _all(_when(other, has("cell")), _when(_no(other), _no(has("cell"))))(node)


def _protection(node: Schema) -> Schema:
    if "sensors" in node["properties"]:
        node["properties"]["sensors"] = {"anyOf": [{"const": "all"}, node["properties"]["sensors"]]}
    return _all(_any(has("trip"), has("between")), _never_both(has("tolerance"), has("between")))(node)


def _words(names: Sequence[str]) -> list[Schema]:
    """Names with underscores, as reports write them too."""
    return [{"type": "string", "pattern": any_spelling(name)} for name in names]


def _procedure(node: Schema) -> Schema:
    kinds = {"anyOf": [{"enum": [each.replace("_", " ") for each in KINDS]}, *_words(tuple(KINDS)), {"type": "null"}]}
    node["properties"]["protection"] = kinds
    items = node["properties"]["findings"]["items"]
    node["properties"]["findings"]["items"] = {"anyOf": [items, *_words([x for x in items["enum"] if "_" in x])]}
    needs_probe = {"required": ["needs"], "properties": {"needs": {"contains": {"const": "probe"}}}}
    hot = {"properties": {"ceilings": has("temperature")}}
    return _all(_when(needs_probe, hot))(node)


def _step(node: Schema) -> Schema:
    """Exactly one key; only ``off`` says enough by itself."""
    for name, each in node["properties"].items():
        if name != "off":
            node["properties"][name] = each["anyOf"][0]
    return {"anyOf": [{**node, "minProperties": 1, "maxProperties": 1}, {"const": "off"}]}


def _repeat(node: Schema) -> Schema:
    some = {"required": ["each"], "properties": {"each": {"type": ["string", "number"], "minLength": 1}}}
    many = {"required": ["times"], "properties": {"times": _no({"enum": [0, "0"]})}}
    filled = {"required": ["values"], "properties": {"values": {"type": "array", "minItems": 1}}}
    sensor = {"properties": {"each": {"const": "sensor"}}}
    return _all(_one(some, many), _when(_both(some, _no(sensor)), filled))(node)


def _read(node: Schema) -> Schema:
    unit = {"required": ["unit"], "properties": {"unit": {"minLength": 1}}}
    choices = {"required": ["choices"], "properties": {"choices": {"minItems": 1}}}
    return _all(_one(unit, choices))(node)


def _dialect(node: Schema) -> Schema:
    """A query or a command may be its text alone."""
    for words in (node["properties"]["queries"], node["properties"]["commands"]):
        words["additionalProperties"] = {"anyOf": [{"type": ["string", "number"]}, words["additionalProperties"]]}
    return node


BY_HAND = _is("by_hand", True, 1, "true", "True", "TRUE", "yes", "Yes", "on", "On", "1", "y", "t")
ADDRESS: Schema = {"required": ["address"], "properties": {"address": _no({"enum": [""]})}}
REACHED = _one(ADDRESS, BY_HAND)
LEADS = _never_both(_is("sense", "remote"), has("leads"))
ERRORS = _any(
    _no({"required": ["corrections"], "properties": {"corrections": {"minItems": 1}}}),
    _no(_any(*({"required": [key], "properties": {key: {"pattern": "[1-9]"}}} for key in ("gain", "offset")))),
)
CORRECTED: Schema = {"required": ["corrections"], "properties": {"corrections": {"minItems": 1}}}

B_PARTS = has("b"), has("resistance_at_25")
B = _both(*B_PARTS)
CHARGES = {"steady": ["steady"], "full": ["end_current", "give_up"], "time": ["for"], "stopped": ["give_up"]}

RAW = (
    _never_both(BY_HAND, _is("reads", "resistance", "voltage")),
    _when(
        _is("reads", "resistance"),
        _any(
            _both(_is("sensor", "pt100", "pt1000"), _no(has("curve"))),
            _both(has("curve"), _no(_is("sensor", "pt100", "pt1000"))),
        ),
    ),
    _when(
        _is("reads", "voltage"),
        _both(
            _is("sensor", *COUPLES),
            _one(has("terminals"), _both(has("terminals_from"), _no(_is("terminals_from", "")))),
        ),
    ),
)
FURTHER_NAME = r"^\s*[A-Za-z][A-Za-z0-9_ -]*$"
SENSORS: Schema = {"required": ["sensors"], "properties": {"sensors": {"minItems": 1}}}
BESIDE: Schema = {"required": ["beside"], "properties": {"beside": {"minItems": 1}}}


def _instruments(node: Schema) -> Schema:
    """Names of further instruments; a further reference needs a first probe that has an address."""
    for key in ("probes", "meters"):
        named = node["properties"][key]
        (named["additionalProperties"],) = named.pop("patternProperties").values()
        named["propertyNames"] = {"pattern": FURTHER_NAME, "maxLength": 40, **_no({"enum": list(RESERVED)})}
    holds = {"additionalProperties": _no(SENSORS)}
    some = {"required": ["probes"], "properties": {"probes": _no(holds)}}
    first = {"required": ["probe"], "properties": {"probe": _both({"type": "object"}, _no(BY_HAND))}}
    return _all(_when(some, first))(node)


RULES: Mapping[str, Callable[[Schema], Schema]] = {
    "PackSheet": _pack,
    "TemperatureProtection": _protection,
    "VoltageProtection": _protection,
    "CurrentProtection": _protection,
    "Curve": _all(_one(has("b"), has("coefficients"), has("table")), _any(B, _no(_any(*B_PARTS)))),
    "Dialect": _dialect,
    "Procedure": _procedure,
    "StepItem": _step,
    "RepeatSpec": _repeat,
    "ReadSpec": _read,
    "ChargeSpec": _all(_until("steady", CHARGES)),
    "DrainSpec": _all(_until("stopped", {"steady": ("steady",), "time": ("for",), "stopped": ("give_up",)})),
    "StageSpec": _all(_when(_is("path", "charge"), has("voltage")), _when(_is("path", "discharge"), has("floor"))),
    "TrySpec": _all(_when(_is("path", "charge"), has("voltage"))),
    "WaitSpec": _all(_one(has("for"), has("below"), has("above")), _any(has("for"), has("give_up"))),
    "SupplySheet": _all(REACHED, _no(BY_HAND), LEADS),
    "LoadSheet": _all(REACHED, LEADS, _when(BY_HAND, has("draws"))),
    "ProbeSheet": _all(REACHED, *RAW),
    "FurtherProbe": _all(REACHED, _no(BY_HAND), *RAW, _when(_any(SENSORS, BESIDE), has("coupling"))),
    "MeterSheet": _all(REACHED),
    "FurtherMeter": _all(REACHED, _no(BY_HAND)),
    "Instruments": _instruments,
    "ActuatorSheet": _all(REACHED, _no(BY_HAND)),
    "CounterSheet": _all(REACHED, BY_HAND),
    "DisplaySheet": _all(REACHED, BY_HAND),
    "BoxSheet": _all(REACHED, BY_HAND),
    "TemperatureAccuracy": _all(_one(has("expanded_uncertainty"), has("limit"), CORRECTED)),
    "VoltageAccuracy": _all(ERRORS),
    "CurrentAccuracy": _all(ERRORS),
}
