"""The check of the instruments: who answers at which address, what they read, what they may do, when their calibration is due."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace

from runner.bench.assembly import Bench
from runner.bench.checks.measuring import Measured, measured
from runner.errors import BenchError
from runner.scale import degrees
from runner.sheets.instrument_parts import InstrumentSheet
from runner.sheets.instruments import UNITS

SIMULATED = "TERN ISLAND,SIM "  # how the identities of simulated instruments begin

_STATES = ("output", "input")
_SHOWN = (*UNITS, *_STATES)  # queries whose answers are shown
_IS_ON = {True: "on", False: "off"}


@dataclass(frozen=True)
class Present:
    """One instrument's answer. ``fault`` is None if it is there; ``warning`` says what a person should know."""

    role: str
    address: str
    identity: str
    readings: str
    limits: str
    calibration: str
    warning: str
    fault: BenchError | None
    measured: Measured | None = None

    def details(self) -> list[str]:
        """What is to be said of it, a line each, without its role and what it reads."""
        caution = f"caution: {self.warning}" if self.warning else ""
        found = self.measured.said() if self.measured is not None else []
        return [text for text in (self.identity, self.limits, *found, self.calibration, caution) if text]


def call(bench: Bench, today: datetime.date, *, measure: bool = False) -> list[Present]:
    """Ask everybody everything that a run will ask; with ``measure`` also how quickly and how finely they answer.

    Changes nothing at the bench and never raises.
    """
    found = [_one(bench, role, today) for role in bench.speakers]
    if not measure:
        return found
    return [each if each.fault else replace(each, measured=measured(bench, each.role)) for each in found]


def _one(bench: Bench, role: str, today: datetime.date) -> Present:
    sheet, speaker = bench.sheet.roles()[role], bench.speakers[role]
    speaker.link.hurry()
    fault: BenchError | None = None
    readings, warnings = [], []
    try:
        if speaker.dialect.identity:
            speaker.link.ask(speaker.dialect.identity)
        if role in bench.probes:
            readings.append(degrees(bench.probes[role].read(), ".5g"))
        else:
            answers = {name: speaker.number(name) for name in _SHOWN if name in speaker.dialect.queries}
            readings += [_reading(name, value) for name, value in answers.items()]
            warnings += [f"its {name} is on, and this check leaves it on" for name in _STATES if answers.get(name)]
        speaker.try_out(bench.asked_of(role))
    except BenchError as error:
        fault = error
    limits = getattr(sheet, "limits", None)
    warnings += _of_calibration(sheet, today)
    return Present(
        role,
        sheet.address,
        speaker.link.identity,
        ", ".join(readings),
        limits.said() if limits else "",
        f"calibrated {sheet.calibrated}, due {sheet.calibration_due or 'never stated'}" if sheet.calibrated else "",
        "; ".join(warnings),
        fault,
    )


def _of_calibration(sheet: InstrumentSheet, today: datetime.date) -> list[str]:
    """What a person should know of when it was calibrated."""
    if sheet.calibrated is not None and sheet.calibrated > today:
        return [
            f"calibrated on {sheet.calibrated}, which is in the future: correct the bench file or this computer's date"
        ]
    if sheet.calibration_due is not None and sheet.calibration_due < today:
        return [f"calibration was due on {sheet.calibration_due}"]
    return [] if sheet.calibrated is not None else ["no calibration stated; maker's accuracy used"]


def _reading(name: str, value: float) -> str:
    """What a query answered, in words: a number with its unit, or whether something is on."""
    unit = UNITS.get(name)
    return f"{value:.5g} {unit}" if unit else f"{name} {_IS_ON[bool(value)]}"


def is_simulated(identity: str) -> bool:
    """Whether an instrument says of itself that it is a simulated one, whatever the bench file says."""
    return identity.startswith(SIMULATED)
