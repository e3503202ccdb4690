"""Run folders made up for the screens of past runs: two dates of one pack, and another pack, with findings written by hand."""

import json
from dataclasses import replace
from math import inf

from runner.measure.budget import BudgetRow
from runner.measure.conformity import worst
from runner.measure.finding import Finding
from runner.vocabulary import BudgetSource

TRIP = Finding(
    "trip",
    "charge_over_temperature",
    "T1",
    54.62,
    "°C",
    0.36,
    1.96,
    0.95,
    inf,
    55.0,
    53.0,
    57.0,
    "pass",
    0.999,
    "guard band with conditions",
    (54.76, 54.93, 55.02),
    (
        BudgetRow("contact of probe and sensor T1", 0.0, "normal", 1.0, 0.15, inf, BudgetSource.COUPLING.value),
        BudgetRow("probe calibration", 0.0, "normal", 1.0, 0.10, inf, BudgetSource.PROBE_CALIBRATION.value),
    ),
    ("the ramps were not straight",),
    fit="the ramps agree",
)
MISSING = replace(
    TRIP,
    name="release",
    value=None,
    expanded_uncertainty=None,
    coverage_factor=None,
    dof=None,
    conformity="not measured",
    probability=None,
    repeats=(),
    budget=(),
    caveats=(),
    fit="",
    expected=45.0,
    lower=43.0,
    upper=47.0,
    reason="did not release by 40.0 °C; with lag and uncertainty (3.2 K) too close to a limit to decide",
)


def keep(out, stamp, serial, value, *, conformity="pass", session=None):
    """A run folder with two findings. ``stamp`` is its UTC, ``value`` the trip in °C."""
    folder = (
        out / session if session else out
    ) / f"{stamp[:10].replace('-', '')}-120000-{serial}-charge-over-temperature"
    (folder / "inputs").mkdir(parents=True)
    if session:
        (out / session / "session.json").write_text("{}")
    (folder / "events.jsonl").write_text("")
    trip = replace(TRIP, value=value, conformity=conformity)
    content = {
        "schema": 1,
        "run": folder.name,
        "pack": {"name": "TIM-840", "serial": serial},
        "procedure": "charge-over-temperature",
        "simulated": True,
        "conformity": worst([conformity, "not measured"]),
        "ended_early": "",
        "findings": [trip.as_json(), MISSING.as_json()],
    }
    (folder / "findings.json").write_text(json.dumps(content))
    (folder / "inputs" / "resolved.json").write_text(json.dumps({"utc": stamp}))
    return folder


def three(out):
    keep(out, "2024-06-01T12:00:00.000Z", "TI-0417", 54.62)
    keep(out, "2026-06-01T12:00:00.000Z", "TI-0417", 55.42, session="20260601-110000-TI-0417-session")
    keep(out, "2026-06-02T12:00:00.000Z", "TI-0502", 57.31, conformity="fail")
    return out
