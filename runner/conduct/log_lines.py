"""What happened in a run, each in a line of words: for plain lines, logs, and the record on the screen."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from runner.events import Answered, Event, Faulted, OrderFailed, OutputIsOff, Resumed, StopPressed
from runner.orders import (
    Ask,
    AskTaps,
    BeginRamp,
    BeginStep,
    Conclude,
    End,
    Found,
    Guide,
    Judge,
    Level,
    Note,
    Order,
    Remark,
)
from runner.scale import as_read, per_minute
from runner.vocabulary import Outcome, as_told

VOLTAGE_COMES_BACK = ("recover", "wake")  # kinds of steps in which terminals carry voltage again
IN_WORDS = {
    "drain": "discharge",
    "recover": "wait for recovery",
    "try": "wait for release",
    "stage": "current in steps",
    "substitute": "decade box at",
}

_ORDERS: dict[type[Order], Callable[[Any], str]] = {  # nothing is said of the others
    Ask: lambda o: f"HOLD   {o.say}",
    AskTaps: lambda o: f"DO     {o.say}" if o.step else "",
    BeginStep: lambda o: f"STEP   {o.title}",
    Guide: lambda o: (
        f"DO     {o.say}" if o.say and o.action != "substitute" else ""
    ),  # the question before it has said so
    BeginRamp: lambda o: f"RAMP   {per_minute(o.rate, '+.1f')} starts here",
    Judge: lambda o: f"WATCH  {as_told(o.word)}: {o.why}",
    Level: lambda o: (
        f"LEVEL  {'{:.4g} {}'.format(*as_read(o.value, o.unit))}{'' if o.flowed else ', no current'}".rstrip()
    ),
    Note: lambda o: f"NOTED  {o.name}: {o.text}{f' ({o.why})' if o.why else ''}",
    Conclude: lambda o: f"RESULT {_ended(o)}  {_of_what(o)}",
    Found: lambda o: f"FOUND  {o.say}",
    Remark: lambda o: f"INFO   {o.say}",
    End: lambda o: f"END    {_sentence(o.reason)}{' The bench is off.' if o.safe else ''}",
}
_EVENTS: dict[type[Event], Callable[[Any], str]] = {
    Answered: lambda e: f"ANSWER {e.value} ({e.by}){f': {e.note}' if e.note else ''}",
    StopPressed: lambda e: f"STOP   {e.by}",
    OutputIsOff: lambda e: f"OFF    {e.remark or 'read back'}" if e.confirmed else f"OFF    NOT CONFIRMED: {e.remark}",
    OrderFailed: lambda e: f"FAILED {e.order}: {e.what}",
    Resumed: lambda e: f"RESUME {e.why}",
    Faulted: lambda e: f"FAULT  {e.what}",
}


def said(what: Order | Event) -> list[str]:
    """An order or an event in lines of words; none for what concerns no person."""
    table: dict[Any, Callable[[Any], str]] = {**_ORDERS, **_EVENTS}
    say = table.get(type(what))
    first = say(what) if say is not None else ""
    to_do = what.say if isinstance(what, BeginStep) else what.left if isinstance(what, End) else ""
    if isinstance(what, End) and to_do and not what.safe:
        to_do = f"When everything is off: {to_do}"
    lines = [*([first] if first else []), *([f"DO     {to_do}"] if to_do else [])]
    if isinstance(what, End) and what.urgent:  # before all else, and the last that is read
        order = f"DO     {what.urgent}" if what.safe else danger(what.urgent)
        return [order, *lines, *([] if what.safe else [order])]
    return lines


def danger(urgent: str) -> str:
    """What a person has to do at once at a bench that is not confirmed off, as a line."""
    return f"DANGER {urgent}"


def _ended(result: Conclude) -> str:
    """How a step ended: what comes back in a wait for recovery is the voltage, no current flows there."""
    back = result.outcome == Outcome.RETURNED and result.kind in VOLTAGE_COMES_BACK
    return "VOLTAGE BACK" if back else as_told(result.outcome).upper()


def _of_what(result: Conclude) -> str:
    """Why a step ended so; for a change that the watcher saw, whose words stand a line before, only of which step it is."""
    if result.by_hand or result.outcome not in (Outcome.STOPPED, Outcome.RETURNED):
        return result.why
    rate = f" at {per_minute(abs(result.rate))}" if result.rate else ""
    return f"{IN_WORDS.get(result.kind, result.kind)} {result.sensor}".strip() + rate


def _sentence(reason: str) -> str:
    """A reason as a sentence by itself. What begins with the name of a file keeps it as it is."""
    first = reason if set(reason.partition(" ")[0]) & {"/", "\\"} else f"{reason[:1].upper()}{reason[1:]}"
    return f"{first}." if reason else ""


def stamp(t: float) -> str:
    """Seconds of the run as minutes and seconds."""
    return f"{int(t) // 60:4d}:{int(t) % 60:02d}"
