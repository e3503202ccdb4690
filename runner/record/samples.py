"""The sample table: written row by row while the run goes, read back as a table.

Rule 1: a row is handed to the system at once, so a crash of this program loses none; a thread sees to it that it is on
        disk within a second, because a slow card must never hold up the polling.
Rule 2: what was not read is an empty cell, and a channel that should have been read and was not is named in ``lost``.
Rule 3: what further instruments read has columns of its own behind all others, named after them.
Rule 4: a torn last row is cut off before parsing; the parser would take half a number for a number.
"""

from __future__ import annotations

import hashlib
import io
import threading
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from runner.errors import RecordError
from runner.events import CHANNELS, LOAD_CURRENT, Sampled, named_by
from runner.record.appending import Appender
from runner.record.journal import whole_lines

if TYPE_CHECKING:
    import pandas as pd

SYNC_EVERY = 1.0  # s of wall time
STATES = ("supply_output", "load_input", "by_hand")
COLUMNS = ("t_s", *CHANNELS, "supply_mode", *STATES, "lost")
AGES = "ages_s"  # a column where instruments are polled side by side: how old each reading was, as channel=seconds


class SampleWriter:
    """An open sample table. If ``append`` raises, the rows before are kept, and the run has to end.

    ``go_on`` opens one that is there, less a torn last row. ``ages``: with a column for the ages of readings. ``further``: the
    channels of further instruments.
    """

    def __init__(self, path: Path, *, go_on: bool = False, ages: bool = False, further: Iterable[str] = ()) -> None:
        self.path = path
        before = whole_lines(path) if go_on else b""
        begun = bool(before)
        header = before.partition(b"\n")[0].decode("ascii", "replace").split(",")
        self._ages = AGES in header if begun else ages
        self._further = tuple(filter(named_by, header)) if begun else tuple(further)
        self._rows, self._size = max(before.count(b"\n") - 1, 0), len(before)
        self._stretch, self._committed = hashlib.sha256(before), 0  # after a break, all there is
        self._file = Appender(path, go_on=go_on)
        self._fault: RecordError | None = None
        self._closing = threading.Event()
        if not begun:
            self._write(",".join((*COLUMNS, *([AGES] if self._ages else []), *self._further)) + "\n")
        self._syncer = threading.Thread(target=self._sync, name="sample sync", daemon=True)
        self._syncer.start()

    def append(self, sample: Sampled) -> None:
        """Write a row. Raises RecordError, also for an earlier row that could not be brought to disk."""
        if self._fault is not None:
            raise self._fault
        cells = [f"{sample.t:.6f}"]
        cells += _readings(sample, CHANNELS)
        on = "" if sample.output is None else str(int(sample.output))
        of_load = LOAD_CURRENT in sample.readings or LOAD_CURRENT in sample.lost
        states = ["", on] if of_load else [on, ""]
        cells += [sample.mode, *states, "1" if sample.by_hand else "", " ".join(sample.lost)]
        if self._ages:
            cells.append(" ".join(f"{channel}={age:.6f}" for channel, age in sample.ages.items()))
        cells += _readings(sample, self._further)
        self._write(",".join(cells) + "\n")
        self._rows += 1

    def stretch(self) -> tuple[int, int, int, str] | None:
        """(rows, where the stretch begins, where it ends in bytes, its SHA-256) since the last call; None if nothing came."""
        if self._size == self._committed:
            return None
        found = (self._rows, self._committed, self._size, self._stretch.hexdigest())
        self._stretch, self._committed = hashlib.sha256(), self._size
        return found

    def close(self) -> None:
        """Bring everything to disk and close. Never raises: what is lost was reported before."""
        self._closing.set()
        self._syncer.join()
        self._file.close()

    def _write(self, row: str) -> None:
        content = row.encode()
        self._file.append(content)
        self._size += len(content)
        self._stretch.update(content)

    def _sync(self) -> None:
        closing = False
        while not closing:
            closing = self._closing.wait(SYNC_EVERY)
            try:
                self._file.check_place()
                self._file.sync()
            except RecordError as error:
                self._fault = error


def _readings(sample: Sampled, channels: Iterable[str]) -> list[str]:
    return [f"{sample.readings[channel]:.9g}" if channel in sample.readings else "" for channel in channels]


def read_samples(path: Path) -> pd.DataFrame:
    """The table, numbers as floats, empty cells as NaN. Raises RecordError."""
    import pandas as pd

    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise RecordError.missing(str(path)) from None
    whole = content[: content.rfind(b"\n") + 1]
    # of the texts few are different: as categories those of a day are read and searched at once
    texts = ("supply_mode", "lost", AGES)
    kinds: dict[str, type[float] | str] = {
        **dict.fromkeys(("t_s", *CHANNELS, *STATES), float),
        **dict.fromkeys(texts, "category"),
    }
    try:
        table = pd.read_csv(io.BytesIO(whole), dtype=kinds)
    except ValueError as error:
        raise RecordError(f"is not a sample table ({error})", str(path), "take the folder from a backup") from error
    further = [name for name in table.columns if named_by(str(name))]
    table = table.reindex(columns=[*COLUMNS, AGES, *further])  # columns of later formats are empty
    for name in texts:
        column = table[name].astype("category").cat
        table[name] = column.add_categories([""]).fillna("")
    return table


def as_events(table: pd.DataFrame) -> Iterator[Sampled]:
    """The rows as the events they were, for going through the engine again."""
    for row in table.to_dict("records"):
        yield sample_of(row)


def sample_of(row: Mapping[Any, Any]) -> Sampled:
    """One row, whose cells are numbers or their texts, as the event it was. Raises ValueError or KeyError if it is none."""
    channels = (*CHANNELS, *(str(name) for name in row if named_by(str(name))))
    readings = {channel: value for channel in channels if (value := _number(row.get(channel))) is not None}
    lost = dict.fromkeys(str(row.get("lost", "")).split(), "lost when it was recorded")
    states = [_number(row.get(name)) for name in STATES]
    output = states[0] if states[0] is not None else states[1]
    on = None if output is None else bool(output)
    ages = ages_of(str(row.get(AGES) or ""))
    return Sampled(float(row["t_s"]), readings, lost, str(row.get("supply_mode", "")), on, states[2] == 1, ages)


def ages_of(cell: str) -> dict[str, float]:
    """How old readings were, in s by channel, from their cell. Raises ValueError if it is none."""
    pairs = (item.split("=") for item in cell.split())
    return {channel: float(age) for channel, age in pairs}


def _number(cell: object) -> float | None:
    """The number in a cell, None where it is empty."""
    if cell is None or cell == "":
        return None
    value = float(str(cell)) if isinstance(cell, str) else float(cell)  # type: ignore[arg-type]
    return None if value != value else value
