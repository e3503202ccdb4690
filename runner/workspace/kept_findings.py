"""The findings of findings.json, each value looked at: what is no finding is refused here, not where it would be shown.

A file on a disk may hold anything. Raises ValueError with what is wrong, in words that follow the name of the file.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from runner.measure.finding import Finding
from runner.sheets.older import with_kinds
from runner.vocabulary import BudgetSource

LARGEST = 1e12  # no quantity here is larger, and the square of a larger one may be no number
KINDS = {"", *(source.value for source in BudgetSource)}

Check = Callable[[object], bool]


def _text(value: object) -> bool:
    return isinstance(value, str)


def _number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < LARGEST


def _text_or_none(value: object) -> bool:
    return value is None or _text(value)


def _number_or_none(value: object) -> bool:
    return value is None or _number(value)


def _freedom(value: object) -> bool:
    return _number_or_none(value) or value == math.inf


OF_A_FINDING: Mapping[str, tuple[Check, str]] = {
    **dict.fromkeys(("name", "protection", "unit", "rule", "reason", "fit", "advice"), (_text, "text")),
    **dict.fromkeys(("sensor", "conformity"), (_text_or_none, "text")),
    **dict.fromkeys(("coverage", "one_more"), (_number, "a number")),
    **dict.fromkeys(
        ("value", "expanded_uncertainty", "coverage_factor", "expected", "lower", "upper", "probability", "risk"),
        (_number_or_none, "a number"),
    ),
    "dof": (_freedom, "a number"),
    "functional": (lambda value: isinstance(value, bool), "true or false"),
}
OF_A_ROW: Mapping[str, tuple[Check, str]] = {
    **dict.fromkeys(("source", "distribution", "kind"), (_text, "text")),
    **dict.fromkeys(("value", "sensitivity", "contribution"), (_number, "a number")),
    "dof": (_freedom, "a number"),
}


def findings_in(content: Mapping[str, Any]) -> tuple[Finding, ...]:
    """The findings of what findings.json holds."""
    found = content.get("findings")
    if not isinstance(found, list):
        raise ValueError("has no list of findings")
    return tuple(_finding(each, f"finding {number}") for number, each in enumerate(found, start=1))


def text_in(content: Mapping[str, Any], name: str) -> str:
    """A text that has to be there."""
    value = content.get(name)
    if not isinstance(value, str):
        raise ValueError(f"its {name} is not text")
    return value


def _finding(content: object, which: str) -> Finding:
    if not isinstance(content, dict):
        raise ValueError(f"{which} is none")
    rows = content.get("budget")
    if not isinstance(rows, list) or not all(isinstance(row, dict) and "source" in row for row in rows):
        raise ValueError(f"{which}: its budget is no list of sources")
    try:
        finding = Finding.from_json(with_kinds({**content, "budget": [_known(row) for row in rows]}))
    except (KeyError, TypeError) as error:
        raise ValueError(f"{which} is not complete ({error})") from error
    _look(finding, OF_A_FINDING, which)
    _all(finding.repeats, _number, f"{which}: repeats: not all are numbers")
    _all(finding.caveats, _text, f"{which}: caveats: not all are text")
    for row in finding.budget:
        _look(row, OF_A_ROW, f"{which}: budget")
    if finding.value is not None and None in (finding.expanded_uncertainty, finding.coverage_factor):
        raise ValueError(f"{which}: a value without its uncertainty")
    return finding


def _known(row: Mapping[str, Any]) -> dict[str, Any]:
    """A line of a budget; its kind is left out where this version knows none of that name: then its text says what it is."""
    return {name: value for name, value in row.items() if name != "kind" or not _text(value) or value in KINDS}


def _look(of: object, checks: Mapping[str, tuple[Check, str]], where: str) -> None:
    for name, (is_one, what) in checks.items():
        if not is_one(getattr(of, name)):
            raise ValueError(f"{where}: {name} is not {what}")


def _all(values: Iterable[object], is_one: Check, said: str) -> None:
    if not all(map(is_one, values)):
        raise ValueError(said)
