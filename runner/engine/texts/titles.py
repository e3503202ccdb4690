"""What a step is called in the list of steps, worded once for every face."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from runner.notation.quantity import shown
from runner.vocabulary import Until

Numbers = Mapping[str, float]
Words = Mapping[str, Any]
UNTIL = {Until.FULL: " until full", Until.STOPPED: " until the pack stops it"}


def title(kind: str, numbers: Numbers, words: Words, sensor: str, record: str) -> str:
    """The title of a step, short enough for a narrow screen."""
    return _TITLES[kind](numbers, words, f" {sensor}" if sensor else "", record)


def _amps(numbers: Numbers, name: str = "current") -> str:
    return shown(numbers[name], "current")


def _until(words: Words) -> str:
    """Until when a charge or discharge goes on, with a space before it."""
    return UNTIL.get(words.get("until", ""), "")


def _wait(numbers: Numbers, words: Words, where: str, record: str) -> str:
    if "for" in numbers:
        return f"Wait {shown(numbers['for'], 'time')}"
    side = "below" if "below" in numbers else "above"
    return f"Wait until{where or ' the probe'} is {side} {shown(numbers[side], 'temperature')}"


def _range(numbers: Numbers) -> str:
    first, last = shown(numbers["from"], "temperature"), shown(numbers["to"], "temperature")
    return first if first == last else f"{first} to {last}"


_TITLES: dict[str, Callable[[Numbers, Words, str, str], str]] = {
    "confirm": lambda n, w, where, record: f"Confirm{where}: {record}" if record else f"Confirm{where}",
    "read": lambda n, w, where, record: f"Read {record}",
    "inspect": lambda n, w, where, record: f"Inspect{where}: {len(w['items'])} items",
    "charge": lambda n, w, where, record: f"Charge with {_amps(n)}{_until(w)}",
    "drain": lambda n, w, where, record: f"Discharge with {_amps(n)}{_until(w)}",
    "stage": lambda n, w, where, record: f"{w['path'].capitalize()} in steps, {_amps(n, 'from')} to {_amps(n, 'to')}",
    "recover": lambda n, w, where, record: "Wait for the pack to recover",
    "wake": lambda n, w, where, record: f"Wake with {_amps(n)}",
    "try": lambda n, w, where, record: f"Wait for release: try to {w['path']}",
    "substitute": lambda n, w, where, record: f"Decade box at{where}: {_range(n)}",
    "heat": lambda n, w, where, record: f"Heat{where} at {shown(n['rate'], 'ramp rate')}",
    "cool": lambda n, w, where, record: f"Cool{where} at {shown(n['rate'], 'ramp rate')}",
    "rest": lambda n, w, where, record: f"Rest {shown(n['for'], 'time')}",
    "wait": _wait,
    "offer": lambda n, w, where, record: f"Decide whether{where or ' this'} needs one more ramp",
    "off": lambda n, w, where, record: "Switch everything off",
}
