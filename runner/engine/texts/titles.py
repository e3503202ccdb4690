"""What a step is called in the list of steps, worded once for every face."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from runner.notation.quantity import shown
from runner.vocabulary import Until

Numbers = Mapping[str, float]
Words = Mapping[str, Any]
UNTIL = {Until.FULL: " until full", Until.STOPPED: " until the pack stops it"}


IN_WORDS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
PLACES = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth", "11th", "12th")


def title(kind: str, numbers: Numbers, words: Words, sensor: str, record: str, which: str = "") -> str:
    """The title of a step, short enough for a narrow screen.

    ``which``: the sensor and which of several it is, told at the hold point where the work at it begins.
    """
    where = f" {sensor}" if sensor else ""
    if kind == "confirm" and sensor:
        where = f" sensor {which or sensor}"
    return _TITLES[kind](numbers, words, where, record)


def of_several(sensor: str, sensors: Sequence[str]) -> str:
    """A sensor and its place among those that are tested: ``T1 (first of two)``; of one alone its name."""
    if len(sensors) < 2 or sensor not in sensors:
        return sensor
    at, of = sensors.index(sensor), len(sensors)
    return f"{sensor} ({PLACES[at]} of {IN_WORDS[of - 1]})" if of <= len(IN_WORDS) else f"{sensor} ({at + 1} of {of})"


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
    "cells": lambda n, w, where, record: f"Compare {record}",
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
