"""A run folder opened: what it holds as data frames, for the evaluation and for a person in a notebook.

    from runner.evaluation import open_run

    run = open_run("runs/20261126-104845-TI-0417-short")
    run.samples.plot(x="t_s", y="supply_current_A")
    run.findings[["name", "sensor", "value", "expanded_uncertainty", "unit", "conformity"]]

Rule: columns carry their units in their names, times are seconds since the run began (``t_s``) with UTC beside them.
"""

from __future__ import annotations

import dataclasses
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from runner.errors import RecordError
from runner.events import Event
from runner.orders import BeginStep
from runner.record.folder import EVENTS, FINDINGS, INPUTS, RESOLVED, SAMPLES, RunFolder
from runner.record.journal import JournalEntry, read_journal
from runner.record.samples import read_samples

if TYPE_CHECKING:
    import pandas as pd


def open_run(folder: Path | str) -> OpenedRun:
    """The run in a folder. Raises RecordError if it holds none; what is broken in it is raised when it is asked for."""
    return OpenedRun(RunFolder.existing(Path(folder)))


class OpenedRun:
    """A run folder whose parts are read when they are asked for, once."""

    def __init__(self, folder: RunFolder) -> None:
        self.folder = folder

    @cached_property
    def resolved(self) -> dict[str, Any]:
        """What the run was to do, with every number worked out, as resolved.json has it. Raises RecordError."""
        return self.folder.read_json(f"{INPUTS}/{RESOLVED}")

    @cached_property
    def entries(self) -> tuple[JournalEntry, ...]:
        """The journal: every event and order in order, its chain checked. Raises RecordError."""
        return tuple(read_journal(self.folder.path / EVENTS))

    @cached_property
    def table(self) -> pd.DataFrame:
        """samples.csv as it stands, numbers as floats, empty cells as NaN. Raises RecordError."""
        return read_samples(self.folder.path / SAMPLES)

    @cached_property
    def samples(self) -> pd.DataFrame:
        """A row a sample: ``t_s``, ``utc``, the channels with their units, states, what was lost, and the step that was on.

        ``step`` is the step's index (−1 before the first), ``step_title`` its title. Raises RecordError.
        """
        import numpy as np
        import pandas as pd

        begun = [(entry.t, entry.what) for entry in self.entries if isinstance(entry.what, BeginStep)]
        at = np.searchsorted([t for t, _ in begun], self.table["t_s"].to_numpy(float), side="right") - 1
        steps = np.array([-1, *(step.index for _, step in begun)])
        titles = np.array(["", *(f"{step.title} {step.sensor}".strip() for _, step in begun)])
        began = pd.Timestamp(self.entries[0].utc if self.entries else "NaT")
        offset = self.entries[0].t if self.entries else 0.0
        more: dict[str, Any] = {
            "utc": pd.to_timedelta(self.table["t_s"] - offset, "s") + began,
            "step": steps[at + 1],
            "step_title": titles[at + 1],
        }
        found = self.table.assign(**more)
        return found[["t_s", "utc", *(name for name in found.columns if name not in ("t_s", "utc"))]]

    @cached_property
    def events(self) -> pd.DataFrame:
        """A row a line of the journal: ``t_s``, ``utc``, ``kind`` (event or order), ``name``, what it ``says``."""
        import pandas as pd

        rows = [
            {
                "t_s": entry.t,
                "utc": entry.utc,
                "kind": "event" if isinstance(entry.what, Event) else "order",
                "name": type(entry.what).__name__,
                "says": {key: value for key, value in dataclasses.asdict(entry.what).items() if key != "t"},
            }
            for entry in self.entries
        ]
        found = pd.DataFrame(rows, columns=["t_s", "utc", "kind", "name", "says"])
        return found.assign(utc=pd.to_datetime(found["utc"], utc=True, format="ISO8601"))

    @cached_property
    def findings(self) -> pd.DataFrame:
        """A row a finding as findings.json has it, values in ``unit``; without rows where nothing was evaluated yet.

        Raises RecordError if findings.json is broken.
        """
        import pandas as pd

        if not (self.folder.path / FINDINGS).is_file():
            return pd.DataFrame()
        content = self.folder.read_json(FINDINGS)
        try:
            return pd.DataFrame(content["findings"])
        except (KeyError, ValueError) as error:
            raise RecordError(
                f"holds no findings ({error})", str(self.folder.path / FINDINGS), "evaluate the run again"
            ) from error
