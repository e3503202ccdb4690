"""When and where a test was made, as people read it: dates, times, the ambient temperature over all of it."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from runner.evaluation.evaluate import Evaluation
from runner.events import PROBE_TEMPERATURE
from runner.measure.recording import Recording
from runner.scale import degrees
from runner.vocabulary import Observed


def surroundings(evaluations: Sequence[Evaluation]) -> str:
    """The ambient temperature: what was read of it, from the lowest to the highest, and what the probe had before each run."""
    read = [each.value for run in evaluations for each in run.story.typed if each.of == Observed.AMBIENT_TEMPERATURE]
    began = [first for run in evaluations for first in _before_heating(run.recording)]
    said = [f"{_range(read)} (read)" if read else "not read"]
    said += [f"reference thermometer at the start of {_runs(len(began))} {_range(began)}"] if began else []
    return "; ".join(said)


def _before_heating(recording: Recording) -> list[float]:
    """What the probe read first, °C; nothing where that was a mark on the way of a ramp."""
    probe = recording.of(PROBE_TEMPERATURE)
    ramps = [each.began for each in recording.attempts if each.kind in ("heat", "cool")]
    return [float(probe.value[0])] if len(probe) and probe.t[0] <= min(ramps, default=float("inf")) else []


def _runs(count: int) -> str:
    return "the run" if count == 1 else f"{count} runs"


def _range(values: Sequence[float]) -> str:
    low, high = degrees(min(values)), degrees(max(values))
    return low if low == high else f"{low} to {high}"


def when(utc: str) -> str:
    """A UTC stamp as people read it."""
    if not utc:
        return "—"
    moment = datetime.datetime.fromisoformat(utc)
    return moment.strftime("%Y-%m-%d %H:%M:%S UTC")


def between(began: str, ended: str) -> str:
    """From one UTC stamp to another; the date once where it is the same."""
    first, last = when(began), when(ended)
    same = first[:10] == last[:10]
    return f"{first.removesuffix(' UTC')} to {last[11:] if same else last}"


def after(began: str, seconds: float) -> str:
    """So many seconds after a UTC stamp, as people read it."""
    if not began:
        return f"{seconds / 60:.1f} min"
    return when((datetime.datetime.fromisoformat(began) + datetime.timedelta(seconds=seconds)).isoformat())
